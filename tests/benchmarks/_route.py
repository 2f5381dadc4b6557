"""A route of any size for benchmarks: one venue is recorded through the service, and its rows are written for many.

- The venue has tables with a battery, a controller and two meters, an agreement, a collection a week, and readings at
  even distances; its work and its earnings are worked out. The same sizes give the same rows.
- Every venue gets these rows under ids of its own, as if all had been recorded week by week, one venue after the other;
  one collector comes to forty venues.
  The digests of collections and settlements and the chain of entries are made by the service's own functions.
- ``fill`` asks the service afterwards whether the books hold (``GET /v1/ledger/verify``), and fails where they do not.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import islice
from random import Random
from typing import Any
from uuid import UUID

from baizebook.collections.facts_digest import facts_digest
from baizebook.earnings.service import reckon
from baizebook.ledger.chain import canonical_record, digest
from baizebook.ledger.entry import GENESIS
from baizebook.ledger.source_digest import source_digest
from baizebook.worklist.service import catch_up
from sqlalchemy import JSON, Connection, Table, delete, insert, select
from sqlmodel import SQLModel

from tests.benchmarks._service import Service, service
from tests.databases import sqlite_database

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
"""When the benchmarks ask: a Wednesday, noon in New York; the last collections were the day before."""
_METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
_TABLE = {
    "accepts": ["0.25", "1.00"],
    "meters": _METERS,
    "power": {"kind": "battery", "chemistry": "agm", "nominal_volts": 12, "capacity_ah": "18"},
    "controller": {"windows_per_day": 4, "games": {"prices_max": 4}},
}
_GAMES = {"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}]}
_SHARED = ("tariff", "operator_settings")
_OF_EACH = (
    "venue", "pool_table", "stay", "schedule", "agreement", "reading", "keying", "collection", "collected_table",
    "ledger_posting", "ledger_entry", "settlement", "earned_box", "earned_part", "work", "last_change",
)  # fmt: skip
_NUMBERS = ("sequence", "number", "arrival", "entry_number")
_NAMES = ("name", "books_name", "bag")
_VENUES_OF_A_COLLECTOR = 40
_COUNTED_ONCE = ("tariffs", "settings")
_APART = 0x9E37_79B9_7F4A_7C15_F39C_C060_5CED_C835
"""Between the ids of two venues: an odd number, so that they never meet and lie scattered, as random ids do."""
_ROWS_AT_ONCE = 5_000

Values = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much there is: venues, and of each its tables, weekly collections, and readings of each table."""

    venues: int
    tables: int = 3
    collections: int = 3
    readings: int = 4


@dataclass(frozen=True, slots=True)
class Filled:
    """What was written: the ids of the first venue and its tables; those of another are ``of`` it."""

    venue_id: UUID
    table_ids: tuple[UUID, ...]

    def of(self, venue: int) -> "Filled":
        """Return the ids of a venue, counted from 0."""
        return Filled(_id_at(self.venue_id, venue), tuple(_id_at(id_, venue) for id_ in self.table_ids))

    def all_tables(self, venues: int) -> Iterator[UUID]:
        """Yield the ids of the tables of so many venues."""
        for venue in range(venues):
            yield from self.of(venue).table_ids

    def collection(self, at: datetime, *, id: UUID, cash: int) -> Values:
        """Return the message of a collection of all tables: ten dollars in quarters each; ``cash`` is what the meters show."""
        boxes = [
            {"table_id": str(table), "counted": {"0.25": 40}, "meters": {"cash": cash, "plays": cash // 4}}
            for table in self.table_ids
        ]
        return {
            "id": str(id), "venue_id": str(self.venue_id), "collected_at": at.isoformat(), "collector": "Ana",
            "bag": f"bag {id.hex[:8]}", "tables": boxes,
        }  # fmt: skip


def fill(urls: Sequence[str], size: Size) -> Filled:
    """Write one route into empty, migrated databases, and check its books in each."""
    with sqlite_database() as pattern, service(pattern) as made:
        filled = _record_venue(made, size)
        with made.engine.connect() as connection:
            rows = {
                table.name: [dict(row) for row in connection.execute(select(table)).mappings()]
                for table in SQLModel.metadata.sorted_tables
            }
    for url in urls:
        _write(url, rows, size)
    return filled


def _write(url: str, rows: Mapping[str, Sequence[Values]], size: Size) -> None:
    with service(url) as ours:
        with ours.engine.begin() as connection:
            _Writer(connection, rows, venues=size.venues).write()
        with ours.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("ANALYZE")
        ours.now = NOW
        found = ours.get("/ledger/verify")
    if not found["ok"] or found["entries"] != size.venues * size.collections:
        raise SystemExit(f"the books that were written do not hold: {found}")


def _record_venue(made: Service, size: Size) -> Filled:
    """Record the venue through the service, week by week."""
    chance = Random(1)
    first = NOW - timedelta(weeks=size.collections, days=1)
    made.now = first - timedelta(days=2)
    tariff = made.post("/tariffs", {"code": "week", "name": "Week", "currency": "USD", "games": _GAMES})["id"]
    venue = made.post("/venues", {"name": "Venue", "time_zone": "America/New_York", "currency": "USD"})["id"]
    effective_on = f"{made.now:%Y-%m-%d}"
    schedule = made.post(f"/venues/{venue}/schedules", {"effective_on": effective_on, "base": tariff})["id"]
    made.post(f"/venues/{venue}/agreements", {"effective_on": effective_on, "venue_percent": "50"})
    tables = [
        UUID(made.post(f"/venues/{venue}/tables", {**_TABLE, "label": f"Table {n}"})["id"]) for n in range(size.tables)
    ]
    made.now += timedelta(hours=1)
    for table in tables:
        keying = {"id": _new(chance), "schedule_id": schedule, "keyed_at": made.now.isoformat(), "by": "Ana"}
        made.post(f"/tables/{table}/keyings", keying)
    filled = Filled(UUID(venue), tuple(tables))
    work: list[tuple[datetime, Callable[[], object]]] = [
        (at, lambda at=at, n=n: made.post("/readings", {"readings": _readings(tables, at, n, chance)}))  # type: ignore[misc]
        for n in range(size.readings)
        for at in [first + (NOW - timedelta(days=2) - first) * n / max(size.readings, 1)]
    ]
    work += [
        (at, lambda at=at, n=n: made.post("/collections", filled.collection(at, id=UUID(_new(chance)), cash=40 * n)))  # type: ignore[misc]
        for n in range(1, size.collections + 1)
        for at in [first + timedelta(weeks=n)]
    ]
    for at, do in sorted(work, key=lambda one: one[0]):
        made.now = at + timedelta(minutes=1)
        do()
    while catch_up(made.engine, now=NOW):
        pass
    reckon(made.engine)
    return filled


def _readings(tables: Iterable[UUID], at: datetime, n: int, chance: Random) -> list[Values]:
    return [
        {
            "id": _new(chance),
            "table_id": str(table),
            "taken_at": at.isoformat(),
            "supply": {"volts": f"{12.9 - 0.01 * (n % 50):.2f}", "rested_minutes": 120},
            "clock": {"time": f"{at - timedelta(hours=5):%H:%M}", "display": "24h"},
            "meters": {"cash": n, "plays": n},
        }
        for table in tables
    ]


def _new(chance: Random) -> str:
    return str(UUID(int=chance.getrandbits(128)))


def _id_at(id_: UUID, venue: int) -> UUID:
    return UUID(int=(id_.int + venue * _APART) % 2**128)


class _Writer:
    """Writes the rows of one venue for each of many."""

    def __init__(self, connection: Connection, rows: Mapping[str, Sequence[Values]], *, venues: int) -> None:
        self._connection, self._rows, self._venues = connection, rows, venues
        shared = {row["id"] for name in _SHARED for row in rows[name]}
        self._own = {
            value for name in _OF_EACH for row in rows[name] for value in row.values() if isinstance(value, UUID)
        } - shared
        self._tables = SQLModel.metadata.tables
        self._digests: dict[tuple[UUID, int], str] = {}
        self._changing: dict[int, list[tuple[str, Callable[[int], Any]]]] = {}

    def write(self) -> None:
        """Write everything, in an order that the foreign keys and the guards of the ledger allow."""
        for name in _SHARED:
            self._insert(name, iter(self._rows[name]))
        for name in _OF_EACH:
            match name:
                case "collection":
                    self._insert(name, self._collections())
                case "ledger_entry":
                    self._insert(name, self._entries())
                case _:
                    self._insert(name, self._each(name))
        for noted in ("touched", "to_reckon"):  # the first venue was assessed and worked out, and so is every other
            self._connection.execute(delete(self._tables[noted]))
        counters = [
            {**row, "last": row["last"] * (1 if row["name"] in _COUNTED_ONCE else self._venues)}
            for row in self._rows["counter"]
        ]
        self._insert("counter", iter(counters))

    def _each(self, name: str) -> Iterator[Values]:
        """Yield the rows of a table for each venue, all venues' first before all venues' second."""
        for row in self._in_order(name):
            yield from (self._row(name, row, venue) for venue in range(self._venues))

    def _in_order(self, name: str) -> list[Values]:
        number = next((number for number in _NUMBERS if number in self._tables[name].c), None)
        return sorted(self._rows[name], key=lambda row: row[number]) if number else list(self._rows[name])

    def _row(self, name: str, row: Values, venue: int) -> Values:
        """Return a row of the first venue as that of another."""
        changing = self._changing.get(id(row))
        if changing is None:
            changing = self._changing[id(row)] = [
                (column, change) for column, value in row.items() if (change := self._change(column, value)) is not None
            ]
        made = {**row, **{column: change(venue) for column, change in changing}}
        if name == "collection":
            made["facts_digest"] = self._digests.get((row["id"], venue), "")
        return made

    def _change(self, column: str, value: Any) -> Callable[[int], Any] | None:
        """Return what a value is at another venue; None where it is the same at all."""
        if isinstance(value, UUID):
            return partial(_id_at, value) if value in self._own else None
        if column in _NUMBERS and isinstance(value, int):
            return lambda venue: (value - 1) * self._venues + venue + 1
        if column in _NAMES and isinstance(value, str):
            return lambda venue: f"{value}-{venue}"
        if column == "collector":
            return lambda venue: f"{value} {venue // _VENUES_OF_A_COLLECTOR}"
        if isinstance(value, list | dict) and any(str(id_) in json.dumps(value) for id_ in self._own):
            return partial(self._renamed, json.dumps(value))
        return None

    def _renamed(self, text: str, venue: int) -> Any:
        for id_ in self._own:
            text = text.replace(str(id_), str(_id_at(id_, venue)))
        return json.loads(text)

    def _collections(self) -> Iterator[Values]:
        """Yield the collections in the order of their recording, each with its digest and that of the one before."""
        tables, before = self._by("collected_table", "collection_id", "place"), ""
        for row in self._in_order("collection"):
            for venue in range(self._venues):
                made = self._row("collection", row, venue)
                boxes = [self._row("collected_table", table, venue) for table in tables[row["id"]]]
                made["facts_digest"] = before = facts_digest(made, boxes, before=before)
                self._digests[row["id"], venue] = before
                yield made

    def _entries(self) -> Iterator[Values]:
        """Yield the entries in order, each with the digest of what it books and the hash of the one before it."""
        collections, agreements = self._by("collection", "id"), self._by("agreement", "id")
        tables, settlements = (
            self._by("collected_table", "collection_id", "place"),
            self._by("settlement", "collection_id"),
        )
        postings, before = self._by("ledger_posting", "entry_number", "place"), GENESIS
        for row in self._in_order("ledger_entry"):
            (settlement,) = settlements[row["source_id"]]
            booked = {
                "collection": collections[row["source_id"]],
                "collected_table": tables[row["source_id"]],
                "settlement": [settlement],
                "agreement": agreements[settlement["agreement_id"]],
            }
            for venue in range(self._venues):
                made = self._row("ledger_entry", row, venue)
                facts = {name: [self._row(name, one, venue) for one in rows] for name, rows in booked.items()}
                made |= {"source_digest": source_digest(facts), "previous_hash": before}
                made["hash"] = before = digest(
                    canonical_record(
                        id=str(made["id"]), number=made["number"], kind=made["kind"], on=made["booked_on"],
                        recorded_at=made["recorded_at"], currency=made["currency"],
                        postings=[
                            (one["account"], one["venue_id"] and str(_id_at(one["venue_id"], venue)), one["amount_minor"])
                            for one in postings[row["number"]]
                        ],
                        reference=made["reference"], source_id=str(made["source_id"]), previous_hash=made["previous_hash"],
                        hash="", source_digest=made["source_digest"],
                    )
                )  # fmt: skip
                yield made

    def _by(self, name: str, key: str, order: str | None = None) -> dict[Any, list[Values]]:
        found: dict[Any, list[Values]] = defaultdict(list)
        for row in sorted(self._rows[name], key=lambda row: row[order]) if order else self._rows[name]:
            found[row[key]].append(row)
        return found

    def _insert(self, name: str, rows: Iterator[Values]) -> None:
        """Write rows: PostgreSQL copies them, SQLite inserts many at a time."""
        table = self._tables[name]
        if self._connection.dialect.name == "postgresql":
            self._copy(table, rows)
            return
        while some := list(islice(rows, _ROWS_AT_ONCE)):
            self._connection.execute(insert(table), some)

    def _copy(self, table: Table, rows: Iterator[Values]) -> None:
        as_json = {column.name for column in table.c if isinstance(column.type, JSON)}
        names = table.c.keys()
        driver: Any = self._connection.connection.driver_connection
        columns = ", ".join(f'"{name}"' for name in names)
        with driver.cursor() as cursor, cursor.copy(f'COPY "{table.name}" ({columns}) FROM STDIN') as copied:
            for row in rows:
                copied.write_row(
                    [
                        json.dumps(row[name]) if name in as_json and row[name] is not None else row[name]
                        for name in names
                    ]
                )
