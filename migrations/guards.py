"""What guards append-only tables: triggers that refuse change, as migrations make them and lift them for a while.

Frozen: what a released migration calls makes the same statements for ever. Another kind of guard is another function.
"""

from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from alembic import op


def on_sqlite() -> bool:
    """Tell whether the migration runs on SQLite; otherwise it runs on PostgreSQL."""
    return op.get_bind().dialect.name == "sqlite"


def make_refusal(function: str) -> None:
    """Make the function that PostgreSQL's triggers call to refuse a change; SQLite needs none."""
    if not on_sqlite():
        op.execute(
            f"CREATE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )


def drop_function(function: str) -> None:
    """Drop a function of PostgreSQL's triggers, where there is one."""
    if not on_sqlite():
        op.execute(f"DROP FUNCTION {function}()")


def make_append_only(table: str, *, same: str, function: str, by_row: bool = False) -> None:
    """Refuse every change of a table's rows; ``same`` is the condition under which a NEW row is there already.

    ``function`` is PostgreSQL's refusal; ``by_row`` calls it for each row, so that a change of no row passes.
    """
    if on_sqlite():
        make_append_only_on_sqlite(table, same=same, new="no_replacing" if by_row else "is_new")
        return
    change, each = ("UPDATE OR DELETE", "ROW") if by_row else ("UPDATE OR DELETE OR TRUNCATE", "STATEMENT")
    triggers = [(f"{table}_no_change", change, each)]
    if by_row:
        triggers.append((f"{table}_no_truncate", "TRUNCATE", "STATEMENT"))
    for trigger, event, each in triggers:
        op.execute(f"CREATE TRIGGER {trigger} BEFORE {event} ON {table} FOR EACH {each} EXECUTE FUNCTION {function}()")
        op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {trigger}")


def make_append_only_on_sqlite(table: str, *, same: str, new: str = "is_new") -> None:
    """Refuse updates, deletes, and inserts that would replace a row; the trigger of the last is ``<table>_<new>``."""
    refusal = f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    for verb in ("update", "delete"):
        op.execute(f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb.upper()} ON {table} {refusal}")
    op.execute(
        f"CREATE TRIGGER {table}_{new} BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) {refusal}"
    )


@contextmanager
def unguarded(*tables: str) -> Iterator[None]:
    """Lift the guards against updates for as long as rows are written in another form."""
    if not on_sqlite():
        for table in tables:
            op.execute(f"ALTER TABLE {table} DISABLE TRIGGER {table}_no_change")
        yield
        for table in tables:
            op.execute(f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_change")
        return
    connection = op.get_bind()
    names = ", ".join(f"'{table}_no_update'" for table in tables)
    query = f"SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name IN ({names})"
    guards = connection.execute(sa.text(query)).all()
    for name, _ in guards:
        op.execute(f"DROP TRIGGER {name}")
    yield
    for _, sql in guards:
        connection.exec_driver_sql(sql)
