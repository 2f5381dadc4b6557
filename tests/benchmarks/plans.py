"""The rows that every list, feed and report reads: a route of 1,000 tables against one of 100, on both databases.

A page should read what it shows, however large the route. PostgreSQL counts the rows that the statements of a question
read (``EXPLAIN ANALYZE``); the larger route should need as many as the smaller. A report over all venues reads all of
its period, in proportion to the route: its ratio is shown without a reach. PostgreSQL walks through a table only where
no index serves, for on small tables it would walk by choice.

Under a question stand the steps that read more than 500 rows on PostgreSQL, and those that walk through a table on
SQLite. ``BAIZEBOOK_BENCHMARK_VENUES`` (three tables each) and ``BAIZEBOOK_BENCHMARK_WEEKS`` make the route smaller, for
a look at the steps: the ratios need about a page, 100 tables, on the smaller one.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import ExitStack

from sqlmodel import SQLModel

from tests.benchmarks._plans import explained, recorded
from tests.benchmarks._route import NOW, Filled, Size, fill
from tests.benchmarks._service import Service, service
from tests.benchmarks.figure import Figure
from tests.databases import postgres_database, sqlite_database

LARGE = int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "334"))
SMALL = LARGE // 10
WEEKS = int(os.environ.get("BAIZEBOOK_BENCHMARK_WEEKS", "26"))
"""Half a year of collections: a month is a small part of it."""
MANY_ROWS = 500
"""More than a page of a hundred reads of any one table."""


def run() -> Iterator[Figure]:
    """Ask each question once on each route and database."""
    with ExitStack() as stack:
        large, small, sqlite = (
            stack.enter_context(database()) for database in (postgres_database, postgres_database, sqlite_database)
        )
        filled = fill([large, sqlite], Size(venues=LARGE, collections=WEEKS))
        filled_small = fill([small], Size(venues=SMALL, collections=WEEKS))
        services = [stack.enter_context(service(url)) for url in (large, small, sqlite)]
        for one in services:
            one.now = NOW
        on_large, on_small, on_sqlite = services
        asked_large, asked_small = (
            questions(on_large, filled, venues=LARGE),
            questions(on_small, filled_small, venues=SMALL),
        )
        of_period = reports()
        for name, path in (asked_large | of_period).items():
            reads = _steps(on_large, path, many=True)
            fewer = _steps(on_small, (asked_small | of_period)[name], many=True)
            figure = Figure(
                "EXPLAIN",
                f"{name}, {LARGE * 3:,} tables",
                f"{SMALL * 3:,} tables",
                None if name in of_period else 1.5,
                unit="rows",
            )
            figure.rounds = [(max(sum(reads.values()), 1), max(sum(fewer.values()), 1))]
            for step, rows in reads.items():
                if rows > MANY_ROWS:
                    print(f"       {name}: PostgreSQL reads {rows:,} rows of {step}")
            for step in _steps(on_sqlite, path, many=False):
                print(f"       {name}: SQLite reads {step}")
            yield figure


def questions(asked: Service, filled: Filled, *, venues: int) -> Mapping[str, str]:
    """Return the addresses of the pages by name: of a venue in the middle of the route, and the middle of each feed."""
    one = filled.of(venues // 2)
    venue, table = one.venue_id, one.table_ids[0]
    month = f"{NOW:%Y-%m}"
    period = f"from={month}-01&to={month}-30"
    collection = asked.get(f"/collections?venue_id={venue}&limit=1")["items"][0]["id"]
    reading = asked.get(f"/readings?table_id={table}&limit=1")["items"][0]["id"]
    middle = venues * 2
    return {
        "venues": f"/venues?after={venue}",
        "a venue": f"/venues/{venue}",
        "a venue's schedules": f"/venues/{venue}/schedules",
        "a venue's agreements": f"/venues/{venue}/agreements",
        "a venue's tables": f"/venues/{venue}/tables",
        "a venue's week": f"/venues/{venue}/week",
        "a venue's month": f"/venues/{venue}/statements?month={month}",
        "a venue's year": f"/venues/{venue}/statements?year={NOW:%Y}",
        "a venue's balances": f"/ledger/accounts?venue_id={venue}",
        "a venue's earnings": f"/reports/earnings?{period}&venue_id={venue}&by=table",
        "a venue's play": f"/reports/play?{period}&venue_id={venue}",
        "a venue's best and worst": f"/reports/best-and-worst?{period}&venue_id={venue}",
        "a venue's jobs": f"/jobs?venue_id={venue}",
        "a venue's collections": f"/collections?venue_id={venue}",
        "a venue's inventory": f"/tables?venue_id={venue}",
        "a venue's work": f"/worklist?venue_id={venue}",
        "a table": f"/tables/{table}",
        "a table's moves": f"/tables/{table}/moves",
        "a table's keyings": f"/tables/{table}/keyings",
        "a table's health": f"/tables/{table}/health",
        "a table's settings sheet": f"/tables/{table}/settings-sheet",
        "a table's collections": f"/collections?table_id={table}",
        "a table's readings": f"/readings?table_id={table}",
        "a table's jobs": f"/jobs?table_id={table}",
        "a table's chart": f"/reports/differences?table_id={table}",
        "a table's play": f"/reports/play?{period}&table_id={table}",
        "a quote": f"/quotes?table_id={table}&money=10.00",
        "inventory, first page": "/tables",
        "inventory, next page": f"/tables?after={table}",
        "inventory, with work": "/tables?work=charge_battery",
        "inventory, not read lately": "/tables?read_before=2026-01-01T00:00:00Z",
        "inventory, by controller version": "/tables?controller_version=2.1",
        "worklist, first page": "/worklist",
        "worklist, of a kind": "/worklist?kind=collect",
        "worklist, of a person": "/worklist?person=Ana",
        "worklist, by venue": "/worklist?group=venue",
        "worklist's feed": f"/worklist/changes?after={middle}",
        "keyings' feed": f"/keyings/changes?after={middle}",
        "jobs": "/jobs",
        "jobs open": "/jobs?state=open",
        "jobs' feed": "/jobs/changes",
        "trips": "/trips",
        "readings, next page": f"/readings?after={reading}",
        "collections, next page": f"/collections?after={collection}",
        "collections' feed": f"/collections/changes?after={middle}",
        "ledger, next page": f"/ledger/entries?after={middle}",
        "tariffs": "/tariffs",
        "tokens": "/tokens",
        "a collector's chart": "/reports/differences?collector=Ana%200",
    }


def reports() -> Mapping[str, str]:
    """Return the addresses of the reports over all venues, by name."""
    month = f"{NOW:%Y-%m}"
    period = f"from={month}-01&to={month}-30"
    return {
        "all balances": "/ledger/accounts",
        "all earnings of a month": f"/reports/earnings?{period}&by=venue",
        "best and worst of a month": f"/reports/best-and-worst?{period}",
        "all play of a month": f"/reports/play?{period}",
        "faults of a month": f"/reports/faults?{period}",
        "tax of a month": f"/reports/tax?{period}",
        "cash in hand": "/reports/cash-in-hand",
        "the year": f"/reports/year?year={NOW:%Y}",
    }


def _steps(asked: Service, path: str, *, many: bool) -> dict[str, int]:
    """Return the rows that each step of a question's plans reads; without ``many``, only the steps that walk."""
    asked.get(path)
    with recorded(asked.engine) as made:
        asked.get(path)
    found: dict[str, int] = {}
    for one in explained(asked.engine, made, only_by_index=True):
        for read in one.reads:
            step = f"{read.table} by {read.index or 'walking through it'}"
            if many or (read.index is None and read.table in SQLModel.metadata.tables):
                found[step] = found.get(step, 0) + (read.rows or 0)
    return found
