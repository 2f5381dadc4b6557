"""Two workers on PostgreSQL against one, under the same load: quotes, then quotes and writes mixed.

Sixteen connections ask. Every fifth request of the mixed load sends twenty readings of as many tables; the others ask a
quote, which writes make both workers forget. Twice as many workers can answer at most twice as much, and only where
there are cores for them: the load and the database run on the same machine and take their part, so the number of cores
and what one worker leaves of them are printed. With two cores in all, one worker, the load and the database already share
them, and a second worker has nothing to work on.
"""

import json
import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from functools import partial
from http.client import HTTPConnection
from itertools import count
from time import monotonic
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from tests.benchmarks._route import Filled, Size, fill
from tests.benchmarks.figure import Figure, compare
from tests.databases import OWNER_TOKEN, postgres_database
from tests.serving import SERVE, served

CONNECTIONS, SECONDS, VENUES = 16, 4, 20
_HEADERS = {"Authorization": f"Bearer {OWNER_TOKEN}", "Content-Type": "application/json"}
_READINGS = 20


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask both in turn."""
    print(f"       {os.cpu_count()} cores for the workers, the database and the load")
    with postgres_database() as url, ExitStack() as stack:
        filled = fill([url], Size(venues=VENUES, tables=2, collections=1, readings=1))
        one, two = (stack.enter_context(served(url, command=(*SERVE, "--workers", str(workers)))) for workers in (1, 2))
        numbers = count(1)
        for what, writes_every in (("quotes", 0), ("quotes and readings", 5)):
            figure = Figure("N11", f"{what}, two workers", "one worker", 1 / 1.7)
            ask = partial(_seconds_a_request, filled=filled, numbers=numbers, writes_every=writes_every)
            yield compare(figure, partial(ask, two), partial(ask, one), rounds=rounds)


def _seconds_a_request(url: str, *, filled: Filled, numbers: "count[int]", writes_every: int) -> float:
    """Return one over the requests a second that are answered; all must succeed."""
    address, ends_at = urlsplit(url), monotonic() + SECONDS

    def ask(_: int) -> int:
        connection = HTTPConnection(address.hostname or "", address.port)
        answered = 0
        while monotonic() < ends_at:
            number = next(numbers)
            venue = filled.of(number % VENUES)
            if writes_every and number % writes_every == 0:
                connection.request("POST", "/v1/readings", _body(venue, number), _HEADERS)
            else:
                path = f"/v1/quotes?venue_id={venue.venue_id}&day=tuesday&time=21:00&money=10.00"
                connection.request("GET", path, headers=_HEADERS)
            answer = connection.getresponse()
            said = answer.read()
            if answer.status != 200 or (b'"refused":0' not in said and b'"recorded"' in said):
                raise SystemExit(f"{answer.status} {said[:300]!r}")
            answered += 1
        connection.close()
        return answered

    with ThreadPoolExecutor(CONNECTIONS) as phones:
        return SECONDS / sum(phones.map(ask, range(CONNECTIONS)))


def _body(venue: Filled, number: int) -> bytes:
    readings: list[dict[str, Any]] = [
        {
            "id": str(UUID(int=number * _READINGS + n)),
            "table_id": str(venue.table_ids[n % len(venue.table_ids)]),
            "taken_at": "2026-11-25T17:00:00Z",
            "supply": {"volts": f"12.{n:02}"},
        }
        for n in range(_READINGS)
    ]
    return json.dumps({"readings": readings}).encode()
