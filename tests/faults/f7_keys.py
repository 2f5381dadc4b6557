"""F7: an idempotency key has one effect however often it is sent at once, also when the server is killed meanwhile."""

import json
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from http.client import HTTPException
from random import Random
from typing import Any

from tests.databases import postgres_database, sqlite_database
from tests.faults.caller import AUTHORIZED, VENUE, ask
from tests.faults.fault import Fault, check
from tests.faults.nursery import Nursery, nursery

AT_ONCE = 50
KILLS = 3
_WITHIN_S = 40


def run(chance: Random, rounds: int) -> str:
    """Send so many keys fifty times at once each, on each kind of database; kill the server a few times in between."""
    for database in (sqlite_database, postgres_database):
        _send(database, chance, rounds=rounds)
    return f"{rounds} keys × {AT_ONCE} at once and {KILLS} kills on each database: one effect each, identical replays, 0 stuck"


def control(chance: Random) -> None:
    """Where keys are passed over, every sending has its effect."""
    _send(sqlite_database, chance, rounds=1, way="pass_keys_over")


def _send(database: Callable[[], AbstractContextManager[str]], chance: Random, *, rounds: int, way: str = "") -> None:
    with database() as url, nursery(url, way=way) as server, ThreadPoolExecutor(AT_ONCE) as pool:
        server.start()
        names = [f"House {chance.getrandbits(64):x}" for _ in range(rounds)]
        killed_at = set(chance.sample(range(rounds), min(KILLS, rounds - 1)))
        for number, name in enumerate(names):
            killer = threading.Timer(chance.uniform(0, 0.2), _kill, [server]) if number in killed_at else None
            if killer:
                killer.start()
            sendings = pool.map(lambda name: _until_answered(server, name), [name] * AT_ONCE)
            bodies = set(sendings)
            if killer:
                killer.join()
            check(len(bodies) == 1, f"{len(bodies)} different answers to one key")
            status, _, _ = _post(server.url, name, {**VENUE, "name": "another"})
            check(status == 422, f"another payload under the key was answered {status}")
        stored = _names(server.url)
        check(sorted(stored) == sorted(names), f"{len(stored)} effects of {len(names)} keys")


def _kill(server: Nursery) -> None:
    server.kill()
    server.start()


def _until_answered(server: Nursery, name: str) -> bytes:
    """Send until it is answered 201: a caller that is turned away, or whose server died, comes again."""
    until = time.monotonic() + _WITHIN_S
    while time.monotonic() < until:
        try:
            status, body, headers = _post(server.url, name, {**VENUE, "name": name})
        except (OSError, HTTPException):
            time.sleep(0.05)
            continue
        if status == 201:
            return body
        check(status == 503 and headers["Retry-After"], f"a key was answered {status}: {body[:300]!r}")
        time.sleep(0.1)
    check(False, f"a key is stuck: no answer within {_WITHIN_S} s")
    return b""


def _post(url: str, key: str, body: Any) -> tuple[int, bytes, Any]:
    return ask(url, "POST", "/v1/venues", body, {**AUTHORIZED, "Idempotency-Key": key})


def _names(url: str) -> list[str]:
    names, path = [], "/v1/venues?limit=500"
    while path:
        page = json.loads(ask(url, "GET", path)[1])
        names += [venue["name"] for venue in page["items"]]
        path = f"/v1/venues?limit=500&after={page['next']}" if page["next"] else ""
    return names


FAULT = Fault(name="F7", says="idempotency keys", run=run, control=control, short=5, long=200)
