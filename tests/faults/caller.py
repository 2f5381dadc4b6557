"""Callers that keep the service busy and remember what it answered."""

import json
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPException, HTTPResponse
from typing import Any
from uuid import uuid4

from tests.databases import OWNER_TOKEN

VENUE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}
AUTHORIZED = {"Authorization": f"Bearer {OWNER_TOKEN}", "Content-Type": "application/json"}


def ask(
    url: str,
    method: str,
    path: str,
    body: Any = None,
    headers: dict[str, str] | None = None,
    *,
    within_s: float = 20,
) -> tuple[int, bytes, Any]:
    """Ask once on a connection of its own; return status, body and headers."""
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(url + path, data, AUTHORIZED if headers is None else headers, method=method)
    try:
        with urllib.request.urlopen(request, timeout=within_s) as answer:
            return answer.status, answer.read(), answer.headers
    except urllib.error.HTTPError as refusal:
        with refusal:
            return refusal.code, refusal.read(), refusal.headers


class Writers:
    """Threads that store venues, each with a name of its own, and remember which were answered as stored."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.answered: set[str] = set()
        self.stopping = threading.Event()

    def write(self) -> None:
        """Store until told to stop; a connection that is gone is opened anew."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=20)
        while not self.stopping.is_set():
            name = uuid4().hex
            try:
                connection.request("POST", "/v1/venues", json.dumps({**VENUE, "name": name}), AUTHORIZED)
                answer: HTTPResponse = connection.getresponse()
                answer.read()
            except (OSError, HTTPException):
                connection.close()
                time.sleep(0.005)
                continue
            if answer.status == 201:
                self.answered.add(name)
        connection.close()

    def wait_for(self, number: int) -> None:
        """Wait until so many more were answered."""
        enough, until = len(self.answered) + number, time.monotonic() + 30
        while len(self.answered) < enough and time.monotonic() < until:
            time.sleep(0.002)


@contextmanager
def writers(port: int, number: int) -> Iterator[Writers]:
    """Keep so many writers busy meanwhile."""
    busy = Writers(port)
    with ThreadPoolExecutor(number) as pool:
        for _ in range(number):
            pool.submit(busy.write)
        try:
            yield busy
        finally:
            busy.stopping.set()


def p99_s(url: str, *, seconds: float, callers: int, path: str = "/v1/venues") -> float:
    """Let callers read for some seconds; return the time that 99 of 100 calls stayed below."""
    until = time.monotonic() + seconds

    def read() -> list[float]:
        took = []
        while time.monotonic() < until:
            began = time.monotonic()
            status, _, _ = ask(url, "GET", path)
            took.append(time.monotonic() - began if status == 200 else float("inf"))
        return took

    with ThreadPoolExecutor(callers) as pool:
        took = sorted(second for took in pool.map(lambda _: read(), range(callers)) for second in took)
    return took[int(len(took) * 0.99)]
