"""The database: engine, constraint names, the UTC column type, and the session of a request.

- On SQLite a writer begins IMMEDIATE (two writers never interleave a read and a write); readers see one snapshot. The
  file is in WAL mode and every commit is synced. All writers of a process use one connection in turn: it alone has a
  large page cache, which stays true from one write to the next.
- On PostgreSQL statements, lock waits and idle transactions have time limits, set for each transaction only.
- A request that is not wanted any more ends with its next statement, and a statement while it runs (``Stop``); its
  transaction is rolled back whole. A connection of PostgreSQL whose statement was cancelled is not used again: the
  cancellation names the connection, so a late one would end the statement of another request.
- Instants are stored in UTC and come back aware, on either database; naive ones are refused.
"""

import hashlib
import importlib
import importlib.util
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import cache, partial
from threading import Event, Lock, Thread
from typing import Any

from sqlalchemy import Connection, DateTime, Dialect, Engine, TypeDecorator, create_engine, event, text
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.orm import SessionTransaction
from sqlalchemy.pool import ConnectionPoolEntry
from sqlmodel import Session, SQLModel

from ..pricing.effort import Effort, Stop
from .settings import Settings, get_settings

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
SQLITE_PRAGMAS = {
    "journal_mode": "wal",
    "synchronous": "2",  # FULL: a commit that was answered survives a power cut
    "foreign_keys": "1",
    "recursive_triggers": "1",  # else INSERT OR REPLACE passes the triggers that forbid change
    "busy_timeout": "5000",
    "wal_autocheckpoint": "4000",  # pages: those that many commits touch are written back once
}
POSTGRES_LIMITS = {
    "statement_timeout": "5s",
    "lock_timeout": "2s",
    "idle_in_transaction_session_timeout": "10s",
}


WRITER_WAIT_S = 5
WRITER_CACHE_KB = 16_000
"""A batch touches thousands of pages, for ids are random."""
READER_CACHE_KB = 2_000
"""Each of many connections; what it holds is read again after every commit of another."""
CANCEL_WITHIN_S = 2
CANCEL_EVERY_S = 0.2
LOOK_EVERY_OPCODES = 200_000
"""Instructions of SQLite's machine between two looks whether a statement is still wanted: some milliseconds."""
_SET_LIMITS = "SELECT " + ", ".join(f"set_config('{name}', '{value}', true)" for name, value in POSTGRES_LIMITS.items())
"""For this transaction only: the next request that gets the connection finds it as it was."""


_LOCK = text("SELECT pg_advisory_xact_lock(:key)")


class Utc(TypeDecorator[datetime]):
    """An instant: aware going in, UTC coming out; a naive one is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"expected an aware instant, found {value!r}")
        return value.astimezone(UTC)

    def bind_processor(self, dialect: Dialect) -> Callable[[datetime | None], Any] | None:
        """Write an instant; for SQLite as SQLAlchemy does, in a third of its time."""
        if dialect.name != "sqlite":
            return super().bind_processor(dialect)

        def write(value: datetime | None) -> str | None:
            instant = self.process_bind_param(value, dialect)
            return None if instant is None else instant.replace(tzinfo=None).isoformat(" ", "microseconds")

        return write

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def make_engine(settings: Settings) -> Engine:
    """Return an engine set up as this module's rules say, for either database."""
    if settings.on_sqlite:
        writer = _sqlite_engine(settings, connections=1, wait_s=WRITER_WAIT_S, cache_kb=WRITER_CACHE_KB)
        engine = _sqlite_engine(settings, connections=settings.threads, wait_s=1, cache_kb=READER_CACHE_KB)
        engine.update_execution_options(writer=writer)
        writer.update_execution_options(reader=engine)
        event.listen(engine, "engine_disposed", lambda _: writer.dispose())
        return engine
    engine = create_engine(
        settings.database_url,
        pool_size=settings.threads,
        max_overflow=0,
        pool_timeout=1,
        pool_pre_ping=True,
        hide_parameters=True,
        connect_args={"connect_timeout": 2, "options": "-c timezone=UTC"},
    )
    event.listen(engine, "begin", _begin_postgres)
    event.listen(engine, "commit", _let_finish)
    event.listen(engine, "checkin", _let_go)
    event.listen(engine, "before_cursor_execute", _look_before)
    return engine


def _sqlite_engine(settings: Settings, *, connections: int, wait_s: float, cache_kb: int) -> Engine:
    """Return an engine for SQLite with so many connections, for which a thread waits so long."""
    engine = create_engine(
        settings.database_url,
        module=sqlite_driver(),
        connect_args={"check_same_thread": False, "timeout": 5},
        pool_size=connections,
        max_overflow=0,
        pool_timeout=wait_s,
        pool_use_lifo=True,  # few callers at a time need few connections, each with its cache
        hide_parameters=True,
    )
    event.listen(engine, "connect", partial(_prepare_sqlite, cache_kb=cache_kb))
    event.listen(engine, "begin", _begin_sqlite)
    event.listen(engine, "before_cursor_execute", _look_before)
    return engine


def sqlite_driver() -> Any:
    """Return pysqlite3 where it is installed, for it brings its own and newer SQLite; else the standard library's."""
    return importlib.import_module("pysqlite3") if importlib.util.find_spec("pysqlite3") else sqlite3


def _look_before(connection: Connection, cursor: Any, statement: str, *rest: Any) -> None:  # noqa: ARG001
    """Raise ``Stopped`` before a statement that is not wanted any more; what undoes others is always wanted."""
    stop: Stop | None = connection.get_execution_options().get("stop")
    if stop is not None and not statement.startswith("ROLLBACK"):
        stop.look()


def _prepare_sqlite(connection: DBAPIConnection, record: ConnectionPoolEntry, *, cache_kb: int) -> None:
    def is_unwanted() -> bool:
        stop: Stop | None = record.info.get("stop")
        return stop is not None and stop.ended

    connection.set_progress_handler(is_unwanted, LOOK_EVERY_OPCODES)
    connection.isolation_level = None  # the driver starts no transaction of its own
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA cache_size=-{cache_kb}")
    for name, value in SQLITE_PRAGMAS.items():
        cursor.execute(f"PRAGMA {name}={value}")
        found = str(cursor.execute(f"PRAGMA {name}").fetchone()[0]).lower()
        if found != value and name != "journal_mode":
            raise RuntimeError(f"SQLite refused PRAGMA {name}={value}: it says {found}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    options = connection.get_execution_options()
    connection.info["stop"] = options.get("stop")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writes") else "BEGIN")


def _begin_postgres(connection: Connection) -> None:
    options = connection.get_execution_options()
    stop: Stop | None = options.get("stop")
    if stop is not None:
        _let_finish(connection)
        cancellation = _Cancellation(connection.connection.driver_connection)
        connection.info["cancellation"] = stop.on_end = cancellation
    if options.get("reads"):
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
    if options.get("reads") or options.get("writes"):
        connection.exec_driver_sql(_SET_LIMITS)


class _Cancellation:
    """Ends the statement that a connection of PostgreSQL works at, when it is called, until it is finished."""

    def __init__(self, connection: Any) -> None:
        self._connection = connection
        self._sends = Lock()
        self._finished = Event()
        self.sent = False

    def __call__(self) -> None:
        if not self._finished.is_set():
            Thread(target=self._cancel, name="cancels a statement", daemon=True).start()

    def _cancel(self) -> None:
        """Cancel again and again: a cancellation that comes between two statements has no effect."""
        while not self._finished.is_set():
            with self._sends, suppress(Exception):  # where it fails, the statement's own limit ends it
                if not self._finished.is_set():
                    self.sent = True
                    self._connection.cancel_safe(timeout=CANCEL_WITHIN_S)
            self._finished.wait(CANCEL_EVERY_S)

    def finish(self) -> None:
        """Cancel nothing any more; wait until a cancellation that is being sent has been."""
        self._finished.set()
        with self._sends:
            return


def _let_finish(connection: Connection) -> None:
    """Let a commit that begins be finished."""
    if (cancellation := connection.info.get("cancellation")) is not None:
        cancellation.finish()


def _let_go(_: DBAPIConnection | None, record: ConnectionPoolEntry) -> None:
    """Take a connection back into the pool, or out of use where its statement was cancelled."""
    cancellation: _Cancellation | None = record.info.pop("cancellation", None)
    if cancellation is not None:
        cancellation.finish()
        if cancellation.sent:
            record.invalidate(soft=True)


@event.listens_for(Session, "after_soft_rollback")
def _forget_what_was_undone(session: Session, previous: SessionTransaction) -> None:  # noqa: ARG001
    """Read everything again after a savepoint was undone: rows that were stored without the session may be gone."""
    if session.is_active:
        session.expire_all()


@cache
def get_engine() -> Engine:
    """Return the engine of this process."""
    return make_engine(get_settings())


@contextmanager
def reading(engine: Engine, stop: Stop | None = None) -> Iterator[Session]:
    """Yield a session on one snapshot, taken by its first statement; whatever it holds at the end is thrown away.

    Its statements raise ``Stopped`` once ``stop`` has ended.
    """
    stop = stop or Stop()
    engine = engine.get_execution_options().get("reader", engine)
    with Session(engine.execution_options(reads=True, writes=False, stop=stop), info={"stop": stop}) as session:
        yield session
        session.rollback()


@contextmanager
def writing(engine: Engine, stop: Stop | None = None) -> Iterator[Session]:
    """Yield a session that is committed as a whole, or, when anything is raised, not at all.

    Its transaction begins with its first statement. On SQLite the writers of a process take turns there; raises
    sqlalchemy.exc.TimeoutError where the turn does not come within 5 seconds. Its statements raise ``Stopped`` once
    ``stop`` has ended; a commit that has begun is finished.
    """
    stop = stop or Stop()
    engine = engine.get_execution_options().get("writer", engine)
    with (
        Session(engine.execution_options(writes=True, reads=False, stop=stop), info={"stop": stop}) as session,
        session.begin(),
    ):
        yield session
        session.flush()
        stop.look()


def is_snapshot(session: Session) -> bool:
    """Tell whether a session only reads: it takes no locks and stores nothing."""
    return bool(session.get_bind().get_execution_options().get("reads"))


def stop_of(session: Session) -> Stop:
    """Return what tells whether the request of a session is still wanted."""
    stop: Stop | None = session.info.get("stop")
    return stop or Stop()


def work_of(session: Session) -> Effort:
    """Return a count of work for the request of a session, at its beginning."""
    return Effort(stop=stop_of(session))


def lock(session: Session, name: str) -> None:
    """Let nobody else who holds the same name go on until this transaction ends.

    For work that reads and then writes what another may be writing (the next version of a tariff, the end of a
    chain). SQLite has one writer at a time anyway, and a snapshot changes for nobody.
    """
    if session.get_bind().dialect.name == "postgresql" and not is_snapshot(session):
        key = int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], signed=True)
        session.connection().execute(_LOCK, {"key": key})


def lock_each(session: Session, names: Iterable[str]) -> None:
    """Take several locks, in the order of their names: two that take some of the same never wait for each other."""
    for name in sorted(set(names)):
        lock(session, name)


def mark_preview(session: Session) -> None:
    """Make this request leave nothing behind: it was only a preview."""
    session.info["preview"] = True


def is_preview(session: Session) -> bool:
    """Tell whether a session's request was only a preview."""
    return bool(session.info.get("preview"))
