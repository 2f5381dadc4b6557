"""F13: backups made while others write open, balance, verify, and hold all that was answered before they began."""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path
from random import Random

from baizebook.ops.backup import back_up, restore, write_with_hash
from baizebook.store.db import make_engine
from sqlalchemy import make_url, text

from tests.databases import empty_sqlite, postgres_clients, postgres_database, settings_for, sqlite_database
from tests.faults.caller import ask, writers
from tests.faults.fault import Broken, Fault, check
from tests.serving import served

WRITERS = 4
OPENING = {"kind": "opening", "account": "bank", "amount": "25.00", "currency": "USD", "on": "2026-01-01"}

Copy = Callable[[str, Path], None]


def run(chance: Random, rounds: int) -> str:
    """Make backups of each kind of database, at moments of chance."""
    for database, elsewhere in ((sqlite_database, empty_sqlite), (postgres_database, _empty_postgres)):
        _back_up_often(database, elsewhere, _proper, chance=chance, rounds=rounds)
    return f"{rounds} backups of each database under {WRITERS} writers: all open, balance, verify and are complete"


def control(chance: Random) -> None:
    """A copy of SQLite's main file alone lacks what only the write-ahead log has."""
    _back_up_often(sqlite_database, empty_sqlite, _careless, chance=chance, rounds=10)


def _proper(url: str, file: Path) -> None:
    engine = make_engine(settings_for(url))
    try:
        back_up(settings_for(url), engine, file)
    finally:
        engine.dispose()


def _careless(url: str, file: Path) -> None:
    content = file.with_suffix(".content")
    shutil.copy(str(make_url(url).database), content)
    with closing(sqlite3.connect(content)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")
    write_with_hash(content, file, kind="sqlite")
    content.unlink()


def _back_up_often(
    database: Callable[[], AbstractContextManager[str]],
    elsewhere: Callable[[], AbstractContextManager[str]],
    copy: Copy,
    *,
    chance: Random,
    rounds: int,
) -> None:
    with database() as live, postgres_clients_found(), served(live) as url, tempfile.TemporaryDirectory() as folder:
        for _ in range(3):
            status, body, _ = ask(url, "POST", "/v1/ledger/entries", OPENING)
            check(status == 201, f"an entry was refused: {body!r}")
        with writers(int(url.rsplit(":", 1)[1]), WRITERS) as busy:
            for number in range(rounds):
                busy.wait_for(chance.randint(5, 50))
                before = set(busy.answered)
                file = Path(folder) / f"{number}.backup"
                copy(live, file)
                with elsewhere() as other:
                    _look(other, file, before=before)
                file.unlink()


def _look(other: str, file: Path, *, before: set[str]) -> None:
    """Put a backup into an empty database and look what is there."""
    settings = settings_for(other)
    engine = make_engine(settings)
    try:
        restore(settings, engine, file, force=False)
        with engine.connect() as connection:
            names = set(connection.execute(text("SELECT name FROM venue")).scalars())
            entries, total = connection.execute(
                text("SELECT count(DISTINCT entry_number), sum(amount_minor) FROM ledger_posting")
            ).one()
    except ValueError as error:
        raise Broken(str(error)) from error
    finally:
        engine.dispose()
    check(before <= names, f"{len(before - names)} of {len(before)} answered calls are not in the backup")
    check((entries, int(total)) == (3, 0), f"the books do not balance: {entries} entries, {total}")


@contextmanager
def postgres_clients_found() -> Iterator[None]:
    """Find the clients of PostgreSQL that came with the server."""
    path = os.environ["PATH"]
    os.environ["PATH"] = f"{postgres_clients()}:{path}"
    try:
        yield
    finally:
        os.environ["PATH"] = path


def _empty_postgres() -> AbstractContextManager[str]:
    return postgres_database(empty=True)


FAULT = Fault(name="F13", says="backups under load", run=run, control=control, short=3, long=50)
