"""The accounting feed is ordered and complete while others write: sixteen at once, on both databases (L4)."""

import random
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, date, datetime
from threading import Event

import pytest
from baizebook.ledger.entry_kinds import owner_postings
from baizebook.ledger.queries import check_ledger, page_entries
from baizebook.ledger.service import post_entry
from baizebook.store.db import make_engine, reading, writing
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from tests.conftest import Route
from tests.databases import settings_for

WRITERS, EACH, FOLLOWERS = 16, 4, 2


@pytest.fixture
def wide_engine(database_url: str) -> Iterator[Engine]:
    """An engine with a connection for everybody."""
    engine = make_engine(settings_for(database_url).model_copy(update={"threads": WRITERS + FOLLOWERS}))
    yield engine
    engine.dispose()


def follow(ask: Callable[[int], tuple[list[int], int]], done: Event) -> list[int]:
    """Read the feed by its cursor until all was written, and once more; return the numbers as they came."""
    seen: list[int] = []
    cursor = 0
    while True:
        finished = done.is_set()
        numbers, cursor = ask(cursor)
        seen += numbers
        if finished and not numbers:
            return seen


def run(write: Callable[[int], None], ask: Callable[[int], tuple[list[int], int]]) -> list[list[int]]:
    """Let everybody write at once while others follow the feed; return what each follower saw."""
    done = Event()
    with ThreadPoolExecutor(WRITERS + FOLLOWERS) as pool:
        followers = [pool.submit(follow, ask, done) for _ in range(FOLLOWERS)]
        writers = [pool.submit(write, writer) for writer in range(WRITERS)]
        try:
            for writer in writers:
                writer.result()
        finally:
            done.set()
        return [follower.result() for follower in followers]


class GivenUp(Exception):
    """A writer changes its mind before it commits."""


def until_served(write: Callable[[], None]) -> None:
    """Write, again where the database let one wait too long: then nothing was stored."""
    while True:
        with suppress(OperationalError):
            return write()


def test_slow_commits_neither_skip_nor_repeat_an_entry(wide_engine: Engine) -> None:
    """Each writer waits between taking its number and committing it, and gives its last entry up in between."""

    def write(writer: int) -> None:
        chance = random.Random(writer)
        for i in range(EACH):
            until_served(lambda i=i: write_one(writer, i, chance.random() / 250))

    def write_one(writer: int, i: int, wait_s: float) -> None:
        with suppress(GivenUp), writing(wide_engine) as session:
            post_entry(
                session,
                kind="opening",
                on=date(2026, 11, 1 + i),
                currency="USD",
                postings=owner_postings(kind="opening", amount_minor=1 + writer),
                reference=f"writer {writer}, entry {i}",
                source_id=None,
                now=datetime(2026, 11, 25, 17, 0, tzinfo=UTC),
            )
            time.sleep(wait_s)
            if i == EACH - 1:
                raise GivenUp

    def ask(cursor: int) -> tuple[list[int], int]:
        with reading(wide_engine) as session:
            entries, _ = page_entries(session, after=cursor, limit=7)
        return [entry.number for entry in entries], entries[-1].number if entries else cursor

    written = WRITERS * (EACH - 1)
    assert run(write, ask) == [list(range(1, written + 1))] * FOLLOWERS
    with reading(wide_engine) as session:
        assert (check_ledger(session).ok, check_ledger(session).entries) == (True, written)


def test_the_feed_through_the_service_while_sixteen_post(client: TestClient, route: Route) -> None:
    route.venue()

    def write(writer: int) -> None:
        for i in range(EACH):
            body = {"kind": "opening", "amount": f"{writer + 1}.00", "on": "2026-11-02", "reference": f"{writer}/{i}"}
            while (answer := client.post("/v1/ledger/entries", json=body)).status_code == 503:
                time.sleep(int(answer.headers["Retry-After"]))
            assert answer.status_code == 201, answer.text

    def ask(cursor: int) -> tuple[list[int], int]:
        while (response := client.get(f"/v1/ledger/entries?after={cursor}&limit=5")).status_code == 503:
            time.sleep(int(response.headers["Retry-After"]))
        answer = response.json()
        return [item["number"] for item in answer["items"]], int(answer["cursor"])

    assert run(write, ask) == [list(range(1, WRITERS * EACH + 1))] * FOLLOWERS
    check = client.get("/v1/ledger/verify").json()
    assert (check["ok"], check["entries"]) == (True, WRITERS * EACH)
    bank = client.get("/v1/ledger/accounts").json()["items"][0]
    assert (bank["account"], bank["balance"]) == ("bank", f"{EACH * sum(range(1, WRITERS + 1))}.00")


def test_the_feed_goes_on_where_it_stopped(client: TestClient, route: Route) -> None:
    route.venue()
    assert client.get("/v1/ledger/entries").json() == {"items": [], "next": None, "cursor": "0"}
    for amount in ("1.00", "2.00", "3.00"):
        client.post("/v1/ledger/entries", json={"kind": "opening", "amount": amount, "on": "2026-11-02"})
    answer = client.get("/v1/ledger/entries?limit=2")
    assert answer.headers["Link"] == '</v1/ledger/entries?limit=2&after=2>; rel="next"'
    first = answer.json()
    assert ([item["number"] for item in first["items"]], first["next"], first["cursor"]) == ([1, 2], "2", "2")
    second = client.get("/v1/ledger/entries?limit=2&after=2").json()
    assert ([item["number"] for item in second["items"]], second["next"], second["cursor"]) == ([3], None, "3")
    third = client.get("/v1/ledger/entries?after=3").json()
    assert third == {"items": [], "next": None, "cursor": "3"}
    for bad in ("-1", "1.5", "x", str(2**63), "&after="):
        assert client.get(f"/v1/ledger/entries?after={bad}").status_code == 422, bad
    assert client.get("/v1/ledger/entries?limit=501").status_code == 422
