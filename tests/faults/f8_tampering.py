"""F8: what is changed behind the service's back, with the guards out of the way, is found; guards outlive migrations.

That the guards refuse every way of changing a posted line stands in ``tests/ledger/test_append_only_api.py``.
"""

import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any, NamedTuple
from uuid import UUID

from alembic.script import ScriptDirectory
from baizebook.collections.schemas import CollectionIn
from baizebook.collections.service import record_collection, reverse_collection
from baizebook.jobs.schemas import JobDoneIn, JobIn
from baizebook.jobs.service import Reporter, close_job, report_job
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.queries import check_ledger
from baizebook.ledger.service import post_entry
from baizebook.lifecycle.schemas import RetirementIn
from baizebook.lifecycle.service import retire_table
from baizebook.ops.check import APPEND_ONLY, unguarded_events
from baizebook.pool_tables.schemas import TableIn
from baizebook.pool_tables.service import create_table
from baizebook.reports.queries import altered_bookings, altered_collections, altered_records
from baizebook.settlements.schemas import AgreementIn
from baizebook.settlements.service import publish_agreement
from baizebook.store import migrate
from baizebook.store.db import make_engine, writing
from baizebook.venues.schemas import VenueIn
from baizebook.venues.service import create_venue
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import DataError, IntegrityError
from sqlmodel import Session, SQLModel

from tests.databases import empty_sqlite, postgres_database, settings_for, sqlite_database
from tests.faults.fault import Broken, Fault, check

ENTRIES = 40
TABLES = ("ledger_entry", "ledger_posting")
BOOKED = (
    *("collection", "collected_table", "settlement", "agreement", "reversal"),
    *("job_done", "job_part", "retirement", "record_digest"),
)
ROWS = {
    "take an entry out": "DELETE FROM ledger_entry WHERE number = :entry",
    "take an entry out with its postings": "DELETE FROM ledger_posting WHERE entry_number = :entry; "
    "DELETE FROM ledger_entry WHERE number = :entry",
    "take the end off": "DELETE FROM ledger_posting WHERE entry_number >= :entry; "
    "DELETE FROM ledger_entry WHERE number >= :entry",
    "take a posting out": "DELETE FROM ledger_posting WHERE entry_number = :entry AND place = 1",
    "add a posting": "INSERT INTO ledger_posting VALUES (:entry, 2, 'bank', NULL, :entry)",
    "double a posting": "INSERT INTO ledger_posting SELECT entry_number, place + 2, account, venue_id, amount_minor "
    "FROM ledger_posting WHERE entry_number = :entry",
    "hand a posting on": "UPDATE ledger_posting SET entry_number = entry_number + 1, place = 7 "
    "WHERE entry_number = :entry AND place = 0",
    "move an entry to the end": "UPDATE ledger_posting SET entry_number = 1000 WHERE entry_number = :entry; "
    "UPDATE ledger_entry SET number = 1000 WHERE number = :entry",
}
"""Changes of whole rows, beside those of one byte."""

Verdict = Callable[[Session], object]


def run(chance: Random, rounds: int) -> str:
    """Change so many bytes and rows of each database, one at a time; walk through the migrations and look for guards."""
    for database in (sqlite_database, postgres_database):
        _tamper(JOURNAL, database, check_whole, chance, rounds=rounds)
        _tamper(BOOKINGS, database, booked_facts, chance, rounds=rounds)
    walked = sum(_walk(database) for database in (empty_sqlite, lambda: postgres_database(empty=True)))
    return f"{rounds} of {rounds} changes of the journal and of every record of money found on each database; guards present after each of {walked} migrations"


def control(chance: Random) -> None:
    """A check that only adds up finds no changed name and no missing entry; the chain alone no changed collection."""
    for facts, verdict in ((JOURNAL, check_sums), (BOOKINGS, check_whole)):
        try:
            _tamper(facts, sqlite_database, verdict, chance, rounds=20)
        except Broken as broken:
            found = broken
        else:
            return
    raise found


def check_whole(session: Session) -> object:
    """Return what the service says of its books: who keeps it elsewhere can compare."""
    verdict = check_ledger(session)
    return (verdict.ok, verdict.entries, verdict.last_hash)


def booked_facts(session: Session) -> object:
    """Return which entries book facts that were changed since, and which other records of money were."""
    return [*altered_bookings(session), *altered_collections(session), *altered_records(session)]


def check_sums(session: Session) -> object:
    """Return whether all postings add up to nothing."""
    return session.connection().execute(text("SELECT sum(amount_minor) FROM ledger_posting")).scalar() == 0


class _Facts(NamedTuple):
    """What is changed behind the guards: how it is made, in which tables it is, and how one change is made."""

    make: Callable[[Engine], None]
    tables: tuple[str, ...]
    change: Callable[[Session, Random], str]


def _tamper(
    facts: _Facts,
    database: Callable[[], AbstractContextManager[str]],
    verdict: Verdict,
    chance: Random,
    *,
    rounds: int,
) -> None:
    """Make one change, look whether the verdict shows it, take it back; again and again."""
    with database() as url:
        engine = make_engine(settings_for(url))
        try:
            facts.make(engine)
            _take_guards_away(engine, facts.tables)
            with writing(engine) as session:
                before = verdict(session)
            found = 0
            while found < rounds:
                with Session(engine.execution_options(writes=True)) as session:
                    try:
                        what = facts.change(session, chance)
                    except (IntegrityError, DataError):
                        continue  # the database refused it even so
                    check(verdict(session) != before, f"not found on {engine.dialect.name}: {what}")
                    session.rollback()
                found += 1
        finally:
            engine.dispose()


def _collect(engine: Engine) -> None:
    """Record a dozen collections of two tables at a venue, all of them settled; two are taken back.

    An agreement that nothing was settled by yet, a job that was closed with parts, and a table that was sold.
    """
    now = datetime(2026, 11, 25, 17, tzinfo=UTC)
    terms = {
        "effective_on": "2026-01-01",
        "venue_percent": "50",
        "first_money": [{"name": "Licence", "amount": "60.00", "per": "month", "starts_on": "2026-10-01"}],
    }
    with writing(engine) as session:
        venue = create_venue(
            session,
            VenueIn.model_validate({"name": "The Tin Heron", "time_zone": "America/New_York", "currency": "USD"}),
            now=now,
        )
        publish_agreement(session, venue.id, AgreementIn.model_validate(terms), now=now)
        tables = [
            create_table(
                session,
                venue.id,
                TableIn.model_validate({"label": label, "accepts": ["1.00"], "placed_at": "2026-01-05T15:00:00Z"}),
                now=now,
            )
            for label in ("Front", "Back")
        ]
        for day in range(1, 13):
            collection = {
                "id": str(UUID(int=day)),
                "venue_id": str(venue.id),
                "collected_at": f"2026-11-{day:02}T16:00:00Z",
                "collector": "Ana",
                "tables": [{"table_id": str(table.id), "counted": {"1.00": 20 + day}} for table in tables],
            }
            record_collection(session, CollectionIn.model_validate(collection), now=now, by="Ana", person="Ana")
        for day in (3, 7):
            reverse_collection(session, UUID(int=day), reason="miscounted", now=now, by="Ana")
        publish_agreement(
            session,
            venue.id,
            AgreementIn.model_validate({"effective_on": "2027-01-01", "venue_percent": "40"}),
            now=now,
        )
        job = {"id": str(UUID(int=1)), "table_id": str(tables[0].id), "reported_at": "2026-11-20T16:00:00Z"}
        job |= {"fault": "cloth_damaged", "playable": True}
        report_job(session, JobIn.model_validate(job), by=Reporter("Ana"), now=now)
        parts = [{"name": "cloth", "cost": "50.00"}, {"name": "glue", "cost": "2.00"}]
        done = {"at": "2026-11-21T16:00:00Z", "found": "torn", "test_money": "1.00", "parts": parts}
        close_job(session, UUID(int=1), JobDoneIn.model_validate(done), by="Ana", now=now)
        sale = {"how": "sold", "at": "2026-11-22T16:00:00Z", "box": "empty", "price": "90.00"}
        retire_table(session, tables[1].id, RetirementIn.model_validate(sale), by="Ana", now=now)


def _of_a_booked_byte(session: Session, chance: Random) -> str:
    table = SQLModel.metadata.tables[chance.choice(BOOKED)]
    kept, its = ("rowid", ":kept") if session.get_bind().dialect.name == "sqlite" else ("ctid", "CAST(:kept AS tid)")
    rows = session.connection().execute(text(f"SELECT {kept} AS kept, * FROM {table.name}")).mappings().all()
    row = chance.choice(rows)
    column = chance.choice([column.name for column in table.c if row[column.name] not in (None, "")])
    new = _one_byte_off(row[column], chance)
    if isinstance(row[column], bool):
        new = not row[column]
    elif isinstance(row[column], list | dict):
        new = _one_byte_off(json.dumps(row[column]), chance)
    cast = "CAST(:new AS json)" if isinstance(row[column], list | dict) else ":new"
    session.connection().execute(
        text(f"UPDATE {table.name} SET {column} = {cast} WHERE {kept} = {its}"), {"new": new, "kept": row["kept"]}
    )
    return f"{table.name}.{column}: {new!r} in place of {row[column]!r}"


def _fill(engine: Engine) -> None:
    with writing(engine) as session:
        for number in range(ENTRIES):
            post_entry(
                session,
                kind="opening",
                on=date(2026, 1, 1) + timedelta(days=number),
                currency="USD",
                postings=owner_postings(kind="opening", amount_minor=12_345 + number),
                reference=f"Slip {number} of the Löwenbräu",
                source_id=UUID(int=number) if number % 2 else None,
                now=datetime(2026, 11, 25, 17, tzinfo=UTC) + timedelta(microseconds=number),
            )


def _take_guards_away(engine: Engine, tables: tuple[str, ...]) -> None:
    with writing(engine) as session:
        if engine.dialect.name == "postgresql":
            for table in tables:
                session.connection().exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
        else:
            named = ", ".join(f"'{table}'" for table in tables)
            query = text(f"SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name IN ({named})")
            for name in session.connection().execute(query).scalars().all():
                session.connection().exec_driver_sql(f"DROP TRIGGER {name}")


def _of_the_journal(session: Session, chance: Random) -> str:
    return (_of_a_row if chance.random() < 0.3 else _of_a_byte)(session, chance)


def _of_a_row(session: Session, chance: Random) -> str:
    what, entry = chance.choice(list(ROWS)), chance.randint(2, ENTRIES)
    for statement in ROWS[what].split("; "):
        names = {"entry": entry} if ":entry" in statement else {}
        session.connection().execute(text(statement), names)
    return f"{what} {entry}"


def _of_a_byte(session: Session, chance: Random) -> str:
    """Change one byte of one value."""
    table, entry = chance.choice(TABLES), chance.randint(1, ENTRIES)
    key = "number" if table == "ledger_entry" else "entry_number"
    where = f"{key} = {entry}" + ("" if table == "ledger_entry" else f" AND place = {chance.randint(0, 1)}")
    row = session.connection().execute(text(f"SELECT * FROM {table} WHERE {where}")).mappings().one()
    column = chance.choice([name for name, value in row.items() if value is not None])
    old, new = row[column], _one_byte_off(row[column], chance)
    session.connection().execute(text(f"UPDATE {table} SET {column} = :new WHERE {where}"), {"new": new})
    return f"{table}.{column} where {where}: {new!r} in place of {old!r}"


def _one_byte_off(value: Any, chance: Random) -> Any:
    if isinstance(value, int):
        return value ^ (1 << chance.randrange(16))
    if isinstance(value, datetime):
        return value + timedelta(microseconds=1 << chance.randrange(20))
    if isinstance(value, date):
        return value + timedelta(days=1 << chance.randrange(8))
    written = str(value)
    at = chance.randrange(len(written))
    other = chance.choice([letter for letter in "0123456789abcdef-zZ" if letter.lower() != written[at].lower()])
    return written[:at] + other + written[at + 1 :]


def _walk(database: Callable[[], AbstractContextManager[str]]) -> int:
    """Migrate up step by step, down step by step and up again; no step loses a guard, and at the top none is missing."""
    revisions = [script.revision for script in ScriptDirectory.from_config(migrate.config_for()).walk_revisions()][::-1]
    with database() as url:
        engine = make_engine(settings_for(url))
        try:
            steps = [(migrate.upgrade, name) for name in revisions]
            steps += [(migrate.downgrade, name) for name in revisions[-2::-1]]
            steps += [(migrate.upgrade, name) for name in revisions[1:]]
            first: dict[str, dict[str, list[str]]] = {}
            guarded: set[str] = set()
            for step, revision in steps:
                step(engine, revision)
                missing = _unguarded(engine)
                lost = set(missing) & guarded if step is migrate.upgrade else set()
                where = f"after {step.__name__} to {revision} on {engine.dialect.name}"
                check(not lost, f"{where} no longer guarded: {lost}")
                check(missing == first.setdefault(revision, missing), f"{where} guards are not those of before")
                guarded = _present(engine) - set(missing)
            check(not missing, f"at the top on {engine.dialect.name} unguarded: {missing}")
        finally:
            engine.dispose()
    return len(steps)


def _present(engine: Engine) -> set[str]:
    return set(inspect(engine).get_table_names()) & set(APPEND_ONLY)


def _unguarded(engine: Engine) -> dict[str, list[str]]:
    with engine.connect() as connection:
        found = {table: unguarded_events(connection, table) for table in sorted(_present(engine))}
    return {table: missing for table, missing in found.items() if missing}


JOURNAL = _Facts(_fill, TABLES, _of_the_journal)
BOOKINGS = _Facts(_collect, BOOKED, _of_a_booked_byte)

FAULT = Fault(name="F8", says="tampering", run=run, control=control, short=300, long=1000)
