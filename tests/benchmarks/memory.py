"""The memory of a worker after many quotes over many venues, against after a thousand.

A worker that serves for months must not grow with what it was asked: its memories are bounded (``store/read_cache.py``, the
caches of the engine). Both are memory of the process alone, in the same process, one after the other; asked by ``wrk``
with a question, an amount and a time that differ from one to the next. By default 50,000 quotes over 5,000 venues, each
round on a worker of its own; ``BAIZEBOOK_BENCHMARK_QUOTES=1000000`` for the whole million.
"""

import os
import re
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

from baizebook.schedules.rows import ScheduleRow
from baizebook.venues.rows import VenueRow
from sqlalchemy import insert, select
from sqlmodel import SQLModel

from tests.benchmarks._processes import memory_bytes, server
from tests.benchmarks._service import service
from tests.benchmarks.figure import Figure
from tests.benchmarks.scenarios import GAMES
from tests.databases import OWNER_TOKEN, sqlite_database

QUOTES = int(os.environ.get("BAIZEBOOK_BENCHMARK_QUOTES", "50000"))
VENUES, FEW = 5_000, 1_000
GOAL_BYTES = 200_000_000
_VENUE, _SCHEDULE = (SQLModel.metadata.tables[row.__tablename__] for row in (VenueRow, ScheduleRow))
_SCRIPT = """
local venues = {}
for line in io.lines("%s") do venues[#venues + 1] = line end
math.randomseed(%d)
function request()
  local at = string.format("2026-12-%%02dT%%02d:%%02d", math.random(28), math.random(24) - 1, math.random(60) - 1)
  local money = string.format("%%d.%%02d", math.random(40), 25 * math.random(0, 3))
  local venue = venues[math.random(#venues)]
  return wrk.format("GET", "/v1/quotes?venue_id=" .. venue .. "&at=" .. at .. "&money=" .. money)
end
"""


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask a worker a thousand times, then until it was asked as often as is wanted."""
    figure = Figure("N9", f"after {QUOTES:,} quotes, {VENUES:,} venues", f"after {FEW:,}", 1.2, unit="bytes")
    whole = Figure("N9m", "the same", "the goal", 1.0, unit="bytes")
    with sqlite_database() as url, tempfile.TemporaryDirectory() as folder:
        venues = Path(folder, "venues")
        venues.write_text("".join(f"{id}\n" for id in _made(url)))
        for _ in range(rounds):
            with server(url) as (address, process_id):
                _ask(address, folder, venues, FEW)
                few = memory_bytes(process_id)
                _ask(address, folder, venues, QUOTES)
                many = memory_bytes(process_id)
            figure.rounds.append((many, few))
            whole.rounds.append((many, GOAL_BYTES))
    yield figure
    yield whole


def _made(url: str) -> list[UUID]:
    """Make the venues, copies of one that is made through the service with its schedule, and return their ids."""
    with service(url) as ours:
        tariff = ours.post("/tariffs", {"code": "week", "name": "Week", "currency": "USD", "games": GAMES})["id"]
        first = ours.post("/venues", {"name": "Venue", "time_zone": "America/New_York", "currency": "USD"})["id"]
        ours.post(f"/venues/{first}/schedules", {"effective_on": "2026-01-01", "base": tariff})
        with ours.engine.begin() as connection:
            (venue,) = connection.execute(select(_VENUE)).mappings()
            (schedule,) = connection.execute(select(_SCHEDULE)).mappings()
            copies = range(1, VENUES)
            connection.execute(
                insert(_VENUE),
                [{**venue, "id": UUID(int=n), "sequence": -n, "books_name": f"Venue{n}"} for n in copies],
            )
            connection.execute(
                insert(_SCHEDULE),
                [{**schedule, "id": UUID(int=n), "sequence": -n, "venue_id": UUID(int=n)} for n in copies],
            )
    return [UUID(first), *(UUID(int=n) for n in copies)]


def _ask(address: str, folder: str, venues: Path, least: int) -> None:
    """Ask at least so many different questions."""
    asked = 0
    while asked < least:
        script = Path(folder, "questions.lua")
        script.write_text(_SCRIPT % (venues, asked))
        command = ("wrk", "-t1", "-c16", "-d1s" if least <= FEW else "-d10s", "-s", str(script))
        authorized = ("-H", f"Authorization: Bearer {OWNER_TOKEN}")
        said = subprocess.run((*command, *authorized, address), check=True, capture_output=True, text=True).stdout
        found = re.search(r"([0-9]+) requests in", said)
        if found is None or "Non-2xx" in said:
            raise SystemExit(said)
        asked += int(found[1])
