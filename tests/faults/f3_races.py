"""F3: callers that meet: no posting is lost, a collection sent four times at once is one, one change of many wins."""

import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from http.client import HTTPConnection
from random import Random
from typing import Any
from uuid import UUID

from tests.databases import postgres_database, sqlite_database
from tests.faults.books import look, plain
from tests.faults.caller import AUTHORIZED, ask
from tests.faults.fault import Broken, Fault, check
from tests.faults.nursery import nursery
from tests.faults.route import furnish
from tests.serving import SERVE, served

WORKERS = 16
SENDINGS = 4
CHANGERS = 8
POSTINGS_A_ROUND = 80
COLLECTIONS_A_ROUND = 4
OPENING = {"kind": "opening", "account": "bank", "amount": "0.01", "currency": "USD", "on": "2026-01-01"}

Database = Callable[[], AbstractContextManager[str]]


def run(chance: Random, rounds: int) -> str:
    """Let callers meet at a service of two processes, on each kind of database."""
    for database in (sqlite_database, postgres_database):
        with database() as url, served(url, command=(*SERVE, "--workers", "2")) as address:
            _race(url, address, chance, rounds=rounds)
    return (
        f"on each database {POSTINGS_A_ROUND * rounds} postings by {WORKERS}, {COLLECTIONS_A_ROUND * rounds} collections × "
        f"{SENDINGS}, {COLLECTIONS_A_ROUND * rounds} changes × {CHANGERS}: 0 lost, exactly one each"
    )


def control(chance: Random) -> None:
    """Where nothing is held and SQLite's transactions begin late, callers that meet undo or refuse each other."""
    held = []
    for database in (sqlite_database, postgres_database):
        with database() as url, nursery(url, way="hold_nothing") as server:
            server.start()
            try:
                _race(url, server.url, chance, rounds=1)
            except Broken as broken:
                found = broken
            else:
                held.append(database.__name__)
    if not held:
        raise found


def _race(url: str, address: str, chance: Random, *, rounds: int) -> None:
    _post_at_once(address, number=POSTINGS_A_ROUND * rounds)
    _collect_at_once(url, address, chance, number=COLLECTIONS_A_ROUND * rounds)
    _change_at_once(address, number=COLLECTIONS_A_ROUND * rounds)


def _post_at_once(address: str, *, number: int) -> None:
    """Sixteen callers post cents; every one is in the books, in a row without gaps."""

    def work(_: int) -> None:
        with _connection(address) as ask_:
            for _ in range(number // WORKERS):
                status, body = _patiently(ask_, "POST", "/v1/ledger/entries", OPENING)
                check(status == 201, f"a posting was answered {status}: {body[:300]!r}")

    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(work, range(WORKERS)))
    verdict = json.loads(ask(address, "GET", "/v1/ledger/verify")[1])
    check(verdict["ok"] and verdict["entries"] == number, f"{number} were answered as posted: {verdict}")
    accounts = json.loads(ask(address, "GET", "/v1/ledger/accounts")[1])["items"]
    balance = next(account["balance"] for account in accounts if account["account"] == "bank")
    check(balance == f"{number // 100}.{number % 100:02}", f"{number} cents were posted, the bank has {balance}")


def _collect_at_once(url: str, address: str, chance: Random, *, number: int) -> None:
    """Each collection is sent four times at once: all are answered the same, and it stands once."""
    places = furnish(address, COLLECTIONS_A_ROUND)
    sent = []
    with ThreadPoolExecutor(SENDINGS) as pool:
        for i in range(number):
            body = places[i % len(places)].collection(i, UUID(int=chance.getrandbits(128), version=4))
            sent.append(plain(body["id"]))
            answers = list(pool.map(lambda _, body=body: _once(address, "/v1/collections", body), range(SENDINGS)))
            check({status for status, _ in answers} <= {200, 201}, f"a collection was answered {answers}")
            check(len({body for _, body in answers}) == 1, f"a collection has different answers: {answers}")
    books = look(url)
    check(books.collections == set(sent), f"{len(books.collections)} collections of {len(sent)}")


def _change_at_once(address: str, *, number: int) -> None:
    """Eight callers change a venue that they all saw as it was: one wins, the others are told (412)."""
    venue = json.loads(ask(address, "GET", "/v1/venues?limit=1")[1])["items"][0]["id"]
    with ThreadPoolExecutor(CHANGERS) as pool:
        for i in range(number):
            etag = ask(address, "GET", f"/v1/venues/{venue}")[2]["ETag"]

            def change(by: int, i: int = i, etag: str = etag) -> int:
                headers = {**AUTHORIZED, "If-Match": etag}
                return _once(
                    address, f"/v1/venues/{venue}", {"notes": f"{i} by {by}"}, method="PATCH", headers=headers
                )[0]

            statuses = sorted(pool.map(change, range(CHANGERS)))
            check(statuses == [200] + [412] * (CHANGERS - 1), f"changes that met were answered {statuses}")


def _once(
    address: str, path: str, body: Any, *, method: str = "POST", headers: dict[str, str] | None = None
) -> tuple[int, bytes]:
    return _patiently(lambda *request: ask(address, *request, headers)[:2], method, path, body)


def _patiently(
    send: Callable[[str, str, Any], tuple[int, bytes]], method: str, path: str, body: Any
) -> tuple[int, bytes]:
    """Send, and again while there is no room (503)."""
    while True:
        status, answer = send(method, path, body)
        if status != 503:
            return status, answer
        time.sleep(0.05)


@contextmanager
def _connection(address: str) -> Iterator[Callable[[str, str, Any], tuple[int, bytes]]]:
    """Yield a way to ask on one connection that stays open."""
    connection = HTTPConnection(address.removeprefix("http://"), timeout=30)

    def send(method: str, path: str, body: Any) -> tuple[int, bytes]:
        connection.request(method, path, json.dumps(body), AUTHORIZED)
        answer = connection.getresponse()
        return answer.status, answer.read()

    yield send
    connection.close()


FAULT = Fault(name="F3", says="races", run=run, control=control, short=1, long=125)
