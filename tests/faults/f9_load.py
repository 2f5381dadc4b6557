"""F9: sixteen clients on one process: how many readings a second, how long others wait; too many are told to come back.

A round is two seconds of each: single readings, batches, and eight times as many callers as can be served.
"""

import gzip
import json
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from random import Random
from typing import Any
from uuid import UUID

from tests.databases import postgres_database, sqlite_database
from tests.faults.caller import AUTHORIZED
from tests.faults.fault import Fault, check
from tests.faults.nursery import nursery
from tests.faults.route import Place, furnish

CLIENTS = 16
CROWD = 160
BATCH = 500
SECONDS = 2
TOLD_WITHIN_S = 1.0


@dataclass(slots=True)
class Tally:
    """What callers were answered: how long each answer took, by status, and how many were told when to come back."""

    took: dict[int, list[float]] = field(default_factory=dict)
    without_retry_after: int = 0

    def p99(self, status: int) -> float:
        """Return the time that 99 of 100 answers of a status stayed below."""
        took = sorted(self.took.get(status, [0.0]))
        return took[int(len(took) * 0.99)]


def run(chance: Random, rounds: int) -> str:
    """Load the service on each kind of database for so many rounds; nothing but a 503 that says when is an error."""
    return "; ".join(
        f"{kind}: {_load(database, chance, rounds=rounds)}"
        for kind, database in (("SQLite", sqlite_database), ("PostgreSQL", postgres_database))
    )


def control(chance: Random) -> None:
    """A service that lets everybody wait tells nobody to come back, or too late."""
    with sqlite_database() as url, nursery(url, way="let_all_wait") as server:
        server.start()
        _crowd(server.port, furnish(server.url, CLIENTS), chance, SECONDS)


def _load(database: Callable[[], AbstractContextManager[str]], chance: Random, *, rounds: int) -> str:
    seconds = SECONDS * rounds
    with database() as url, nursery(url) as server:
        server.start()
        places = furnish(server.url, CLIENTS)
        single = _ask_at_once(server.port, places, chance, callers=CLIENTS, batch=1, seconds=seconds)
        batched = _ask_at_once(server.port, places, chance, callers=CLIENTS, batch=BATCH, seconds=seconds)
        for tally in (single, batched):
            check(set(tally.took) <= {200}, f"errors: { {status: len(took) for status, took in tally.took.items()} }")
        crowded = _crowd(server.port, places, chance, seconds)
        # A short run may share its machine with others: its times are told, and nothing is made of them.
        slow = rounds > 1 and crowded.p99(503) >= TOLD_WITHIN_S
        check(not slow, f"to be told to come back took {crowded.p99(503):.1f} s")
    answered, refused = len(crowded.took.get(200, ())), len(crowded.took.get(503, ()))
    return (
        f"{len(single.took[200]) / seconds:.0f} single readings/s (p99 {single.p99(200) * 1000:.0f} ms), "
        f"{len(batched.took[200]) * BATCH / seconds:.0f} batched/s (p99 {batched.p99(200) * 1000:.0f} ms), 0 errors; "
        f"{CROWD} at once: {answered} answered, {refused} told to come back within {crowded.p99(503):.1f} s"
    )


def _crowd(port: int, places: list[Place], chance: Random, seconds: float) -> Tally:
    """Let ten times as many come: all are answered, or told when to come back, soon."""
    crowded = _ask_at_once(port, places, chance, callers=CROWD, batch=1, seconds=seconds)
    check(set(crowded.took) <= {200, 503}, f"in a crowd answers were {sorted(crowded.took)}")
    check(not crowded.without_retry_after, f"{crowded.without_retry_after} were not told when to come back")
    check(503 in crowded.took, "nobody was told to come back")
    return crowded


def _ask_at_once(port: int, places: list[Place], chance: Random, *, callers: int, batch: int, seconds: float) -> Tally:
    """Let callers send readings for some seconds, each as soon as it was answered."""
    tally = Tally()
    with ThreadPoolExecutor(callers) as pool:
        until = time.monotonic() + seconds
        seeds = [Random(chance.random()) for _ in range(callers)]
        list(pool.map(lambda i: _send(port, places[i % len(places)], seeds[i], batch, until, tally), range(callers)))
    return tally


def _send(port: int, place: Place, chance: Random, batch: int, until: float, tally: Tally) -> None:
    connection = HTTPConnection("127.0.0.1", port, timeout=60)
    number = chance.randrange(400_000)
    while time.monotonic() < until:
        number += batch
        ids = (UUID(int=chance.getrandbits(128), version=4) for _ in range(batch))
        readings = [place.reading((number + i) % 450_000, id_) for i, id_ in enumerate(ids)]
        body = gzip.compress(json.dumps({"readings": readings}).encode(), 1)
        began = time.monotonic()
        connection.request("POST", "/v1/readings", body, {**AUTHORIZED, "Content-Encoding": "gzip"})
        answer: Any = connection.getresponse()
        answer.read()
        tally.took.setdefault(answer.status, []).append(time.monotonic() - began)
        if answer.status == 503:
            tally.without_retry_after += not answer.headers["Retry-After"]
            time.sleep(0.1)
    connection.close()


FAULT = Fault(name="F9", says="load", run=run, control=control, short=1, long=300)
