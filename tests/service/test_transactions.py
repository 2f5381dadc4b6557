"""One request, one transaction: those that wait to write share a commit, and none of them feels that the others are there."""

import asyncio
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import anyio
import baizebook.web.transactions
import pytest
from baizebook.store.db import discard, make_engine
from baizebook.web.errors import Problem
from baizebook.web.transactions import Transactions
from sqlalchemy import Engine, event, text
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlmodel import Session

from tests.databases import postgres_database, settings_for, sqlite_database

Work = Callable[[Session], Any]


@pytest.fixture
def engine(request: pytest.FixtureRequest) -> Iterator[Engine]:
    """A database with one small table; SQLite unless a test asks for the other."""
    with (postgres_database if getattr(request, "param", "") == "postgresql" else sqlite_database)() as url:
        engine = make_engine(settings_for(url))
        with engine.execution_options(writes=True).begin() as connection:
            connection.execute(text("CREATE TABLE word (word VARCHAR(9) PRIMARY KEY)"))
        yield engine
        engine.dispose()


@pytest.fixture(autouse=True)
def no_hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take along whoever waits, however slow the machine is."""
    monkeypatch.setattr(baizebook.web.transactions, "_TOGETHER_S", 60)


both = pytest.mark.parametrize("engine", ["sqlite", "postgresql"], indirect=True)


def stored(engine: Engine) -> list[str]:
    with engine.connect() as connection:
        return sorted(connection.execute(text("SELECT word FROM word")).scalars())


def say(word: str) -> Work:
    """Return work that stores a word, and returns it."""

    def work(session: Session) -> str:
        session.execute(text("INSERT INTO word VALUES (:word)"), {"word": word})
        return word

    return work


def then(work: Work, after: Callable[[Session], object]) -> Work:
    """Return work after which something happens in the same transaction."""

    def both(session: Session) -> Any:
        found = work(session)
        after(session)
        return found

    return both


def refuse(_: Session) -> None:
    raise Problem("conflict")


class Together:
    """Lets works wait while a first one is at it, so that they are taken along together; counts the commits."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.transactions = Transactions(settings_for(engine.url.render_as_string(hide_password=False)), engine)
        self.commits = 0
        event.listen(engine, "commit", self._count)

    def _count(self, _: Any) -> None:
        self.commits += 1

    def do(self, *works: Work) -> list[Any]:
        """Do works, the first of them until all others wait; return what each returned, or raised."""
        return anyio.run(self._do, works)

    async def _do(self, works: tuple[Work, ...]) -> list[Any]:
        outcomes: list[Any] = [None] * len(works)
        waiting = anyio.Event()

        def first(session: Session) -> Any:
            anyio.from_thread.run(waiting.wait)
            return works[0](session)

        async def write(place: int, work: Work) -> None:
            try:
                outcomes[place] = await self.transactions.write(work, shares_commit=True)
            except Exception as error:
                outcomes[place] = error

        async with anyio.create_task_group() as tasks:
            tasks.start_soon(write, 0, first)
            await anyio.sleep(0.01)
            for place, work in enumerate(works[1:], 1):
                tasks.start_soon(write, place, work)
            while len(self.transactions._line) < len(works) - 1:
                await anyio.sleep(0.001)
            waiting.set()
        return outcomes


@both
def test_those_that_wait_share_one_commit(engine: Engine) -> None:
    together = Together(engine)
    assert together.do(say("a"), say("b"), say("c"), say("d")) == ["a", "b", "c", "d"]
    assert stored(engine) == ["a", "b", "c", "d"]
    assert together.commits == 1


@both
def test_what_is_refused_leaves_nothing_and_harms_no_other(engine: Engine) -> None:
    together = Together(engine)
    outcomes = together.do(say("a"), then(say("b"), refuse), say("c"))
    assert outcomes[::2] == ["a", "c"]
    assert isinstance(outcomes[1], Problem)
    assert stored(engine) == ["a", "c"]
    assert together.commits == 1


@both
def test_where_the_first_is_refused_the_others_go_on_without_it(engine: Engine) -> None:
    outcomes = Together(engine).do(then(say("a"), refuse), say("b"), say("c"))
    assert isinstance(outcomes[0], Problem)
    assert outcomes[1:] == ["b", "c"]
    assert stored(engine) == ["b", "c"]


@both
def test_a_preview_among_them_is_answered_and_leaves_nothing(engine: Engine) -> None:
    assert Together(engine).do(say("a"), then(say("b"), discard), say("c")) == ["a", "b", "c"]
    assert stored(engine) == ["a", "c"]
    assert Together(engine).do(then(say("d"), discard), say("e")) == ["d", "e"]
    assert stored(engine) == ["a", "c", "e"]


@both
def test_where_the_database_fails_one_each_is_worked_on_again_by_itself(engine: Engine) -> None:
    done: list[str] = []
    together = Together(engine)
    outcomes = together.do(*(then(say(word), lambda _, word=word: done.append(word)) for word in "abac"))
    assert [outcomes[place] for place in (0, 1, 3)] == ["a", "b", "c"]
    assert isinstance(outcomes[2], IntegrityError)
    assert stored(engine) == ["a", "b", "c"]
    assert together.commits == 3
    assert done == ["a", "b", "a", "b", "c"], "the fourth was not taken along with what had failed"


def test_where_the_commit_fails_each_is_told_so_and_nothing_is_stored(engine: Engine) -> None:
    def full(_: Any) -> None:
        raise OperationalError("COMMIT", {}, Exception("database or disk is full"))

    event.listen(engine, "commit", full)
    outcomes = Together(engine).do(say("a"), say("b"), say("c"))
    assert [str(error.orig) for error in outcomes] == ["database or disk is full"] * 3
    event.remove(engine, "commit", full)
    assert stored(engine) == []
    assert Together(engine).do(say("a"), say("b")) == ["a", "b"], "and all goes on"


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_on_postgresql_what_is_not_marked_for_it_has_a_commit_of_its_own(engine: Engine) -> None:
    together = Together(engine)

    async def write_at_once() -> None:
        async with anyio.create_task_group() as tasks:
            for word in "abcd":
                tasks.start_soon(lambda word=word: together.transactions.write(say(word), shares_commit=False))

    anyio.run(write_at_once)
    assert stored(engine) == ["a", "b", "c", "d"]
    assert together.commits == 4


def test_whoever_waits_too_long_is_told_to_come_back_and_is_not_worked_on(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(baizebook.web.transactions, "_WAIT_S", 0.05)
    transactions = Transactions(settings_for(str(engine.url)), engine)

    async def meet() -> list[Problem]:
        over = anyio.Event()
        told: list[Problem] = []

        async def wait(word: str) -> None:
            with pytest.raises(Problem) as refused:
                await transactions.write(say(word), shares_commit=True)
            told.append(refused.value)

        async with anyio.create_task_group() as tasks:
            slow = then(say("slow"), lambda _: anyio.from_thread.run(over.wait))
            tasks.start_soon(lambda: transactions.write(slow, shares_commit=True))
            await anyio.sleep(0.01)
            async with anyio.create_task_group() as waiting:
                waiting.start_soon(wait, "a")
                waiting.start_soon(wait, "b")
            over.set()
        assert await transactions.write(say("later"), shares_commit=True) == "later"
        return told

    assert [(told.code, told.headers) for told in anyio.run(meet)] == [("unavailable", {"Retry-After": "1"})] * 2
    assert stored(engine) == ["later", "slow"]


@pytest.mark.parametrize("when", ["in the line", "as it is to lead"])
def test_whoever_is_called_off_while_waiting_lets_the_next_one_lead(engine: Engine, when: str) -> None:
    transactions = Transactions(settings_for(str(engine.url)), engine)
    call_next = transactions._call_next

    async def call_off() -> None:
        over = anyio.Event()
        waiting: list[asyncio.Task[Any]] = []

        def call_off_whom_it_calls() -> None:
            transactions._call_next = call_next  # type: ignore[method-assign]
            call_next()
            waiting[0].cancel()

        async def lead() -> None:
            slow = then(say("slow"), lambda _: anyio.from_thread.run(over.wait))
            with pytest.raises(Problem):
                await transactions.write(then(slow, refuse), shares_commit=True)

        async def wait() -> None:
            waiting.append(asyncio.current_task())  # type: ignore[arg-type]
            with suppress(asyncio.CancelledError):
                await transactions.write(say("never"), shares_commit=True)

        async with anyio.create_task_group() as tasks:
            for task in (lead, wait, lambda: transactions.write(say("next"), shares_commit=True)):
                tasks.start_soon(task)
                await anyio.sleep(0.01)
            if when == "in the line":
                waiting[0].cancel()
                await anyio.sleep(0.01)
            else:
                transactions._call_next = call_off_whom_it_calls  # type: ignore[method-assign]
            over.set()

    anyio.run(call_off)
    assert stored(engine) == ["next"]
