"""One request, one transaction: it begins after validation, ends before the answer, and waits for a bounded time."""

from collections.abc import Iterator
from typing import Any

import anyio
import baizebook.store.db
import baizebook.web.transactions
import pytest
from baizebook.store.db import make_engine, writing
from baizebook.store.read_cache import ReadCache
from baizebook.web.errors import Problem
from baizebook.web.transactions import Transactions, WaitingLine
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text
from sqlalchemy.exc import TimeoutError as WaitedTooLong
from sqlmodel import Session

from tests.conftest import Route
from tests.databases import postgres_database, settings_for, sqlite_database
from tests.listening import listen, unlisten

VENUE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}


@pytest.fixture
def happened(engine: Engine) -> Iterator[list[str]]:
    """What the database was asked since the test began: transactions, and the statements in them."""
    seen: list[str] = []

    def note(what: str) -> Any:
        def listener(connection: Any, *rest: Any) -> None:  # noqa: ARG001
            seen.append(what)

        return listener

    def note_statement(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:  # noqa: ARG001
        if not statement.startswith("BEGIN"):  # SQLite's own, noted as the event that it answers
            seen.append(statement.split()[0].lower())

    listeners = [("begin", note("begin")), ("commit", note("commit")), ("rollback", note("rollback"))]
    listeners.append(("before_cursor_execute", note_statement))
    for name, listener in listeners:
        listen(engine, name, listener)
    yield seen
    for name, listener in listeners:
        unlisten(engine, name, listener)


@pytest.mark.parametrize(
    ("body", "status"),
    [({**VENUE, "currency": 7}, 422), ({**VENUE, "colour": "green"}, 422), ([], 422)],
)
def test_a_message_that_is_wrong_begins_no_transaction(
    client: TestClient, happened: list[str], body: Any, status: int
) -> None:
    answer = client.post("/v1/venues", json=body, headers={"Idempotency-Key": "k"})
    assert answer.status_code == status
    assert happened == []


def test_a_write_is_one_transaction_that_is_committed(client: TestClient, happened: list[str]) -> None:
    assert client.post("/v1/venues", json=VENUE, headers={"Idempotency-Key": "k"}).status_code == 201
    assert happened.count("begin") == 1
    assert happened[-1] == "commit"
    assert "rollback" not in happened


def test_a_preview_is_the_same_transaction_rolled_back(client: TestClient, route: Route, happened: list[str]) -> None:
    venue = route.venue()
    tariff = route.tariff()
    happened.clear()
    body = {"effective_on": "2026-12-01", "base": tariff["id"]}
    answer = client.post(f"/v1/venues/{venue['id']}/schedules?preview=true", json=body)
    assert answer.status_code == 200
    assert "insert" in happened
    assert "rollback" in happened
    assert "commit" not in happened
    assert len(client.get(f"/v1/venues/{venue['id']}/schedules").json()["items"]) == 0


def test_what_cannot_be_committed_is_not_answered_as_stored(client: TestClient, engine: Engine) -> None:
    def fail(connection: Any) -> None:  # noqa: ARG001
        raise RuntimeError("the disk is gone")

    listen(engine, "commit", fail)
    answer = client.post("/v1/venues", json=VENUE)
    unlisten(engine, "commit", fail)
    assert (answer.status_code, answer.json()["type"]) == (500, "/problems/internal_error")
    assert client.get("/v1/venues").json()["items"] == []


def test_on_sqlite_a_writer_waits_for_its_turn_and_not_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(baizebook.store.db, "WRITER_WAIT_S", 0.05)
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        with writing(engine) as first:
            first.execute(text("SELECT 1"))
            with pytest.raises(WaitedTooLong), writing(engine) as second:
                second.execute(text("SELECT 1"))
        with writing(engine) as third:
            assert third.execute(text("SELECT 1")).scalar() == 1
        engine.dispose()


def test_a_reader_sees_one_snapshot_and_on_postgresql_cannot_write(engine: Engine) -> None:
    settings = settings_for(engine.url.render_as_string(hide_password=False))
    transactions = Transactions(settings, engine, kept=ReadCache(engine))

    def look_twice(session: Session) -> list[int]:
        count = text("SELECT count(*) FROM tax_area")
        found = [session.execute(count).scalar_one()]
        with writing(engine) as other:
            other.execute(
                text("INSERT INTO tax_area (code, name, rates, made_at) VALUES ('mf', 'Millbrook', '[]', '2026-01-01')")
            )
        return [*found, session.execute(count).scalar_one()]

    assert transactions.read(look_twice) == [0, 0]


def test_postgresql_limits_every_transaction_and_only_that() -> None:
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        show = text("SHOW statement_timeout")
        with writing(engine) as session:
            assert session.execute(show).scalar() == "5s"
        with engine.connect() as connection:
            assert connection.execute(show).scalar() == "0"
        engine.dispose()


def test_whoever_waits_too_long_for_a_thread_is_asked_to_come_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(baizebook.web.transactions, "WAIT_S", 0.05)
    done: list[str] = []

    async def meet() -> Problem:
        line, over = WaitingLine(1), anyio.Event()

        async def be_slow() -> None:
            await line.run(lambda: anyio.from_thread.run(over.wait))

        async with anyio.create_task_group() as tasks:
            tasks.start_soon(be_slow)
            await anyio.sleep(0.01)
            with pytest.raises(Problem) as refused:
                await line.run(lambda: done.append("late"))
            over.set()
        await line.run(lambda: done.append("next"))
        return refused.value

    refusal = anyio.run(meet)
    assert (refusal.code, refusal.headers["Retry-After"]) == ("unavailable", "1")
    assert done == ["next"]


def test_whoever_hangs_up_while_waiting_leaves_its_place_to_the_next() -> None:
    done: list[str] = []

    async def meet() -> None:
        line, over = WaitingLine(1), anyio.Event()

        async def work(name: str) -> None:
            await line.run(lambda: done.append(name))

        async with anyio.create_task_group() as tasks:
            tasks.start_soon(lambda: line.run(lambda: anyio.from_thread.run(over.wait)))
            await anyio.sleep(0.01)
            async with anyio.create_task_group() as waiting:
                waiting.start_soon(work, "gone")
                await anyio.sleep(0.01)
                waiting.cancel_scope.cancel()
            over.set()
        await work("next")

    anyio.run(meet)
    assert done == ["next"]
