"""F23: the service is asked everything for a long time: it answers as on the first minute, and needs no more memory.

A round is a minute. Four clients send readings and collections of forty tables, two more read every page, picture, list, report
and export that the contract has for a route, a venue or a table, and one asks for quotes; each pauses for a moment, as people
do, but for the first tenth of the time, in which the senders give the route its history. The service on SQLite and the one on
PostgreSQL are tried side by side. Memory is what the process has of its own: the median of the last tenth of the time is compared
with that of the second fifth, after caches and pools are filled. Nothing that was answered is lost, the books verify in the end,
and no answer is a 5xx but a 503 that says when to come back.
"""

import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from itertools import cycle
from random import Random
from statistics import median

from tests.benchmarks._processes import memory_bytes
from tests.databases import postgres_database, sqlite_database
from tests.faults.caller import ask
from tests.faults.fault import Broken, Fault, check
from tests.faults.nursery import Nursery, nursery
from tests.faults.route import Place
from tests.faults.senders import sending

ROUND_S = 60
PAUSE_S = 0.25
PLACES, ASKED_OF = 40, 4
FILLING, SENDER_PAUSE_S = 0.1, 10.0
"""For the first tenth of the time the route gets its history at full speed, afterwards what comes in on a busy evening: more
records are longer to read, and take memory that no leak took."""
ANSWERED_WITHIN_S = 60
GROWTH_MAX = 0.1
ENOUGH_ROUNDS = 10
"""Shorter runs still fill their caches: they tell how memory grew, and hold nothing against it but a doubling."""
_NEEDED = {
    "month": "2026-01",
    "year": "2026",
    "from": "2026-01-01",
    "to": "2026-06-30",
    "country": "US",
    "of": "readings",
}
_NEEDED |= {"from_on": "2026-01-01", "to_on": "2026-12-31"}
_FAMILIES = ("venue_id", "table_id")


def run(chance: Random, rounds: int) -> str:
    """Soak the service on both databases for so many minutes."""
    kinds = (("SQLite", sqlite_database), ("PostgreSQL", postgres_database))
    with ThreadPoolExecutor(len(kinds)) as pool:
        told = pool.map(lambda kind: _soak(*kind, Random(chance.random()), seconds=ROUND_S * rounds), kinds)
        return f"{rounds} min: {'; '.join(told)}"


def control(chance: Random) -> None:
    """A service that keeps something of every request grows."""
    with sqlite_database() as url, nursery(url, way="keep_everything") as server:
        server.start()
        memory, _ = _asked(server, url, chance, seconds=15)
        grown = _growth(memory)
        check(grown < GROWTH_MAX, f"memory grew by {grown:.0%}")


def _soak(name: str, database: Callable[[], AbstractContextManager[str]], chance: Random, *, seconds: float) -> str:
    with database() as url, nursery(url) as server:
        server.start()
        memory, asked = _asked(server, url, chance, seconds=seconds)
    grown = _growth(memory)
    limit = GROWTH_MAX if seconds >= ENOUGH_ROUNDS * ROUND_S else 1.0
    check(grown < limit, f"memory on {name} grew by {grown:.0%}, to {memory[-1] / 1e6:.0f} MB")
    return f"{name} {asked}, {memory[-1] / 1e6:.0f} MB, {grown:+.1%}"


def _asked(server: Nursery, url: str, chance: Random, *, seconds: float) -> tuple[list[int], str]:
    """Ask for so long; return the memory second by second, and how much was asked and stored."""
    until, memory = time.monotonic() + seconds, []
    filled = time.monotonic() + seconds * FILLING
    with sending(url, server.port, chance, places=PLACES) as clients, ThreadPoolExecutor(3) as pool:
        places = chance.sample(clients.places, ASKED_OF)
        paths = list(_paths(server, places))
        chance.shuffle(paths)
        readers = [pool.submit(_read, server, paths[half::2], until) for half in (0, 1)]
        readers.append(pool.submit(_read, server, [_quote(place, chance) for place in places * 500], until))
        while time.monotonic() < until:
            memory.append(memory_bytes(server.server))
            clients.pause(SENDER_PAUSE_S if time.monotonic() > filled else 0)
            time.sleep(1)
        answers, refusals = (sum(found) for found in zip(*(reader.result() for reader in readers), strict=True))
    check(refusals < answers / 10, f"{refusals} of {answers + refusals} questions were refused")
    clients.compare()
    status, verified, _ = ask(server.url, "GET", "/v1/ledger/verify")
    check(status == 200 and json.loads(verified)["ok"], f"the books do not verify: {verified[:300]!r}")
    readings, collections = clients.count()
    return memory, f"{answers} answers of {len(paths)} addresses, {readings} readings, {collections} collections"


def _paths(server: Nursery, places: list[Place]) -> Iterator[str]:
    """Yield the address of every ``GET`` of the contract that asks of the route, a venue or a table."""
    contract = json.loads(ask(server.url, "GET", "/openapi.json")[1])
    for path, operations in contract["paths"].items():
        parameters = [one for one in operations.get("get", {}).get("parameters", ()) if "name" in one]
        if "get" not in operations or any(one["in"] == "path" and one["name"] not in _FAMILIES for one in parameters):
            continue
        needed = [one["name"] for one in parameters if one["in"] == "query" and one.get("required")]
        for place in places:
            ids = {"venue_id": place.venue_id, "table_id": place.table_id}
            query = "&".join(f"{name}={({**_NEEDED, **ids})[name]}" for name in needed)
            yield path.format(**ids) + (f"?{query}" if query else "")


def _quote(place: Place, chance: Random) -> str:
    at = f"2026-12-{chance.randint(1, 28):02}T{chance.randint(0, 23):02}:{chance.randint(0, 59):02}"
    return f"/v1/quotes?venue_id={place.venue_id}&at={at}&money={chance.randint(0, 40)}.{chance.choice(('00', '25', '50'))}"


def _read(server: Nursery, paths: list[str], until: float) -> tuple[int, int]:
    """Ask for one after the other, and again from the first; return how many were answered, and how many refused."""
    answered = refused = 0
    for path in cycle(paths):
        if time.monotonic() >= until:
            break
        try:
            status, answer, headers = ask(server.url, "GET", path, within_s=ANSWERED_WITHIN_S)
        except TimeoutError as error:
            raise Broken(f"{path} was not answered within {ANSWERED_WITHIN_S} s") from error
        check(
            status < 500 or (status == 503 and headers["Retry-After"]),
            f"{path} was answered {status}: {answer[:300]!r}",
        )
        answered += status < 300
        refused += status >= 300
        time.sleep(PAUSE_S)
    return answered, refused


def _growth(memory: list[int]) -> float:
    """Return by which part memory grew from the second fifth of the time to its last tenth."""
    length = len(memory)
    return median(memory[-max(1, length // 10) :]) / median(memory[length // 5 : 2 * length // 5]) - 1


FAULT = Fault(name="F23", says="a soak", run=run, control=control, short=1, long=60)
