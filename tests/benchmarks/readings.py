"""500-reading batches over HTTP to disk, against ``executemany`` of the same rows by the database's driver.

Both write the readings of a route of 2,000 tables into databases of their own on one disk, with the service's settings:
every batch is a commit that survives a power cut. N5 has the voltage alone, N5b what a visit sends: voltage, clock and
meters. The driver is handed finished rows and keeps indexes, checks and foreign keys as ours does: less than that nobody
can store. Two phones send at a time to one worker, as they do in the evening; the driver has one connection.
"""

import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from http.client import HTTPConnection
from random import Random
from time import perf_counter
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from baizebook.pool_tables.rows import PoolTableRow
from baizebook.readings.rows import READING
from baizebook.store.db import make_engine
from sqlalchemy import Connection, Engine, func, select
from sqlmodel import col

from tests.benchmarks._durable import KINDS, durable
from tests.benchmarks._route import Size, fill
from tests.benchmarks.figure import Figure, compare
from tests.databases import OWNER_TOKEN, settings_for
from tests.serving import served

VENUES = int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "500"))
TABLES_OF_A_VENUE = 4
BATCH, BATCHES = 500, 20
PHONES = 2
_BEGIN = datetime(2026, 11, 25, 17, tzinfo=UTC)
_HEADERS = {"Authorization": f"Bearer {OWNER_TOKEN}", "Content-Type": "application/json"}


def run(*, rounds: int) -> Iterator[Figure]:
    """Send and insert in turn, on each kind of database."""
    size = Size(venues=VENUES, tables=TABLES_OF_A_VENUE, collections=1, readings=1)
    for kind in KINDS:
        with durable(kind, count=2) as (ours, theirs):
            filled = fill([ours, theirs], size)
            engine = make_engine(settings_for(theirs))
            with engine.connect() as connection:
                tables = dict(
                    connection.execute(select(col(PoolTableRow.id), col(PoolTableRow.venue_id))).tuples().all()
                )
            with served(ours) as url:
                for name, reach, whole in (("N5", 1 / 0.4, False), ("N5b", 1 / 0.25, True)):
                    sent = _Readings(list(filled.all_tables(VENUES)), whole=whole)
                    figure = Figure(f"{name} {kind}", "a reading over HTTP", "a row by executemany", reach)
                    yield compare(
                        figure, partial(_ours, url, sent), partial(_theirs, engine, sent, tables), rounds=rounds
                    )
            engine.dispose()


class _Readings:
    """Batches of readings, each reading once: as messages, or as rows."""

    def __init__(self, tables: Sequence[UUID], *, whole: bool) -> None:
        self._tables, self._whole = tables, whole
        self._chance = Random(3 if whole else 2)
        self._made = 0

    def batches(self) -> list[list[dict[str, Any]]]:
        """Return the messages of a round."""
        return [[self._reading() for _ in range(BATCH)] for _ in range(BATCHES)]

    def _reading(self) -> dict[str, Any]:
        self._made += 1
        n = self._made
        taken_at = _BEGIN + timedelta(seconds=n // len(self._tables))
        reading: dict[str, Any] = {
            "id": str(UUID(int=self._chance.getrandbits(128))),
            "table_id": str(self._chance.choice(self._tables)),
            "taken_at": f"{taken_at:%Y-%m-%dT%H:%M:%SZ}",
            "supply": {"volts": f"12.{n % 100:02}"},
        }
        if self._whole:
            reading |= {
                "clock": {"time": f"{taken_at:%H:%M}", "display": "24h"},
                "meters": {"cash": n % 10**7, "plays": n % 10**6},
            }
        return reading


def _ours(url: str, sent: _Readings) -> float:
    """Return the seconds that a reading takes which the service stores."""
    bodies = [json.dumps({"readings": batch}).encode() for batch in sent.batches()]
    address = urlsplit(url)

    def send(some: Sequence[bytes]) -> None:
        connection = HTTPConnection(address.hostname or "", address.port)
        for body in some:
            connection.request("POST", "/v1/readings", body, _HEADERS)
            answer = connection.getresponse()
            said = answer.read()
            if answer.status != 200 or f'"recorded":{BATCH},'.encode() not in said:
                raise SystemExit(f"{answer.status} {said[-300:]!r}")
        connection.close()

    with ThreadPoolExecutor(PHONES) as phones:
        began = perf_counter()
        list(phones.map(send, [bodies[phone::PHONES] for phone in range(PHONES)]))
        return (perf_counter() - began) / (BATCH * BATCHES)


def _theirs(engine: Engine, sent: _Readings, venues: Mapping[UUID, UUID | None]) -> float:
    """Return the seconds that a row takes which the driver stores."""
    with engine.connect() as connection:
        arrival = connection.execute(select(func.max(READING.c.arrival))).scalar_one()
        batches = [[_row(arrival := arrival + 1, reading, venues) for reading in batch] for batch in sent.batches()]
        names = list(batches[0][0])
        write = [_writer(connection, name) for name in names]
        values = [
            [[to(row[name]) for to, name in zip(write, names, strict=True)] for row in batch] for batch in batches
        ]
        mark = "?" if connection.dialect.name == "sqlite" else "%s"
    statement = f"INSERT INTO reading ({', '.join(names)}) VALUES ({', '.join([mark] * len(names))})"
    began = perf_counter()
    for rows in values:
        with engine.execution_options(writes=True).begin() as connection:
            cursor: Any = connection.connection.cursor()
            cursor.executemany(statement, rows)
    return (perf_counter() - began) / (BATCH * BATCHES)


def _writer(connection: Connection, name: str) -> Callable[[Any], Any]:
    """Return what makes the driver's value of a column's."""
    if name == "meters":
        return json.dumps
    return READING.c[name].type.dialect_impl(connection.dialect).bind_processor(connection.dialect) or (
        lambda value: value
    )


def _row(arrival: int, reading: dict[str, Any], venues: Mapping[UUID, UUID | None]) -> dict[str, Any]:
    """Return the row that the service makes of a reading."""
    taken_at, table_id = datetime.fromisoformat(reading["taken_at"]), UUID(reading["table_id"])
    row = {
        "arrival": arrival, "id": UUID(reading["id"]), "pool_table_id": table_id, "venue_id": venues[table_id],
        "taken_at": taken_at, "received_at": taken_at, "sender": "owner", "valid": True,
        "battery_mv": int(reading["supply"]["volts"].replace(".", "")) * 10, "note": "",
    }  # fmt: skip
    if "clock" in reading:
        hour, minute = reading["clock"]["time"].split(":")
        row |= {"clock_minute": int(hour) * 60 + int(minute), "clock_display": "24h", "meters": reading["meters"]}
    return row
