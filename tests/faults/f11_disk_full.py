"""F11: the disk is full: what was answered stays, what is refused is a 503, and writing goes on when there is room again.

A limit on the size of the server's files stands for the disk: nothing beyond it can be written until it is lifted, be it
to SQLite's log or, when that is tidied up, to the file itself.
"""

import json
import resource
import time
from random import Random

from tests.databases import sqlite_database
from tests.faults.caller import ask
from tests.faults.fault import Fault, check
from tests.faults.nursery import Nursery, nursery
from tests.faults.senders import Clients, sending

BACK_WITHIN_S = 8
FULL_FOR_S = 0.7


def run(chance: Random, rounds: int) -> str:
    """Fill the disk so many times, with more or less of the log written by then."""
    with sqlite_database() as url:
        return _fill_often(url, chance, rounds=rounds)


def control(chance: Random) -> None:
    """A service that answers before it commits loses what it answered."""
    with sqlite_database() as url:
        _fill_often(url, chance, rounds=4, way="answer_first")


def _fill_often(url: str, chance: Random, *, rounds: int, way: str = "") -> str:
    longest = 0.0
    with nursery(url, way=way) as server:
        server.start()
        with sending(url, server.port, chance) as clients:
            for _ in range(rounds):
                time.sleep(chance.uniform(0.1, 0.5))
                _limit(server, chance.randrange(200_000))
                _wait_until_full(clients)
                time.sleep(FULL_FOR_S)
                status, _, _ = ask(server.url, "GET", "/v1/venues")
                check(status == 200, f"while nothing can be written, reading was answered {status}")
                clients.compare()
                _limit(server, resource.RLIM_INFINITY)
                longest = max(longest, clients.wait_for_one(within_s=BACK_WITHIN_S))
                clients.compare()
        check(not sum(one.cut_off for one in clients.each), "a caller was cut off, and not answered 503")
        verdict = json.loads(ask(server.url, "GET", "/v1/ledger/verify")[1])
        check(verdict["ok"], f"the chain does not hold: {verdict}")
    readings, collections = clients.count()
    return (
        f"{rounds} times full: {readings} readings and {collections} collections answered, 0 lost, "
        f"{sum(one.turned_away for one in clients.each)} told to come back (503), back within {longest:.1f} s"
    )


def _limit(server: Nursery, size: int) -> None:
    """Let the server's files grow to so many bytes."""
    resource.prlimit(server.server, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))


def _wait_until_full(clients: Clients) -> None:
    """Wait until somebody is turned away; a log that begins anew may take a while to come so far."""
    before, until = sum(one.turned_away for one in clients.each), time.monotonic() + 5
    while sum(one.turned_away for one in clients.each) == before and time.monotonic() < until:
        time.sleep(0.01)


FAULT = Fault(name="F11", says="disk full", run=run, control=control, short=3, long=50)
