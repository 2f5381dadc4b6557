"""F21: several processes migrate one database at once, from any older revision; all end well, at the newest revision."""

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from random import Random
from typing import Any

from alembic.script import ScriptDirectory
from baizebook.store import migrate
from baizebook.store.db import make_engine
from baizebook.store.revision import current_revision, newest_revision
from sqlalchemy import Engine, text

from tests.databases import empty_sqlite, postgres_database, settings_for
from tests.faults.fault import Fault, check

AT_ONCE = 4
Database = Callable[[], AbstractContextManager[str]]


def run(chance: Random, rounds: int) -> str:
    """Let four processes migrate so many databases of each kind."""
    for database in (empty_sqlite, _empty_postgres):
        for _ in range(rounds):
            _migrate_at_once(database, chance)
    return f"{rounds} databases of each kind, each migrated by {AT_ONCE} at once: all ended well"


def control(chance: Random) -> None:
    """Processes that do not wait for one another on PostgreSQL."""
    with _nobody_waits():
        for _ in range(5):
            _migrate_at_once(_empty_postgres, chance, first="base")


def _migrate_at_once(database: Database, chance: Random, *, first: str | None = None) -> None:
    revisions = [script.revision for script in ScriptDirectory.from_config(migrate.config_for()).walk_revisions()]
    begin = first or chance.choice(["base", *revisions])
    with database() as url:
        engine = make_engine(settings_for(url))
        try:
            if begin != "base":
                migrate.upgrade(engine, begin)
            engine.dispose()
            ended = [_exit_of(process) for process in [_migrate(url) for _ in range(AT_ONCE)]]
            check(ended == [0] * AT_ONCE, f"from {begin} on {engine.dialect.name}: the processes ended with {ended}")
            check(_at(engine) == newest_revision(), f"from {begin}: the database ended at {_at(engine)}")
        finally:
            engine.dispose()


def _migrate(url: str) -> int:
    """Fork a process that migrates; return its number."""
    if child := os.fork():
        return child
    code = 1
    try:
        os.dup2(os.open(os.devnull, os.O_RDWR), 2)
        migrate.upgrade(make_engine(settings_for(url)))
        code = 0
    finally:
        os._exit(code)


def _exit_of(process: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def _at(engine: Engine) -> str | None:
    with engine.connect() as connection:
        connection.execute(text("SELECT count(*) FROM venue"))
        return current_revision(connection)


@contextmanager
def _nobody_waits() -> Iterator[None]:
    """Let everybody migrate at the same time."""
    properly: Any = migrate._one_at_a_time
    migrate._one_at_a_time = nullcontext  # type: ignore[assignment]
    try:
        yield
    finally:
        migrate._one_at_a_time = properly


def _empty_postgres() -> AbstractContextManager[str]:
    return postgres_database(empty=True)


FAULT = Fault(name="F21", says="several migrations at once", run=run, control=control, short=4, long=100)
