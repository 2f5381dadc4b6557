"""Backups: the whole database in one file, made while the service runs, and restored while it does not.

- A backup is one snapshot: it holds everything that was stored before it began. Writers do not wait for it.
- A backup file is one line, ``baizebook backup 1 KIND SHA-256``, then the content: a SQLite file, or a dump of
  ``pg_dump``. The hash covers the content, so a restore finds every changed bit. Without this program:
  ``tail -n +2 FILE > CONTENT``.
- A file gets its name only after it was synced, read back and verified: its hash, its pages and references, a revision
  that this program knows, and the books. A file that exists is never replaced; of two backups to one name one wins.
- A restore verifies the file first, refuses a database that holds data unless it is forced, and refuses a database in
  use. It happens whole or not at all.
- PostgreSQL's own ``pg_dump`` and ``pg_restore`` do the work there; they must be as new as the server.
- Only its owner may read a backup: it holds everything.
"""

import hashlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, inspect, text
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session

from ..ledger.queries import check_ledger, last_record
from ..store.db import sqlite_driver
from ..store.migrate import knows_revision, upgrade
from ..store.revision import current_revision
from ..store.settings import Settings

_BUSY = "The database is in use: stop the service first."
_SERVED = int.from_bytes(hashlib.sha256(b"baizebook: this database is served").digest()[:8], signed=True)
"""The advisory lock of PostgreSQL that a service shares and a restore holds alone."""

_KINDS = {"sqlite": b"SQLite", "postgresql": b"PostgreSQL"}
_HEAD, _HEAD_BYTES_MAX, _PIECE_BYTES = b"baizebook backup 1 ", 120, 1 << 20
_CLOSING_S, _AGAIN_S = 2.0, 0.05


def _unseen(done: int, total: int) -> None:
    """Show nobody how far a backup is."""


def back_up(settings: Settings, engine: Engine, file: Path, *, step: Callable[[int, int], None] = _unseen) -> str:
    """Write a verified backup; return in a sentence what is in it. Raise ValueError where that cannot be.

    ``step`` is called with the parts that are done, and how many there are: copied, sealed, read back.
    """
    if file.exists():
        raise _exists(file)
    if not file.absolute().parent.is_dir():
        raise ValueError(f"There is no folder {file.absolute().parent}: make it, or name another.")
    with tempfile.TemporaryDirectory(prefix=f"{file.name}.", suffix=".unfinished", dir=file.parent) as folder:
        content, unfinished = Path(folder, "content"), Path(folder, "backup")
        content.touch(mode=0o600)
        step(0, 3)
        says = _copy_sqlite(engine, content) if settings.on_sqlite else _dump_postgres(engine, content)
        step(1, 3)
        write_with_hash(content, unfinished, kind=engine.dialect.name)
        step(2, 3)
        content.unlink()
        _read_back(unfinished)
        step(3, 3)
        _give_name(unfinished, file)
    _sync(file.parent)
    return says


def restore(settings: Settings, engine: Engine, file: Path, *, force: bool) -> str:
    """Replace a database by a backup; return in a sentence what is in it. Raise ValueError where refused."""
    if not file.is_file():
        raise ValueError(f"There is no file {file}.")
    beside = Path(str(engine.url.database)).absolute().parent if settings.on_sqlite else None
    with tempfile.TemporaryDirectory(prefix="baizebook-restore.", dir=beside) as folder:
        content = Path(folder, "content")
        _unseal(file, content, kind=engine.dialect.name)
        (_verify_sqlite if settings.on_sqlite else _verify_dump)(content, file)
        if not force and (held := _held(engine)):
            raise ValueError(f"The database holds data ({', '.join(held)}). To replace it and lose that data: --force.")
        engine.dispose()
        if settings.on_sqlite:
            _replace_sqlite(engine, content)
        else:
            how = ("--clean", "--if-exists", "--no-owner", "--no-privileges", "--single-transaction", "--exit-on-error")
            with _not_served(engine):
                _run_client("pg_restore", engine.url, *how, str(content))
    upgrade(engine)
    with engine.connect() as connection:
        return _verify_content(connection, "The restored database")


@contextmanager
def serving(engine: Engine) -> Iterator[None]:
    """Mark a PostgreSQL database as served, so that no restore begins; ValueError while a restore runs.

    SQLite needs no mark: a restore there takes the file for itself alone.
    """
    if engine.dialect.name == "sqlite":
        yield
        return
    with _alone(engine) as connection:
        if not connection.execute(text("SELECT pg_try_advisory_lock_shared(:key)"), {"key": _SERVED}).scalar_one():
            raise ValueError("A backup is being restored into this database: start the service when that is done.")
        yield


@contextmanager
def _not_served(engine: Engine) -> Iterator[None]:
    """Keep services from a PostgreSQL database; ValueError where one runs, or where somebody else is connected."""
    others = text(
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
    )
    with _alone(engine) as connection:
        if not connection.execute(text("SELECT pg_try_advisory_lock(:key)"), {"key": _SERVED}).scalar_one():
            raise ValueError(_BUSY)
        until = time.monotonic() + _CLOSING_S
        while connection.execute(others).scalar_one():  # one that was closed just now takes a moment to go
            if time.monotonic() > until:
                raise ValueError(_BUSY)
            time.sleep(_AGAIN_S)
        yield


@contextmanager
def _alone(engine: Engine) -> Iterator[Connection]:
    """Yield a connection of its own; its locks end with it."""
    own = create_engine(engine.url, poolclass=NullPool, isolation_level="AUTOCOMMIT")
    with own.connect() as connection:
        yield connection


def write_with_hash(content: Path, file: Path, *, kind: str) -> None:
    """Write content into a backup file, with its hash before it, and sync it."""
    with content.open("rb") as source:
        digest = hashlib.file_digest(source, "sha256").hexdigest()
        source.seek(0)
        with open(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as sealed:
            sealed.write(_HEAD + _KINDS[kind] + b" " + digest.encode() + b"\n")
            shutil.copyfileobj(source, sealed, _PIECE_BYTES)
            sealed.flush()
            os.fsync(sealed.fileno())


def _unseal(file: Path, content: Path | None, *, kind: str | None = None) -> None:
    """Read a backup file to its end, and write its content where asked; ValueError where a bit of it has changed."""
    with file.open("rb") as sealed:
        words = sealed.readline(_HEAD_BYTES_MAX).split(b" ")
        if words[:3] != _HEAD.split(b" ")[:3] or len(words) != 5 or words[3] not in _KINDS.values():
            raise ValueError(f"{file} is no backup: it does not begin as one. Make one with baizebook backup.")
        if kind is not None and words[3] != _KINDS[kind]:
            raise ValueError(f"{file} is a backup of {words[3].decode()}, this database is {_KINDS[kind].decode()}.")
        digest = hashlib.sha256()
        with open(os.devnull if content is None else content, "wb", opener=_for_its_owner) as written:
            while piece := sealed.read(_PIECE_BYTES):
                digest.update(piece)
                written.write(piece)
    found, expected = digest.hexdigest().encode() + b"\n", words[4]
    if found != expected:
        said = expected.decode("ascii", "replace").strip()
        raise ValueError(f"{file} is damaged: its content has the SHA-256 {found.decode().strip()}, expected {said}.")


def _for_its_owner(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def _read_back(file: Path) -> None:
    """Verify a synced file by what the disk holds, where the system can be asked to forget what it remembers."""
    if hasattr(os, "posix_fadvise"):
        handle = os.open(file, os.O_RDONLY)
        try:
            os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        finally:
            os.close(handle)
    _unseal(file, None)


def _give_name(unfinished: Path, file: Path) -> None:
    """Give a finished backup its name; ValueError where another has it by now."""
    try:
        os.link(unfinished, file)
    except FileExistsError:
        raise _exists(file) from None
    except OSError:  # a file system without links, such as a memory stick's: claim the name, then replace the claim
        try:
            file.touch(mode=0o600, exist_ok=False)
        except FileExistsError:
            raise _exists(file) from None
        unfinished.rename(file)


def _exists(file: Path) -> ValueError:
    return ValueError(f"{file} exists: a backup never replaces a file. Choose another name.")


def _held(engine: Engine) -> list[str]:
    """Return the tables that hold rows; an empty list is a database that nobody misses."""
    if engine.url.get_backend_name() == "sqlite" and not Path(str(engine.url.database)).exists():
        return []
    with engine.connect() as connection:
        names = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
        return [name for name in names if connection.execute(text(f'SELECT 1 FROM "{name}" LIMIT 1')).first()]


def _copy_sqlite(engine: Engine, content: Path) -> str:
    """Copy all pages in one step of SQLite's online backup, which is one snapshot; verify the copy."""
    source = Path(str(engine.url.database)).absolute()
    if not source.exists():
        raise ValueError(f"There is no database {source}.")
    with _opened(source) as live, _opened(content) as copy:
        live.backup(copy, pages=-1)
        copy.execute("PRAGMA journal_mode=DELETE")
    return _verify_sqlite(content, "The copy")


@contextmanager
def _opened(file: Path) -> Iterator[Any]:
    connection = sqlite_driver().connect(file, timeout=5, isolation_level=None)
    with closing(connection):
        yield connection


def _verify_sqlite(content: Path, place: object) -> str:
    """Open a SQLite file without changing it; raise ValueError naming what is wrong with it."""
    asked = {"mode": "ro", "immutable": "1", "uri": "true"}
    engine = create_engine(
        URL.create("sqlite", database=f"file:{quote(str(content.absolute()))}", query=asked), module=sqlite_driver()
    )
    try:
        with engine.connect() as connection:
            sound = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            if sound != ["ok"] or loose:
                raise ValueError(f"{place} is damaged: {loose[0] if sound == ['ok'] else sound[0]}")
            return _verify_content(connection, place)
    except DatabaseError as error:
        raise ValueError(f"{place} is damaged: {error.orig}") from None
    finally:
        engine.dispose()


def _verify_content(connection: Connection, place: object) -> str:
    revision = current_revision(connection)
    if revision is None or not knows_revision(revision):
        raise ValueError(f"{place} is at revision {revision}, which this service does not know.")
    tables = inspect(connection).get_table_names()
    if "ledger_entry" not in tables:
        return f"revision {revision}, before there were books"
    with Session(connection) as session:
        check = check_ledger(session)
        record = last_record(session) if "record_digest" in tables else None
    if check.first_bad is not None:
        raise ValueError(
            f"{place}: the books do not hold together at entry {check.first_bad.place}: {check.first_bad.why}."
        )
    last = f", last hash {check.last_hash}" if check.last_hash else ""
    records = f", digest of record {record[0]} {record[1]}" if record else ""
    return f"revision {revision}, {check.entries} entries{last}{records}"


def _replace_sqlite(engine: Engine, file: Path) -> None:
    """Write a verified copy over the database in one transaction, with nobody else in it."""
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


def _dump_postgres(engine: Engine, content: Path) -> str:
    """Verify the books in one snapshot, and dump that snapshot."""
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection:
        says = _verify_content(connection, "The database")
        snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
        how = ("--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", f"--file={content}")
        _run_client("pg_dump", engine.url, *how)
    _verify_dump(content, "The dump")
    return says


def _verify_dump(content: Path, place: object) -> None:
    """Read a dump from end to end; raise ValueError where it is not one of this service."""
    listed = _run_client("pg_restore", None, "--list", str(content))
    _run_client("pg_restore", None, f"--file={os.devnull}", str(content))
    if " alembic_version " not in listed:
        raise ValueError(f"{place} is no backup of this service.")


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
