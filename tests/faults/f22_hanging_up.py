"""F22: a client that hangs up takes its work with it, SIGTERM ends work that goes on; what is ended stores nothing.

A round hangs up in the middle of the dearest questions and looks at the processor time that the server still takes,
hangs up in the middle of a batch with a key and sends it again, hangs up while a statement waits in PostgreSQL, and sends
SIGTERM in the middle of the dearest questions.
"""

import json
import os
import signal
import time
from http.client import HTTPConnection
from random import Random
from typing import Any
from uuid import uuid4

from sqlalchemy import create_engine, text

from tests.databases import postgres_database, sqlite_database
from tests.faults.caller import AUTHORIZED, ask
from tests.faults.fault import Fault, check
from tests.faults.nursery import Nursery, nursery
from tests.faults.route import furnish

ASKERS = 4
READINGS = 2_000
IDLE_S = 0.4
CPU_S_MAX = 0.8
"""Processor time after hanging up: a second's worth of four threads that each look once more, and their clean-up."""
STATEMENT_S_MAX = 1.0
"""A statement's own limit is two seconds for a lock, five in all."""
EXIT_S_MAX = 2.5
"""Half a second of grace, a second to end, and what the server's own clock and a busy machine take."""


def run(chance: Random, rounds: int) -> str:
    """Hang up and end the service so many times."""
    most_cpu = longest = waited = 0.0
    for _ in range(rounds):
        with sqlite_database() as url, nursery(url) as server:
            server.start()
            most_cpu = max(most_cpu, _hang_up(server))
            _hang_up_in_a_batch(server, url, chance)
            longest = max(longest, _end(server))
        waited = max(waited, _hang_up_while_it_waits())
    return (
        f"{rounds} rounds: at most {most_cpu:.2f} s of processor time after hanging up, a statement of PostgreSQL ended "
        f"within {waited:.2f} s, SIGTERM took {longest:.1f} s"
    )


def control(chance: Random) -> None:
    """A service that does not look goes on for seconds."""
    del chance
    with sqlite_database() as url, nursery(url, way="never_stop") as server:
        server.start()
        _hang_up(server)


def _dearest() -> bytes:
    ladder = [{"price": f"{(100 + 37 * n) / 100:.2f}", "units": 1 + 3 * n} for n in range(50)]
    asked = {"time_zone": "America/New_York", "at": "2026-12-01T21:00", "games": 10_000}
    scenarios = [
        {
            "tariff": {
                "code": "draft",
                "name": f"Draft {number}",
                "currency": "USD",
                "games": {"prices": [{**ladder[0], "price": f"{(60 + number) / 100:.2f}"}, *ladder[1:]]},
            },
            **asked,
        }
        for number in range(14)
    ]
    return json.dumps({"scenarios": scenarios}).encode()


def _asking(server: Nursery) -> list[HTTPConnection]:
    """Ask the dearest questions, and return while the server works at them."""
    body, asking = _dearest(), []
    before = _cpu_s(server)
    for _ in range(ASKERS):
        connection = HTTPConnection("127.0.0.1", server.port, timeout=60)
        connection.request("POST", "/v1/quotes", body, AUTHORIZED)
        asking.append(connection)
    until = time.monotonic() + 20
    while _cpu_s(server) < before + 0.3 and time.monotonic() < until:
        time.sleep(0.02)
    return asking


def _hang_up(server: Nursery) -> float:
    """Return the processor time that the server takes after everybody has hung up."""
    asking = _asking(server)
    before = _cpu_s(server)
    for connection in asking:
        connection.close()
    took = _when_idle(server) - before
    check(took < CPU_S_MAX, f"{took:.1f} s of processor time after everybody had hung up")
    return took


def _hang_up_in_a_batch(server: Nursery, database_url: str, chance: Random) -> None:
    """Hang up in the middle of a batch; all of it is stored or nothing, and the same key makes it whole."""
    table = furnish(server.url, 1)[0].table_id
    readings = [
        {"id": str(uuid4()), "table_id": table, "taken_at": f"2026-11-{1 + n % 25:02}T{n // 25 % 24:02}:00:00Z"}
        for n in range(READINGS)
    ]
    body, headers = json.dumps({"readings": readings}), {**AUTHORIZED, "Idempotency-Key": str(uuid4())}
    connection = HTTPConnection("127.0.0.1", server.port, timeout=60)
    connection.request("POST", "/v1/readings", body, headers)
    time.sleep(chance.random() * 0.5)
    connection.close()
    _when_idle(server)
    stored = _stored(database_url)
    check(stored in (0, READINGS), f"{stored} of {READINGS} readings were stored")
    status, answer, _ = ask(server.url, "POST", "/v1/readings", {"readings": readings}, headers)
    check(status in (200, 409), f"the same key was answered {status}: {answer[:200]!r}")
    check(_stored(database_url) == READINGS, f"{_stored(database_url)} readings after the second try")


def _hang_up_while_it_waits() -> float:
    """Return how long a statement that waits for another's lock goes on after its client has hung up."""
    waiting = text("SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'")
    with postgres_database() as url, nursery(url) as server:
        server.start()
        engine = create_engine(url)
        with engine.connect() as holder, engine.connect().execution_options(isolation_level="AUTOCOMMIT") as watch:
            holder.execute(text("LOCK TABLE venue IN ACCESS EXCLUSIVE MODE"))
            connection = HTTPConnection("127.0.0.1", server.port, timeout=60)
            connection.request("GET", "/v1/venues", headers=AUTHORIZED)
            until = time.monotonic() + 5
            while not watch.scalar(waiting) and time.monotonic() < until:
                time.sleep(0.01)
            check(bool(watch.scalar(waiting)), "no statement waited")
            connection.close()
            began = time.monotonic()
            while watch.scalar(waiting):
                check(time.monotonic() < began + STATEMENT_S_MAX, "a statement went on after its client had hung up")
                time.sleep(0.01)
            took = time.monotonic() - began
        engine.dispose()
    return took


def _end(server: Nursery) -> float:
    """Return the time that a server at work takes to end."""
    asking = _asking(server)
    began = time.monotonic()
    os.kill(server.server, signal.SIGTERM)
    answers: list[Any] = [connection.getresponse() for connection in asking]
    check({answer.status for answer in answers} <= {200, 503}, f"answered {[answer.status for answer in answers]}")
    while os.path.exists(f"/proc/{server.server}"):
        check(time.monotonic() < began + EXIT_S_MAX, f"the service did not end within {EXIT_S_MAX} s")
        time.sleep(0.01)
    return time.monotonic() - began


def _stored(database_url: str) -> int:
    engine = create_engine(database_url)
    with engine.connect() as connection:
        number = connection.scalar(text("SELECT count(*) FROM reading"))
    engine.dispose()
    return int(number or 0)


def _when_idle(server: Nursery) -> float:
    """Wait until the server takes no processor time; return the time it has taken in all."""
    found, since = _cpu_s(server), time.monotonic()
    until = since + 30
    while time.monotonic() < since + IDLE_S and time.monotonic() < until:
        time.sleep(0.05)
        if (now := _cpu_s(server)) > found + 0.02:
            found, since = now, time.monotonic()
    return found


def _cpu_s(server: Nursery) -> float:
    """Return the processor time that the server has taken."""
    with open(f"/proc/{server.server}/stat") as file:
        fields = file.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


FAULT = Fault(name="F22", says="clients that hang up, SIGTERM at work", run=run, control=control, short=1, long=50)
