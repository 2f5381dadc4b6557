"""F1: the server is killed at any moment, and keeps what it answered: nothing is lost, nothing is there twice."""

import time
from random import Random

from tests.databases import postgres_database, sqlite_database
from tests.faults.fault import Fault
from tests.faults.nursery import nursery
from tests.faults.senders import sending

RUNS_MOST_S = 0.6


def run(chance: Random, rounds: int) -> str:
    """Kill a server on each kind of database so many times."""
    told = []
    for kind, database in (("SQLite", sqlite_database), ("PostgreSQL", postgres_database)):
        with database() as url:
            told.append(f"{kind} {_kill_often(url, chance, rounds=rounds)}")
    return f"{rounds} kills of each, 0 lost, 0 twice: {'; '.join(told)}"


def control(chance: Random) -> None:
    """A service that answers before it commits loses what it answered."""
    with sqlite_database() as url:
        _kill_often(url, chance, rounds=5, way="answer_first")


def _kill_often(url: str, chance: Random, *, rounds: int, way: str = "") -> str:
    """Kill, look at what is stored while nothing serves, and start again."""
    with nursery(url, way=way) as server:
        server.start()
        with sending(url, server.port, chance) as clients:
            for number in range(rounds):
                if number:
                    server.start()
                time.sleep(chance.uniform(0.05, RUNS_MOST_S))
                server.kill()
                clients.compare()
    readings, collections = clients.count()
    return f"{readings} readings, {collections} collections answered"


FAULT = Fault(name="F1", says="kills", run=run, control=control, short=25, long=500)
