"""F1: the server is killed at any moment, and keeps what it answered: nothing is lost, nothing is there twice."""

import gzip
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection, HTTPException
from random import Random
from typing import Any
from uuid import UUID

from tests.databases import postgres_database, sqlite_database
from tests.faults.books import look, plain
from tests.faults.caller import AUTHORIZED
from tests.faults.fault import Fault, check
from tests.faults.nursery import nursery
from tests.faults.route import Place, furnish

CLIENTS = 4
BATCH_MOST = 40
RUNS_MOST_S = 0.6


class Client:
    """Sends batches of readings and collections of its own place, each until it is answered, with the same ids."""

    def __init__(self, port: int, place: Place, chance: Random) -> None:
        self.place, self.chance = place, chance
        self.connection = HTTPConnection("127.0.0.1", port, timeout=10)
        self.sent: set[str] = set()
        self.readings: set[str] = set()
        self.collections: set[str] = set()
        self.number = 0

    def work(self, stopping: threading.Event) -> None:
        """Send until told to stop."""
        while not stopping.is_set():
            if self.chance.random() < 0.7:
                batch = [self._next() for _ in range(self.chance.randint(1, BATCH_MOST))]
                body: Any = {"readings": [self.place.reading(number, id_) for number, id_ in batch]}
                answer = self._until_answered("/v1/readings", body, stopping)
                if answer is not None:
                    kept = {result["id"] for result in answer["results"] if result["outcome"] != "refused"}
                    check(len(kept) == len(batch), f"readings were refused: {answer}")
                    self.readings |= set(map(plain, kept))
            else:
                number, id_ = self._next()
                answer = self._until_answered("/v1/collections", self.place.collection(number, id_), stopping)
                if answer is not None:
                    self.collections.add(plain(answer["id"]))

    def _next(self) -> tuple[int, UUID]:
        self.number += 1
        id_ = UUID(int=self.chance.getrandbits(128), version=4)
        self.sent.add(plain(id_))
        return self.number, id_

    def _until_answered(self, path: str, body: Any, stopping: threading.Event) -> Any:
        """Send until there is an answer; None where told to stop before."""
        data = gzip.compress(json.dumps(body).encode(), 1)
        while not stopping.is_set():
            try:
                self.connection.request("POST", path, data, {**AUTHORIZED, "Content-Encoding": "gzip"})
                answer = self.connection.getresponse()
                text = answer.read()
            except (OSError, HTTPException):
                self.connection.close()
                time.sleep(0.01)
                continue
            if answer.status in (200, 201):
                return json.loads(text)
            check(answer.status == 503, f"{path} was answered {answer.status}: {text[:300]!r}")
            time.sleep(0.05)
        return None


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
    stopping = threading.Event()
    with nursery(url, way=way) as server, ThreadPoolExecutor(CLIENTS) as pool:
        server.start()
        places = furnish(server.url, CLIENTS)
        clients = [Client(server.port, place, Random(chance.random())) for place in places]
        working = [pool.submit(client.work, stopping) for client in clients]
        try:
            for number in range(rounds):
                if number:
                    server.start()
                time.sleep(chance.uniform(0.05, RUNS_MOST_S))
                server.kill()
                _compare(url, clients)
        finally:
            stopping.set()
        for one in working:
            one.result()
    readings, collections = (sum(len(found) for found in kinds) for kinds in _answered(clients))
    return f"{readings} readings, {collections} collections answered"


def _answered(clients: list[Client]) -> tuple[list[set[str]], list[set[str]]]:
    return [client.readings for client in clients], [client.collections for client in clients]


def _compare(url: str, clients: list[Client]) -> None:
    """Look at what is stored while nothing serves: all that was answered, and nothing that nobody sent."""
    answered, collected = (set().union(*kinds) for kinds in _answered(clients))
    books = look(url)
    lost = (answered - books.readings) | (collected - books.collections)
    check(not lost, f"{len(lost)} of {len(answered) + len(collected)} answered are lost")
    strange = (books.readings | books.collections) - set().union(*(client.sent for client in clients))
    check(not strange, f"{len(strange)} are stored that nobody sent")


FAULT = Fault(name="F1", says="kills", run=run, control=control, short=6, long=500)
