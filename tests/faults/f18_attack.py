"""F18: who asks for little is answered while eight clients without a token and one of each role do their worst.

A round is ten seconds. ``healthz`` and a small quote are asked for twenty times a second meanwhile; what nobody with a
token sent is never read, so it cannot make others wait. The long form holds the times that are promised (p99 of
``healthz`` under 100 ms, of the quote under 250 ms); a short one may share its machine with others, so it bounds them
loosely and tells them.
"""

import gzip
import json
import os
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from multiprocessing import get_context
from pathlib import Path
from random import Random
from typing import Any

from tests.databases import sqlite_database
from tests.faults.caller import AUTHORIZED, ask
from tests.faults.fault import Fault, check
from tests.faults.nursery import Nursery, nursery
from tests.faults.route import furnish

SECONDS = 10
NOBODIES = 8
EVERY_S = 0.05
HEALTHZ_S, QUOTE_S = 0.1, 0.25
LOOSELY_S = 3.0
MEMORY_GROWTH_MAX = 0.1
EMPTY_LISTS = gzip.compress(b"[" + b"[]," * 2_600_000 + b"[]]")
"""8 kB that become 8 MB of empty lists."""
_NOBODY = {"Content-Type": "application/json", "Content-Encoding": "gzip"}


@dataclass(slots=True)
class Probe:
    """How long each answer took, by what was asked; None: it was no 200."""

    took: dict[str, list[float]] = field(default_factory=lambda: {"healthz": [], "quote": []})
    refused: int = 0

    def p99(self, name: str) -> float:
        """Return the time that 99 of 100 answers stayed below."""
        took = sorted(self.took[name])
        return took[int(len(took) * 0.99)]


def run(chance: Random, rounds: int) -> str:
    """Attack a service on SQLite for so many rounds."""
    with sqlite_database() as url, nursery(url) as server:
        server.start()
        probe, memory = _attack(server, chance, seconds=SECONDS * rounds)
    healthz, quote = probe.p99("healthz"), probe.p99("quote")
    limits = (HEALTHZ_S, QUOTE_S) if rounds >= 6 else (LOOSELY_S, LOOSELY_S)
    check(healthz < limits[0], f"p99 of healthz was {healthz * 1000:.0f} ms")
    check(quote < limits[1], f"p99 of a small quote was {quote * 1000:.0f} ms")
    begun, ended = memory[len(memory) // 2], memory[-1]
    grown = ended / begun - 1
    check(rounds < 30 or grown < MEMORY_GROWTH_MAX, f"memory grew by {grown:.0%} in the second half")
    return (
        f"{SECONDS * rounds} s: p99 of {len(probe.took['healthz'])} × healthz {healthz * 1000:.0f} ms, of "
        f"{len(probe.took['quote'])} small quotes {quote * 1000:.0f} ms, {probe.refused} told to come back; memory "
        f"{begun / 1024:.0f} MB half-way, {ended / 1024:.0f} MB at the end"
    )


def control(chance: Random) -> None:
    """A service that reads and parses before it asks who sends makes everybody wait."""
    with sqlite_database() as url, nursery(url, way="parse_first") as server:
        server.start()
        probe, _ = _attack(server, chance, seconds=5)
        check(probe.p99("healthz") < 1.0, f"p99 of healthz was {probe.p99('healthz') * 1000:.0f} ms")


def _attack(server: Nursery, chance: Random, *, seconds: float) -> tuple[Probe, list[int]]:
    places = furnish(server.url, 4)
    table, venue = _first_table(server)
    attackers = [(_NOBODY, "POST", "/v1/readings", EMPTY_LISTS)] * NOBODIES
    attackers += _holders(server, venue=venue, table=table)
    del places, chance
    probe, memory = Probe(), [0]
    until = time.monotonic() + seconds
    crowd = get_context("fork").Process(target=_send_all, args=(server.port, until, attackers), daemon=True)
    crowd.start()
    with ThreadPoolExecutor(3) as pool:
        work: list[Callable[[], None]] = [
            lambda: _probe(server.port, until, probe, "healthz", "/healthz"),
            lambda: _probe(server.port, until, probe, "quote", f"/v1/quotes?venue_id={venue}&money=5.00"),
            lambda: _watch(server.server, until, memory),
        ]
        for done in [pool.submit(one) for one in work]:
            done.result()
    crowd.join()
    return probe, memory[1:]


def _send_all(port: int, until: float, attackers: list[Any]) -> None:
    """Let all attackers send, in a process of their own that gives way: they come from other machines."""
    os.nice(10)
    with ThreadPoolExecutor(len(attackers)) as pool:
        for done in [pool.submit(_send, port, until, *one) for one in attackers]:
            done.result()


def _first_table(server: Nursery) -> tuple[str, str]:
    item = json.loads(ask(server.url, "GET", "/v1/tables?limit=1")[1])["items"][0]
    found = json.loads(ask(server.url, "GET", "/v1/venues?limit=1")[1])["items"][0]["id"]
    return item.get("table_id") or item["id"], found


def _holders(server: Nursery, *, venue: str, table: str) -> list[tuple[dict[str, str], str, str, Any]]:
    """Return the worst of one holder of each role."""
    ladder = [{"price": f"{(100 + 37 * n) / 100:.2f}", "units": 1 + 3 * n} for n in range(50)]
    draft = {
        "tariff": {"code": "draft", "name": "Draft", "currency": "USD", "games": {"prices": ladder}},
        "time_zone": "America/New_York",
        "at": "2026-12-01T21:00",
        "games": 10_000,
    }
    nonsense = {"readings": [{"x": "y"}] * 5_000}
    worst: dict[str, tuple[str, str, Any]] = {
        "owner": ("POST", "/v1/quotes", {"scenarios": [draft] * 100}),
        "collector": ("GET", "/v1/worklist?limit=500", None),
        "accountant": ("GET", "/v1/reports/earnings?from=2000-01-01&to=2026-11-25", None),
        "venue": ("GET", f"/v1/quotes?venue_id={venue}&games=10000", None),
        "device": ("POST", "/v1/readings", nonsense),
    }
    found = []
    for role, (method, path, body) in worst.items():
        bound = {"venue": {"venue_id": venue}, "device": {"table_id": table}}.get(role, {})
        made = json.loads(ask(server.url, "POST", "/v1/tokens", {"name": role, "role": role, **bound})[1])
        headers = {"Authorization": f"Bearer {made['token']}", "Content-Type": "application/json"}
        found.append((headers, method, path, None if body is None else json.dumps(body).encode()))
    return found


def _send(port: int, until: float, headers: dict[str, str], method: str, path: str, body: bytes | None) -> None:
    """Send the same again and again, each as soon as it was answered."""
    while time.monotonic() < until:
        connection = HTTPConnection("127.0.0.1", port, timeout=60)
        with suppress(OSError, HTTPException):
            connection.request(method, path, body, headers)
            connection.getresponse().read()
        connection.close()


def _probe(port: int, until: float, probe: Probe, name: str, path: str) -> None:
    """Ask for little, twenty times a second."""
    while (began := time.monotonic()) < until:
        connection = HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request("GET", path, headers=AUTHORIZED)
        answer = connection.getresponse()
        answer.read()
        connection.close()
        took = time.monotonic() - began
        probe.took[name].append(took)
        probe.refused += answer.status == 503
        time.sleep(max(0.0, EVERY_S - took))


def _watch(process: int, until: float, memory: list[int]) -> None:
    """Note how much memory the service holds, in kB, once a second."""
    while time.monotonic() < until:
        status = Path(f"/proc/{process}/status").read_text()
        memory.append(int(status.split("VmRSS:")[1].split()[0]))
        time.sleep(1)


FAULT = Fault(name="F18", says="an attack beside small questions", run=run, control=control, short=1, long=30)
