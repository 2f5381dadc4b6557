"""A year's earnings of 1,000 tables, each collected every week, against one second, on SQLite and on PostgreSQL.

Whoever asks every Monday does not wait: a second is the limit. The rows are made without the service, 52,000 boxes in
13,000 collections; then they are worked out once, as after an update, which is printed too. What is timed is the whole
answer as the service writes it: rows, totals, collections, what is not yet collected, the JSON.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from random import Random
from time import perf_counter
from uuid import UUID

from baizebook.collections.rows import CollectedTableRow, CollectionRow
from baizebook.earnings.earned_totals import Grouping
from baizebook.earnings.service import EarningsQuestion, read_earnings, reckon
from baizebook.pool_tables.rows import PoolTableRow, StayRow
from baizebook.store.changes import ToReckonRow
from baizebook.store.db import make_engine, reading, writing
from baizebook.venues.rows import VenueRow
from sqlalchemy import Engine
from sqlmodel import Session

from tests.benchmarks.figure import Figure, compare
from tests.databases import postgres_database, settings_for, sqlite_database

VENUES, TABLES_OF_A_VENUE, WEEKS = 250, 4, 52
BEGIN, NOW = datetime(2026, 1, 5, 15, tzinfo=UTC), datetime(2027, 1, 8, 12, tzinfo=UTC)
METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
ASKED: tuple[tuple[Grouping, ...], ...] = (("venue",), ("table",), ("week",))


def run(*, rounds: int) -> Iterator[Figure]:
    """Yield how long a year by venue, by table and by week takes, in seconds, on each database."""
    for name, database in (("SQLite", sqlite_database), ("PostgreSQL", postgres_database)):
        with database() as url:
            engine = make_engine(settings_for(url))
            fill(engine)
            began = perf_counter()
            reckon(engine, at_most=VENUES * TABLES_OF_A_VENUE)
            print(f"  {name}: worked out from nothing in {perf_counter() - began:.1f} s")
            for by in ASKED:
                figure = Figure(f"N1 {name}", f"a year of 1,000 tables by {', '.join(by)}", "a second", 1.0)
                yield compare(figure, partial(_seconds, engine, by), lambda: 1.0, rounds=rounds)
            engine.dispose()


def _seconds(engine: Engine, by: tuple[Grouping, ...]) -> float:
    began = perf_counter()
    with reading(engine) as session:
        asked = EarningsQuestion(from_on=date(2026, 1, 1), until_on=date(2027, 1, 1), by=by)
        text = read_earnings(session, asked, now=NOW).model_dump_json(by_alias=True)
    took = perf_counter() - began
    if len(text) < 100_000:
        raise SystemExit("the answer names its collections, so it is long")
    return took


def fill(engine: Engine) -> None:
    """Store venues, their tables, and a collection of each venue every week."""
    with writing(engine) as session:
        for number in range(VENUES):
            _venue(session, number, Random(number))
        session.add(ToReckonRow())


def _venue(session: Session, number: int, chance: Random) -> None:
    venue = VenueRow(
        id=UUID(int=number + 1), sequence=number + 1, name=f"Venue {number}", books_name=f"Venue-{number}",
        time_zone="America/New_York", currency="USD", day_starts_at=time(6), made_at=BEGIN,
    )  # fmt: skip
    session.add(venue)
    session.flush()
    tables = [number * TABLES_OF_A_VENUE + place + 1 for place in range(TABLES_OF_A_VENUE)]
    for table in tables:
        profile = {"accepts": ["0.25", "1.00"], "meters": METERS}
        row = PoolTableRow(
            id=UUID(int=table),
            sequence=table,
            label=f"Table {table}",
            venue_id=venue.id,
            profile=profile,
            made_at=BEGIN,
        )
        session.add(row)
        session.flush()
        session.add(
            StayRow(
                id=UUID(int=table),
                sequence=table,
                pool_table_id=row.id,
                venue_id=venue.id,
                place="venue",
                from_at=BEGIN,
                meters={},
            )
        )
    shown = dict.fromkeys(tables, 0)
    for week in range(1, WEEKS + 1):
        at = BEGIN + timedelta(weeks=week, days=number % 3, hours=number % 7)
        id_ = UUID(int=number * WEEKS + week)
        dollars = {table: chance.randrange(40, 160) for table in tables}
        session.add(
            CollectionRow(
                id=id_, record_id=id_, sequence=number * WEEKS + week, venue_id=venue.id, currency="USD", collected_at=at,
                trading_on=at.date(), received_at=at, recorded_by="Ana", collector="Ana",
                counted_minor=100 * sum(dollars.values()), expected_least_minor=None, expected_most_minor=None,
                difference_minor=None, refunds_by_venue_minor=0, house_money_minor=0, test_money_minor=0,
            )
        )  # fmt: skip
        session.flush()
        for place, table in enumerate(tables):
            shown[table] += dollars[table]
            session.add(
                CollectedTableRow(
                    collection_id=id_, pool_table_id=UUID(int=table), place=place,
                    meters={"cash": 4 * shown[table], "plays": shown[table]}, counts=[(100, dollars[table])], weighed_g=[],
                    other=[], refunds_from_box_minor=0, refunds_by_venue_minor=0, test_games=0, test_money_minor=0,
                    house_money_minor=0, counted_minor=100 * dollars[table], meters_before={}, expected_least_minor=None,
                    expected_most_minor=None, is_figure=False, cautions=[],
                )
            )  # fmt: skip
    session.flush()
    session.expunge_all()
