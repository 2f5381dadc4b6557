"""F20: one bit of a backup changed, anywhere in the file: it is refused, and the database it was for keeps what it had."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from random import Random

import baizebook.ops.backup as backups
from baizebook.store.db import make_engine
from sqlalchemy import Engine, inspect, text

from tests.databases import empty_sqlite, postgres_database, settings_for, sqlite_database
from tests.faults.f8_tampering import JOURNAL
from tests.faults.f13_backups import postgres_clients_found
from tests.faults.fault import Fault, check

Database = Callable[[], AbstractContextManager[str]]


def run(chance: Random, rounds: int) -> str:
    """Change so many bits of a backup of each kind of database, one at a time."""
    _change_bits(sqlite_database, empty_sqlite, chance, rounds=rounds)
    _change_bits(postgres_database, lambda: postgres_database(empty=True), chance, rounds=rounds)
    return f"{rounds} of {rounds} changed bits found in a backup of each database; nothing was restored"


def control(chance: Random) -> None:
    """A backup believed without its hash: many changed bits pass as verified."""
    with _hash_not_asked():
        _change_bits(sqlite_database, empty_sqlite, chance, rounds=200)


def _change_bits(live: Database, elsewhere: Database, chance: Random, *, rounds: int) -> None:
    with live() as url, elsewhere() as other, postgres_clients_found(), tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "route.backup"
        engine, target = make_engine(settings_for(url)), make_engine(settings_for(other))
        try:
            JOURNAL.make(engine)
            backups.back_up(settings_for(url), engine, file)
            whole = file.read_bytes()
            for _ in range(rounds):
                at, bit = chance.randrange(len(whole)), chance.randrange(8)
                file.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :])
                check(not _is_restored(other, target, file), f"bit {bit} of byte {at} of {len(whole)} was not found")
                check(not _held(target), f"bit {bit} of byte {at}: refused, and something was restored even so")
            file.write_bytes(whole)
            check(_is_restored(other, target, file), "the backup without a changed bit is refused")
        finally:
            engine.dispose()
            target.dispose()


def _is_restored(url: str, engine: Engine, file: Path) -> bool:
    try:
        backups.restore(settings_for(url), engine, file, force=False)
    except ValueError:
        return False
    return True


def _held(engine: Engine) -> list[str]:
    if engine.dialect.name == "sqlite" and not Path(str(engine.url.database)).exists():
        return []
    with engine.connect() as connection:
        names = set(inspect(connection).get_table_names()) - {"alembic_version"}
        return [name for name in names if connection.execute(text(f'SELECT 1 FROM "{name}" LIMIT 1')).first()]


@contextmanager
def _hash_not_asked() -> Iterator[None]:
    """Take the content of a backup for what was written."""
    properly = backups._unseal

    def unseal(file: Path, content: Path | None, *, kind: str | None = None) -> None:  # noqa: ARG001
        if content is not None:
            content.write_bytes(file.read_bytes().partition(b"\n")[2])

    backups._unseal = unseal
    try:
        yield
    finally:
        backups._unseal = properly


FAULT = Fault(name="F20", says="a changed bit of a backup", run=run, control=control, short=100, long=1_000)
