"""Work that nobody wants any more ends: before its commit it leaves nothing behind, after it everything."""

import threading
import time
from collections.abc import Awaitable, Callable
from typing import Any

import anyio
import baizebook.web.stopping
import pytest
from anyio import to_thread
from baizebook.pricing.effort import Effort, Stop, Stopped
from baizebook.store.db import make_engine, reading, work_of
from baizebook.store.read_cache import ReadCache
from baizebook.web.errors import Problem
from baizebook.web.stopping import Begun, Stopping
from baizebook.web.transactions import Transactions
from fastapi import Request
from sqlalchemy import Engine, text
from sqlmodel import Session
from starlette.requests import ClientDisconnect

from tests.databases import postgres_database, settings_for, sqlite_database
from tests.listening import listen, unlisten

STORE = text("INSERT INTO tax_area (code, name, rates, made_at) VALUES ('mf', 'Millbrook', '[]', '2026-01-01')")
COUNT = text("SELECT count(*) FROM tax_area")
FOREVER = text("WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT count(*) FROM n")


@pytest.fixture
def transactions(engine: Engine) -> Transactions:
    return Transactions(settings_for(engine.url.render_as_string(hide_password=False)), engine, kept=ReadCache(engine))


def stored(transactions: Transactions) -> int:
    number: int = transactions.read(lambda session: session.execute(COUNT).scalar_one())
    return number


def test_counting_looks_whether_the_steps_are_wanted() -> None:
    work = Effort()
    work.spend(1, where="", smaller="")
    work.stop.end()
    with pytest.raises(Stopped):
        work.spend(1, where="", smaller="")
    assert work.steps == 1


def test_what_is_ended_between_two_statements_leaves_nothing_behind(transactions: Transactions) -> None:
    stop = Stop()

    def work(session: Session) -> None:
        session.execute(STORE)
        stop.end()
        session.execute(COUNT)

    with pytest.raises(Stopped):
        transactions.write(work, stop=stop)
    assert stored(transactions) == 0


def test_what_is_ended_after_its_last_statement_leaves_nothing_behind(transactions: Transactions) -> None:
    stop = Stop()

    def work(session: Session) -> None:
        session.execute(STORE)
        stop.end()

    with pytest.raises(Stopped):
        transactions.write(work, stop=stop)
    assert stored(transactions) == 0


def test_a_savepoint_that_is_ended_inside_takes_all_with_it(transactions: Transactions) -> None:
    stop = Stop()

    def work(session: Session) -> None:
        with session.begin_nested():
            session.execute(STORE)
            stop.end()
            session.execute(COUNT)

    with pytest.raises(Stopped):
        transactions.write(work, stop=stop)
    assert stored(transactions) == 0
    transactions.write(lambda session: session.execute(STORE), stop=Stop())  # the connection serves the next
    assert stored(transactions) == 1


def test_a_commit_that_has_begun_is_finished(transactions: Transactions, engine: Engine) -> None:
    stop = Stop()

    def end(connection: Any) -> None:  # noqa: ARG001
        stop.end()

    def work(session: Session) -> str:
        session.execute(STORE)
        return "stored"

    listen(engine, "commit", end)
    assert transactions.write(work, stop=stop) == "stored"
    unlisten(engine, "commit", end)
    assert stored(transactions) == 1


def test_a_long_statement_of_sqlite_ends_while_it_runs() -> None:
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        transactions = Transactions(settings_for(url), engine, kept=ReadCache(engine))
        stop = Stop()
        threading.Timer(0.1, stop.end).start()
        began = time.monotonic()
        with pytest.raises(Stopped):
            transactions.read(lambda session: session.execute(FOREVER).scalar(), stop=stop)
        assert time.monotonic() - began < 2
        engine.dispose()


@pytest.mark.parametrize("way", ["read", "write"])
def test_a_long_statement_of_postgresql_ends_while_it_runs_and_its_connection_with_it(way: str) -> None:
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        transactions = Transactions(settings_for(url), engine, kept=ReadCache(engine))
        stop, used = Stop(), set[int]()

        def sleep(session: Session) -> None:
            used.add(session.execute(text("SELECT pg_backend_pid()")).scalar_one())
            session.execute(text("SELECT pg_sleep(4)"))

        threading.Timer(0.1, stop.end).start()
        began = time.monotonic()
        with pytest.raises(Stopped):
            getattr(transactions, way)(sleep, stop=stop)
        assert time.monotonic() - began < 1
        next_one = transactions.read(lambda session: session.execute(text("SELECT pg_backend_pid()")).scalar_one())
        assert next_one not in used
        engine.dispose()


def test_a_statement_of_postgresql_that_came_to_its_end_is_not_cancelled_later() -> None:
    with postgres_database() as url:
        engine = make_engine(settings_for(url))
        stop = Stop()
        with reading(engine, stop) as session:
            first = session.execute(text("SELECT pg_backend_pid()")).scalar_one()
        stop.end()
        with reading(engine) as session:
            session.execute(text("SELECT pg_sleep(0.3)"))
            assert session.execute(text("SELECT pg_backend_pid()")).scalar_one() == first
        engine.dispose()


def test_the_count_of_a_request_knows_whether_it_is_wanted(engine: Engine) -> None:
    stop = Stop()
    with reading(engine, stop) as session:
        stop.end()
        with pytest.raises(Stopped):
            work_of(session).spend(1, where="", smaller="")


def hanging_up(after_s: float) -> Request:
    async def receive() -> dict[str, Any]:
        await anyio.sleep(after_s)
        return {"type": "http.disconnect"}

    return Request({"type": "http"}, receive)


def count(begun: Begun) -> None:
    """Work for five seconds, or until nobody wants it."""
    until = time.monotonic() + 5
    while time.monotonic() < until:
        begun.stop.look()
        time.sleep(0.005)


async def outcome(stopping: Stopping, request: Request, work: Callable[[Begun], Awaitable[None]]) -> Exception | None:
    try:
        with stopping.begun() as begun:
            async with begun.watched(request):
                await work(begun)
            return None
        return begun.refusal()
    except (Problem, ClientDisconnect) as refusal:
        return refusal


async def wait(begun: Begun) -> None:  # noqa: ARG001
    await anyio.sleep(5)


async def in_a_thread(begun: Begun) -> None:
    await to_thread.run_sync(count, begun)


@pytest.mark.parametrize("work", [wait, in_a_thread])
def test_a_client_that_hangs_up_takes_its_work_with_it(work: Callable[[Begun], Awaitable[None]]) -> None:
    began = time.monotonic()
    found = anyio.run(outcome, Stopping(), hanging_up(0.05), work)
    assert isinstance(found, ClientDisconnect)
    assert time.monotonic() - began < 2


def test_a_service_that_ends_refuses_what_waits_and_gives_what_works_a_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(baizebook.web.stopping, "GRACE_S", 0.3)

    async def meet() -> dict[str, tuple[Exception | None, float]]:
        stopping, found, began = Stopping(), {}, time.monotonic()

        async def ask(name: str, work: Callable[[Begun], Awaitable[None]]) -> None:
            found[name] = (await outcome(stopping, hanging_up(9), work), time.monotonic() - began)

        async def quick(begun: Begun) -> None:
            await to_thread.run_sync(lambda: (time.sleep(0.2), begun.stop.look()))

        async with anyio.create_task_group() as tasks:
            for work in (wait, quick, in_a_thread):
                tasks.start_soon(ask, work.__name__, work)
            await anyio.sleep(0.05)
            stopping.end()
            tasks.start_soon(ask, "late", wait)
        return found

    found = anyio.run(meet)
    assert {name: getattr(refusal, "code", None) for name, (refusal, _) in found.items()} == {
        "wait": "unavailable",
        "late": "unavailable",
        "quick": None,
        "in_a_thread": "unavailable",
    }
    assert max(found["wait"][1], found["late"][1]) < 0.3 <= found["in_a_thread"][1] < 2
