"""One scenario of a thousand in ``POST /v1/quotes``, over ten venues, against the engine's own time for the question.

The engine answers the same questions one after the other; the service reads the message, looks the ten venues up, and writes
the answers as JSON. Both are processor time of this process, so a server's part of HTTP is in neither; garbage is looked
for as rarely as in a process that serves.
"""

import gc
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

from baizebook.ops.serve import GARBAGE_AFTER
from baizebook.pricing import quote

from tests.benchmarks._service import service
from tests.benchmarks.engine import MONDAY, timetable
from tests.benchmarks.figure import Figure, compare, cpu_seconds
from tests.databases import sqlite_database

GAMES = {"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}]}
VENUES, SCENARIOS = 10, 1000


@contextmanager
def _garbage_as_served() -> Iterator[None]:
    """Look for garbage as ``baizebook.ops.serve`` does."""
    threshold = gc.get_threshold()
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE_AFTER)
    yield
    gc.set_threshold(*threshold)
    gc.unfreeze()


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask both in turn."""
    instants = [MONDAY + timedelta(minutes=30 * (number % 336)) for number in range(SCENARIOS)]
    place = timetable(metered=False)

    def engine() -> float:
        return cpu_seconds(lambda: deque((quote(place, at=at, money=1000) for at in instants), 0), pieces=SCENARIOS)

    with sqlite_database() as url, service(url) as ours, _garbage_as_served():
        tariff = ours.post("/tariffs", {"code": "week", "name": "Week", "currency": "USD", "games": GAMES})["id"]
        schedule = {"effective_on": "2026-01-01", "base": tariff}
        venues = []
        for number in range(VENUES):
            venue = {"name": f"Venue {number}", "time_zone": "America/New_York", "currency": "USD"}
            venues.append(ours.post("/venues", venue)["id"])
            ours.post(f"/venues/{venues[-1]}/schedules", schedule)
        scenarios = [
            {"venue_id": venues[number % VENUES], "at": at.isoformat(), "money": "10.00"}
            for number, at in enumerate(instants)
        ]

        def answered() -> float:
            ours.post("/quotes", {"scenarios": scenarios})
            return ours.processor_s / SCENARIOS

        yield compare(Figure("N4", "a scenario", "the engine alone", 3.0), answered, engine, rounds=rounds)
