"""Clients that send readings in batches and collections, each until it is answered, and what must then be stored."""

import gzip
import json
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException
from itertools import cycle
from random import Random
from typing import Any
from uuid import UUID

from tests.faults.books import look, plain
from tests.faults.caller import AUTHORIZED
from tests.faults.fault import Broken, check
from tests.faults.route import Place, furnish

CLIENTS = 4
BATCH_MAX = 40


class Client:
    """Sends for its own places in turn; what was not answered, or turned away (503), it sends again with the same ids."""

    def __init__(self, port: int, places: Sequence[Place], chance: Random) -> None:
        self.places, self.chance, self.pause_s = places, chance, 0.0
        self.connection = HTTPConnection("127.0.0.1", port, timeout=10)
        self.sent: set[str] = set()
        self.readings: set[str] = set()
        self.collections: set[str] = set()
        self.turned_away = self.cut_off = self.number = 0
        self.answered_at = time.monotonic()

    def work(self, stopping: threading.Event) -> None:
        """Send until told to stop."""
        for place in cycle(self.places):
            if stopping.wait(self.pause_s):
                break
            if self.chance.random() < 0.7:
                batch = [self._next() for _ in range(self.chance.randint(1, BATCH_MAX))]
                body: Any = {"readings": [place.reading(number, id_) for number, id_ in batch]}
                answer = self._until_answered("/v1/readings", body, stopping)
                if answer is not None:
                    kept = {result["id"] for result in answer["results"] if result["outcome"] != "refused"}
                    check(len(kept) == len(batch), f"readings were refused: {answer}")
                    self.readings |= set(map(plain, kept))
            else:
                number, id_ = self._next()
                answer = self._until_answered("/v1/collections", place.collection(number, id_), stopping)
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
                self.cut_off += 1
                time.sleep(0.01)
                continue
            if answer.status in (200, 201):
                self.answered_at = time.monotonic()
                return json.loads(text)
            check(answer.status in (503, 507), f"{path} was answered {answer.status}: {text[:300]!r}")
            check(bool(answer.headers["Retry-After"]), f"{path} was answered {answer.status} without Retry-After")
            self.turned_away += 1
            time.sleep(0.05)
        return None


class Clients:
    """All of them, and what they were answered."""

    def __init__(self, url: str, port: int, chance: Random, *, places: int) -> None:
        self.url = url
        self.places = furnish(f"http://127.0.0.1:{port}", places)
        self.each = [Client(port, self.places[number::CLIENTS], Random(chance.random())) for number in range(CLIENTS)]

    def pause(self, seconds: float) -> None:
        """Let each client wait so long before whatever it sends from now on."""
        for one in self.each:
            one.pause_s = seconds

    def count(self) -> tuple[int, int]:
        """Return how many readings and how many collections were answered as stored."""
        return sum(len(one.readings) for one in self.each), sum(len(one.collections) for one in self.each)

    def compare(self) -> None:
        """Look at the database: all that was answered is there, and nothing that nobody sent."""
        readings = set().union(*(one.readings for one in self.each))
        collections = set().union(*(one.collections for one in self.each))
        books = look(self.url)
        lost = (readings - books.readings) | (collections - books.collections)
        check(not lost, f"{len(lost)} of {len(readings) + len(collections)} answered are lost")
        strange = (books.readings | books.collections) - set().union(*(one.sent for one in self.each))
        check(not strange, f"{len(strange)} are stored that nobody sent")

    def wait_for_one(self, *, within_s: float) -> float:
        """Return after how many seconds each client was answered again; ``Broken`` where that takes too long."""
        began = time.monotonic()
        while time.monotonic() < began + within_s:
            if all(one.answered_at > began for one in self.each):
                return max(one.answered_at for one in self.each) - began
            time.sleep(0.01)
        raise Broken(f"not every client was answered again within {within_s:.0f} s")


@contextmanager
def sending(url: str, port: int, chance: Random, *, places: int = CLIENTS) -> Iterator[Clients]:
    """Keep clients sending meanwhile, each for some of the places; what one of them found broken is raised in the end."""
    stopping = threading.Event()
    clients = Clients(url, port, chance, places=places)
    with ThreadPoolExecutor(CLIENTS) as pool:
        working = [pool.submit(one.work, stopping) for one in clients.each]
        try:
            yield clients
        finally:
            stopping.set()
    for one in working:
        one.result()
