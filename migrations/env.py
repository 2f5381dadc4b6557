"""How Alembic meets the database: on the engine that is handed in, one transaction for all revisions.

On SQLite a table that others refer to cannot be replaced while foreign keys are enforced, and enforcement cannot change
inside a transaction: it is off meanwhile, and all foreign keys are checked before the commit.

On PostgreSQL a statement of a migration may take as long as it needs: a limit of seconds, which serves requests, would
keep a large database from ever being migrated. Waiting for a lock stays limited.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from baizebook.migrations.all_rows import metadata
from baizebook.store.db import Utc, get_engine
from sqlalchemy import Connection


def render_item(type_: str, item: Any, autogen_context: AutogenContext) -> str | Literal[False]:  # noqa: ARG001
    """Write our own column types as SQLAlchemy's, so that a migration needs nothing of ours."""
    if type_ == "type" and isinstance(item, Utc):
        return "sa.DateTime(timezone=True)"
    if type_ == "type" and type(item).__name__ == "AutoString":
        return "sa.String()"
    return False


def run(connection: Connection) -> None:
    """Run the revisions on a connection."""
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_item=render_item,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
        transactional_ddl=True,  # SQLite too: without this Alembic commits after every revision
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        if connection.dialect.name == "postgresql":
            for limit in ("statement_timeout", "idle_in_transaction_session_timeout"):
                connection.exec_driver_sql(f"SET LOCAL {limit} = 0")
        context.run_migrations()
        if connection.dialect.name == "sqlite":
            lost = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            if lost:
                raise RuntimeError(f"expected no row that refers to none, found {len(lost)}, the first in {lost[0][0]}")


@contextmanager
def unforced(connection: Connection) -> Iterator[None]:
    """Let foreign keys be unenforced on a connection to SQLite, where no transaction has begun yet."""
    if connection.dialect.name != "sqlite":
        yield
        return
    driver: Any = connection.connection.dbapi_connection
    driver.execute("PRAGMA foreign_keys=0")
    try:
        yield
    finally:
        connection.rollback()
        driver.execute("PRAGMA foreign_keys=1")


engine = context.config.attributes.get("engine") or get_engine()
with engine.execution_options(writes=True).connect() as connection, unforced(connection):
    run(connection)
