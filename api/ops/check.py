"""Check a database: does it keep what the service promises? ``baizebook check`` prints every finding, ``serve`` heeds it.

- Settings are read back from the database, and the guards of append-only tables are tried in a transaction that is
  rolled back. An empty table cannot be tried, so its guards are also looked up.
- The books are followed from the first entry (``check_books``): too long for every start, so ``serve`` leaves it out.
- ``bad``: could lose, change or show to anybody what was stored; ``serve`` does not start.
- ``warning``: worth mending, though there may be reasons not to.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal
from uuid import UUID

from fastapi import FastAPI
from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import Session

from ..ledger.queries import check_ledger
from ..reports.queries import altered_bookings, altered_collections, altered_records
from ..store.db import POSTGRES_LIMITS, SQLITE_PRAGMAS, sqlite_driver, writing
from ..store.revision import current_revision, newest_revision
from ..store.sequence import CLOCKS_AGREE_WITHIN, last_recorded_at
from ..store.settings import Settings
from ..web.unguarded_operations import unguarded
from ..webhooks.queries import read_outbox

APPEND_ONLY = (
    "venue_fact",
    "tariff",
    "schedule",
    "keying",
    "reading",
    "reading_void",
    "ledger_entry",
    "ledger_posting",
    "agreement",
    "collection",
    "collected_table",
    "settlement",
    "reversal",
    "dispute",
    "dispute_answer",
    "job",
    "job_step",
    "job_part",
    "job_done",
    "keying_void",
    "retirement",
    "work_completion",
    "work_step",
    "trip",
    "trip_stop",
    "trip_work",
    "trip_end",
    "record_digest",
)
"""Tables whose rows are never changed or deleted."""
_GOES_UNUSED = ("venue_fact", "tariff")
"""Of these, tables whose rows go where they were made by mistake and never used: their guard lets that pass."""
_NAME_AN_ENTRY = ("settlement", "reversal")
_WAL_RACE_FROM, _WAL_RACE_UP_TO = (3, 7, 0), (3, 51, 2)

OUTBOX_LATE_AFTER = timedelta(minutes=30)
"""A delivery that could be sent and was not for this long: nobody sends."""

_POSTGRES_DURABLE = ("fsync", "full_page_writes", "synchronous_commit")
_POSTGRES_BEFORE = 2


_POSTGRES_EVENTS = {"UPDATE": 16, "DELETE": 8, "TRUNCATE": 32}
"""Bits of ``pg_trigger.tgtype`` (PostgreSQL, src/include/catalog/pg_trigger.h)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """The result of one check."""

    what: str
    grade: Literal["good", "warning", "bad"]
    says: str


def examine(app: FastAPI) -> list[Finding]:
    """Check an application and its database, all but the books; change nothing."""
    engine: Engine = app.state.engine
    settings: Settings = app.state.settings
    try:
        migrated = _migrations(engine)
        if migrated.grade == "bad":
            return [migrated]
        of_the_database = _sqlite(engine) if settings.on_sqlite else _postgresql(engine)
        return [migrated, *of_the_database, *_guards(engine), _clock(app), _permissions(app), *_webhooks(app)]
    except OperationalError as error:
        return [Finding("database", "bad", f"The database does not answer: {str(error.orig).strip()}")]


def check_books(engine: Engine) -> list[Finding]:
    """Check a migrated database's books: the chain of entries, and that what was booked still has its entry."""
    with Session(engine) as session:
        found = check_ledger(session)
    bad = found.first_bad
    chain = Finding("books", "good", f"All {found.entries} entries fit.")
    if bad is not None:
        chain = Finding("books", "bad", f"Entry {bad.place} does not fit: {bad.why}. Restore a backup.")
    return [chain, _journal(engine), *([] if bad else [_bookings(engine)]), _collections(engine), _records(engine)]


def _bookings(engine: Engine) -> Finding:
    """Compare the facts that entries book with the digests that the journal holds of them."""
    with Session(engine) as session:
        altered = list(altered_bookings(session))
    return _grade(
        "booked facts",
        good=not altered,
        says="Every collection, settlement and reversal is as it was booked.",
        otherwise=f"{len(altered)} entries book facts that were changed since, the first of them entry "
        f"{min(altered, default=0)}: restore a backup.",
    )


def _collections(engine: Engine) -> Finding:
    """Compare the collections, settled or not, with the digests that they were recorded with."""
    return _as_recorded(engine, "collections", altered_collections, one="collection", many="collections")


def _records(engine: Engine) -> Finding:
    """Compare agreements, closed jobs, retirements and reversals with the digests that were kept of them."""
    one, many = "agreement, closed job, retirement and reversal", "agreements, closed jobs, retirements or reversals"
    return _as_recorded(engine, "records", altered_records, one=one, many=many)


def _as_recorded(
    engine: Engine, what: str, altered: Callable[[Session], Iterable[UUID | str]], *, one: str, many: str
) -> Finding:
    with Session(engine) as session:
        found = list(altered(session))
    return _grade(
        what,
        good=not found,
        says=f"Every {one} is as it was recorded.",
        otherwise=f"{len(found)} {many} were changed since, or follow one that is gone, the first of them "
        f"{found[0] if found else ''}: restore a backup.",
    )


def _grade(what: str, *, good: bool, says: str, otherwise: str) -> Finding:
    return Finding(what, "good", says) if good else Finding(what, "bad", otherwise)


def _migrations(engine: Engine) -> Finding:
    with engine.connect() as connection:
        found, newest = current_revision(connection), newest_revision()
    return _grade(
        "migrations",
        good=found == newest,
        says=f"The database is at revision {newest}.",
        otherwise=f"The database is at revision {found}, the service at {newest}: run baizebook migrate.",
    )


def _sqlite(engine: Engine) -> Iterator[Finding]:
    with engine.connect() as connection:
        found = {name: str(connection.exec_driver_sql(f"PRAGMA {name}").scalar()).lower() for name in SQLITE_PRAGMAS}
    wrong = [f"{name} is {found[name]}, not {value}" for name, value in SQLITE_PRAGMAS.items() if found[name] != value]
    yield _grade(
        "SQLite settings",
        good=not wrong,
        says=", ".join(f"{name} {value}" for name, value in found.items()) + ".",
        otherwise="; ".join(wrong) + ". Keep the file on a local disk, not a network drive.",
    )
    yield sqlite_version(sqlite_driver().sqlite_version_info)


def sqlite_version(version: tuple[int, ...]) -> Finding:
    """Judge a version of SQLite."""
    name = ".".join(map(str, version))
    if not _WAL_RACE_FROM <= version <= _WAL_RACE_UP_TO:
        return Finding("SQLite version", "good", f"SQLite {name}.")
    return Finding(
        "SQLite version",
        "warning",
        f"SQLite {name} can, very rarely, damage a file while one connection writes and another writes back the log "
        "(versions 3.7.0 to 3.51.2). It needs several processes, so keep --workers at 1, or install a newer SQLite: "
        "pip install 'pysqlite3>=0.6.1'.",
    )


def _postgresql(engine: Engine) -> Iterator[Finding]:
    with writing(engine) as session:
        limits = {name: str(session.execute(text(f"SHOW {name}")).scalar()) for name in POSTGRES_LIMITS}
        durable = {name: str(session.execute(text(f"SHOW {name}")).scalar()) for name in _POSTGRES_DURABLE}
        owned = session.execute(
            text(
                "SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() "
                "AND pg_has_role(current_user, tableowner, 'USAGE')"
            )
        ).scalar_one()
    yield _grade(
        "PostgreSQL time-outs",
        good=limits == POSTGRES_LIMITS,
        says=", ".join(f"{name} {value}" for name, value in limits.items()) + ".",
        otherwise=f"Expected {POSTGRES_LIMITS}, found {limits}.",
    )
    off = [name for name, value in durable.items() if value == "off"]
    yield (
        Finding("PostgreSQL durability", "warning", f"{' and '.join(off)} off: a power cut can lose stored data.")
        if off
        else Finding("PostgreSQL durability", "good", ", ".join(f"{name} {v}" for name, v in durable.items()) + ".")
    )
    yield (
        Finding(
            "PostgreSQL role",
            "warning",
            f"The service's role owns {owned} tables and can switch their guards off. Let one role run baizebook migrate "
            "and another, with only the rights that /guide/operations names, serve.",
        )
        if owned
        else Finding("PostgreSQL role", "good", "The service's role owns no table.")
    )


def _guards(engine: Engine) -> Iterator[Finding]:
    """Try to change and to delete a row of every append-only table, and look at what should prevent it."""
    with engine.execution_options(writes=True).connect() as connection:
        for table in APPEND_ONLY:
            passed = [verb for verb in _passed(connection, table) if verb != "DELETE" or table not in _GOES_UNUSED]
            missing = unguarded_events(connection, table) + passed
            yield _grade(
                f"guard of {table}",
                good=not missing,
                says="No row can be changed or deleted.",
                otherwise=f"Not guarded against {', '.join(dict.fromkeys(missing))}: restore a backup.",
            )
        connection.rollback()


def unguarded_events(connection: Connection, table: str) -> list[str]:
    """Return the ways of changing an append-only table that no guard of the database prevents."""
    looked_at = _sqlite_guards if connection.dialect.name == "sqlite" else _postgres_guards
    missing = looked_at(connection, table)
    if table in _GOES_UNUSED and _is_guarded_while_used(connection, table):
        return [event for event in missing if event != "DELETE"]
    return missing


def _passed(connection: Connection, table: str) -> list[str]:
    """Return which of the attempts to change a row of a table succeeded."""
    place = "rowid" if connection.dialect.name == "sqlite" else "ctid"
    row = f'WHERE {place} = (SELECT {place} FROM "{table}" LIMIT 1)'
    column = connection.exec_driver_sql(f'SELECT * FROM "{table}" LIMIT 0').cursor.description[0][0]
    attempts = {
        "UPDATE": f'UPDATE "{table}" SET "{column}" = "{column}" {row}',
        "DELETE": f'DELETE FROM "{table}" {row}',
    }
    if connection.dialect.name == "sqlite":
        attempts["INSERT OR REPLACE"] = f'INSERT OR REPLACE INTO "{table}" SELECT * FROM "{table}" {row}'
    return [name for name, attempt in attempts.items() if _succeeds(connection, attempt)]


def _succeeds(connection: Connection, attempt: str) -> bool:
    trial = connection.begin_nested()
    try:
        return connection.exec_driver_sql(attempt).rowcount > 0
    except DBAPIError as error:
        if isinstance(error, OperationalError) and connection.dialect.name == "sqlite":
            raise
        return False
    finally:
        trial.rollback()


def _sqlite_guards(connection: Connection, table: str) -> list[str]:
    found = connection.exec_driver_sql(
        "SELECT upper(sql) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
    )
    guards = [" ".join(sql.split()) for (sql,) in found]
    return [
        "INSERT OR REPLACE" if verb == "INSERT" else verb
        for verb in ("UPDATE", "DELETE", "INSERT")
        if not any(
            f"BEFORE {verb} ON {table.upper()} " in sql
            and "RAISE(ABORT" in sql
            and (" WHEN " not in sql or verb == "INSERT")
            for sql in guards
        )
    ]


def _is_guarded_while_used(connection: Connection, table: str) -> bool:
    """Tell whether a guard decides which rows of a table may be deleted."""
    if connection.dialect.name == "sqlite":
        found = connection.exec_driver_sql(
            "SELECT upper(sql) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
        )
        return any(f"BEFORE DELETE ON {table.upper()} " in " ".join(sql.split()) for (sql,) in found)
    guards = connection.exec_driver_sql(
        "SELECT tgtype FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal AND tgenabled IN ('O', 'A')",
        (table,),
    )
    wanted = _POSTGRES_BEFORE | _POSTGRES_EVENTS["DELETE"]
    return any(kind & wanted == wanted for (kind,) in guards)


def _postgres_guards(connection: Connection, table: str) -> list[str]:
    found = connection.exec_driver_sql(
        "SELECT tgtype FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal AND tgqual IS NULL "
        "AND tgenabled IN ('O', 'A')",
        (table,),
    )
    covered = 0
    for (kind,) in found:
        covered |= kind if kind & _POSTGRES_BEFORE else 0
    return [event for event, bit in _POSTGRES_EVENTS.items() if not covered & bit]


def _journal(engine: Engine) -> Finding:
    """Look for booked entries that are gone: the chain alone cannot show what was cut off its end."""
    lost: list[object] = []
    with engine.connect() as connection:
        for table in _NAME_AN_ENTRY:
            lost += connection.exec_driver_sql(
                f"SELECT entry_id FROM {table} WHERE entry_id IS NOT NULL AND NOT EXISTS "
                f"(SELECT 1 FROM ledger_entry WHERE ledger_entry.id = {table}.entry_id)"
            ).all()
    return _grade(
        "journal",
        good=not lost,
        says="Every settlement and every reversal has its entry.",
        otherwise=f"{len(lost)} settlements or reversals name an entry that is gone: restore a backup.",
    )


def _clock(app: FastAPI) -> Finding:
    """Compare the clock with the last recorded instant, which no later record may precede."""
    with Session(app.state.engine) as session:
        now: datetime = app.state.clock()
        behind = (last_recorded_at(session) or now) - now
    if behind <= CLOCKS_AGREE_WITHIN:
        return Finding("clock", "good", "The clock is not behind what was recorded.")
    return Finding(
        "clock",
        "warning",
        f"The clock is {behind.total_seconds():.0f} s behind the last recorded instant. Set the clock right; if it is right, "
        "it was ahead before, and until that instant everything is recorded at it.",
    )


def _webhooks(app: FastAPI) -> Iterator[Finding]:
    """Look whether webhooks are sent, and whether an endpoint was switched off because it fails."""
    with Session(app.state.engine) as session:
        outbox = read_outbox(session)
    overdue = outbox.overdue(now=app.state.clock())
    if overdue > OUTBOX_LATE_AFTER:
        minutes = overdue.total_seconds() // 60
        yield Finding(
            "webhooks",
            "warning",
            f"{outbox.waiting} webhooks wait, the oldest for {minutes:.0f} minutes, and nothing sends them: run baizebook "
            "deliver. The guide shows it as a service of systemd.",
        )
    elif outbox.off:
        yield Finding(
            "webhooks",
            "warning",
            f"Switched off because they fail: {', '.join(outbox.off)}. Mend the receiver, then switch the endpoint on, or "
            "delete it.",
        )
    else:
        yield Finding("webhooks", "good", f"{outbox.waiting} webhooks wait, none for long.")


def _permissions(app: FastAPI) -> Finding:
    found = unguarded(app)
    return _grade(
        "permissions",
        good=not found,
        says="Every operation names its roles.",
        otherwise=f"Open to anybody: {', '.join(found)}.",
    )
