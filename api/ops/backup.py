"""A copy of the whole database in one file, made while others write, and the way back.

- A backup is one snapshot: all that was answered as stored before it began is in it. It does not keep writers waiting.
- It gets its name only once it is whole, synced and verified: it opens, its pages and references are sound, it is at a
  revision that this service knows, and the books in it hold together. A file that is there already is never replaced.
- A restore verifies first, and refuses a database that holds anything unless it is forced to; it needs the service to
  be stopped. It happens whole or not at all.
- PostgreSQL's own ``pg_dump`` and ``pg_restore`` do the work there; they must be as new as the server. The books are
  verified in the very snapshot that is dumped, and again after a restore; a dump is verified by reading all of it.
- A backup holds everything: only its owner may read the file.
"""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, create_engine, inspect, text
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session

from ..ledger.queries import check_ledger
from ..store.db import sqlite_driver
from ..store.migrate import current_revision, knows_revision, upgrade
from ..store.settings import Settings

_BUSY = "The database is in use: stop the service first."


def back_up(settings: Settings, engine: Engine, file: Path) -> str:
    """Write a verified backup; return in a sentence what is in it. Raise ValueError where that cannot be."""
    if file.exists():
        raise ValueError(f"{file} is there already: a backup never replaces another.")
    unfinished = file.with_name(f"{file.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    unfinished.touch(mode=0o600)
    try:
        says = _copy_sqlite(engine, unfinished) if settings.on_sqlite else _dump_postgres(engine, unfinished)
        _sync(unfinished)
        unfinished.rename(file)
        _sync(file.parent)
    finally:
        unfinished.unlink(missing_ok=True)
    return says


def restore(settings: Settings, engine: Engine, file: Path, *, force: bool) -> str:
    """Put a backup in the place of the database; return in a sentence what is in it. Raise ValueError where refused."""
    if not file.is_file():
        raise ValueError(f"There is no file {file}.")
    (_verify_sqlite if settings.on_sqlite else _verify_dump)(file)
    if not force and (held := _held(engine)):
        raise ValueError(f"The database holds data ({', '.join(held)}). To put the backup in its place, say --force.")
    engine.dispose()
    if settings.on_sqlite:
        _replace_sqlite(engine, file)
    else:
        how = ("--clean", "--if-exists", "--no-owner", "--no-privileges", "--single-transaction", "--exit-on-error")
        _run_client("pg_restore", engine.url, *how, str(file))
    upgrade(engine)
    with engine.connect() as connection:
        return _verify_content(connection, "The restored database")


def _held(engine: Engine) -> list[str]:
    """Return the tables that hold rows; an empty list is a database that nobody misses."""
    if engine.url.get_backend_name() == "sqlite" and not Path(str(engine.url.database)).exists():
        return []
    with engine.connect() as connection:
        names = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
        return [name for name in names if connection.execute(text(f'SELECT 1 FROM "{name}" LIMIT 1')).first()]


def _copy_sqlite(engine: Engine, file: Path) -> str:
    """Copy all pages in one step of SQLite's online backup, which is one snapshot; verify the copy."""
    source = Path(str(engine.url.database)).absolute()
    if not source.is_file():
        raise ValueError(f"There is no database {source}.")
    with _opened(source) as live, _opened(file) as copy:
        live.backup(copy, pages=-1)
        copy.execute("PRAGMA journal_mode=DELETE")
    return _verify_sqlite(file)


@contextmanager
def _opened(file: Path) -> Iterator[Any]:
    connection = sqlite_driver().connect(file, timeout=5, isolation_level=None)
    with closing(connection):
        yield connection


def _verify_sqlite(file: Path) -> str:
    """Open a backup without changing it; raise ValueError naming what is wrong with it."""
    if file.with_name(f"{file.name}-wal").exists():
        raise ValueError(f"{file} is a database in use, no backup: make one with baizebook backup.")
    asked = {"mode": "ro", "immutable": "1", "uri": "true"}
    engine = create_engine(
        URL.create("sqlite", database=f"file:{quote(str(file.absolute()))}", query=asked), module=sqlite_driver()
    )
    try:
        with engine.connect() as connection:
            sound = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            if sound != ["ok"] or loose:
                raise ValueError(f"{file} is damaged: {loose[0] if sound == ['ok'] else sound[0]}")
            return _verify_content(connection, file)
    except DatabaseError as error:
        raise ValueError(f"{file} is no sound backup: {error.orig}") from None
    finally:
        engine.dispose()


def _verify_content(connection: Connection, place: object) -> str:
    revision = current_revision(connection)
    if revision is None or not knows_revision(revision):
        raise ValueError(f"{place} is at revision {revision}, which this service does not know.")
    if "ledger_entry" not in inspect(connection).get_table_names():
        return f"revision {revision}, before there were books"
    with Session(connection) as session:
        check = check_ledger(session)
    if check.first_bad is not None:
        raise ValueError(
            f"{place}: the books do not hold together at entry {check.first_bad.place}: {check.first_bad.why}."
        )
    return f"revision {revision}, {check.entries} entries, the last with the hash {check.last_hash or 'of none yet'}"


def _replace_sqlite(engine: Engine, file: Path) -> None:
    """Let SQLite write the backup over the database in one transaction, with nobody else in it."""
    target = Path(str(engine.url.database)).absolute()
    with _opened(target) as live:
        try:
            live.execute("PRAGMA busy_timeout=500")
            live.execute("PRAGMA locking_mode=EXCLUSIVE")
            live.execute("BEGIN EXCLUSIVE")
            live.execute("COMMIT")
        except sqlite_driver().OperationalError:
            raise ValueError(_BUSY) from None
        with _opened(file) as source:
            source.backup(live, pages=-1)
        live.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    _sync(target)


def _dump_postgres(engine: Engine, file: Path) -> str:
    """Verify the books in one snapshot, and dump that snapshot."""
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        says = _verify_content(connection, "The database")
        snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
        how = ("--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", f"--file={file}")
        _run_client("pg_dump", engine.url, *how)
    _verify_dump(file)
    return says


def _verify_dump(file: Path) -> None:
    """Read a dump from end to end; raise ValueError where it is none."""
    listed = _run_client("pg_restore", None, "--list", str(file))
    _run_client("pg_restore", None, f"--file={os.devnull}", str(file))
    if " alembic_version " not in listed:
        raise ValueError(f"{file} is no backup of this service.")


def _run_client(program: str, url: URL | None, *arguments: str) -> str:
    """Run a client of PostgreSQL; its password goes by the environment, where no list of processes shows it."""
    path = shutil.which(program)
    if path is None:
        raise ValueError(
            f"{program} is not installed. Where it is, and as new as the server: "
            "pg_dump --format=custom --no-owner --file=FILE DATABASE · "
            "pg_restore --clean --if-exists --no-owner --single-transaction --dbname=DATABASE FILE"
        )
    target = []
    environment = dict(os.environ)
    if url is not None:
        if url.password:
            environment["PGPASSWORD"] = str(url.password)
        plain = url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)
        target = [f"--dbname={plain}"]
    done = subprocess.run([path, *target, *arguments], capture_output=True, text=True, env=environment, check=False)
    if done.returncode:
        raise ValueError(f"{program}: {done.stderr.strip()}")
    return done.stdout


def _sync(place: Path) -> None:
    handle = os.open(place, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
