"""One request, one transaction: who may begin, who waits, and who shares a commit.

- What is answered as stored is stored: the commit comes before the answer.
- A request is worked on in one thread, from its first query to its commit.
- On SQLite, where there is one writer at a time, those that write wait in a line. Whoever is first in it goes on and
  takes along those that wait meanwhile: one commit, one sync of the disk, stores the work of them all. On PostgreSQL
  only what is marked ``shares_commit`` does so, for that always takes the same locks in the same order.
- Each of those taken along has a savepoint: what is refused leaves nothing behind and harms none of the others. The
  first has none, for on SQLite it would cost a large batch a third of its time: where it is refused, nobody is taken along.
- Where the database itself fails one of them, nothing is stored of any, and each is worked on again by itself; where
  the commit fails, each is told so.
- A transaction that the database undid because it met another is done again whole, at most five times.
- Waiting happens in the event loop, where it holds no thread: whoever has a connection always finds a thread to go on
  with. Whoever cannot be served soon is told to come back (503, ``Retry-After``), and no work is done for it.
"""

import time
from collections import deque
from collections.abc import Callable
from typing import Any, Generic, TypeVar

import anyio
from anyio import to_thread
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlmodel import Session

from ..store.db import discarded, reading, writing
from ..store.settings import Settings
from .errors import Problem

T = TypeVar("T")

Work = Callable[[Session], T]
_WAIT_S = 5


_WAITING_MOST = 64
"""A burst of phones waits its turn, also on a slow disk; more than this many are told to come back."""
_REFUSED_AFTER_S = 0.5


_TOGETHER_S = 0.02
"""For how long others are taken along: long beside the sync of a disk, short for whoever waits for the answer."""
_AGAIN_MOST = 5


class Transactions:
    """The transactions of one process: at most as many at once as it has connections."""

    def __init__(self, settings: Settings, engine: Engine) -> None:
        self._engine = engine
        self._one_writer = settings.on_sqlite
        self._places = anyio.Semaphore(settings.threads)
        self._line: deque[_Turn[Any]] = deque()
        self._led = False

    async def check_room(self, *, writes: bool) -> None:
        """Refuse (503) where so many wait already that another would wait in vain.

        The refusal takes its time: clients that are refused at once ask again at once, and answering them would leave
        none for the work.
        """
        if max(len(self._line) if writes else 0, self._places.statistics().tasks_waiting) >= _WAITING_MOST:
            await anyio.sleep(_REFUSED_AFTER_S)
            raise _come_back()

    async def read(self, work: Work[T]) -> T:
        """Return what work finds on one snapshot."""
        return await self._in_a_place(lambda: _read(self._engine, work))

    async def write(self, work: Work[T], *, shares_commit: bool) -> T:
        """Return what work does, committed; when it raises, nothing of it is left."""
        if not (shares_commit or self._one_writer):
            return await self._in_a_place(lambda: _alone(self._engine, work))
        turn = _Turn(work)
        self._line.append(turn)
        if self._led:
            await self._wait_for(turn)
        if not turn.is_over:
            await self._lead(turn)
        return turn.outcome()

    async def _in_a_place(self, work: Callable[[], T]) -> T:
        try:
            with anyio.fail_after(_WAIT_S):
                await self._places.acquire()
        except TimeoutError:
            raise _come_back() from None
        try:
            return await to_thread.run_sync(work)
        finally:
            self._places.release()

    async def _wait_for(self, turn: "_Turn[Any]") -> None:
        """Wait until a turn is over, or is the one to lead; whose turn does not come soon is told to come back."""
        try:
            with anyio.fail_after(_WAIT_S):
                await turn.called.wait()
        except TimeoutError:
            if self._leave(turn):
                raise _come_back() from None
            await turn.called.wait()  # it is being worked on
        except BaseException:
            self._leave(turn)
            raise

    def _leave(self, turn: "_Turn[Any]") -> bool:
        """Take a turn out of the line; tell whether it still stood there."""
        try:
            self._line.remove(turn)
        except ValueError:
            return False
        if turn.called.is_set():
            self._call_next()
        return True

    async def _lead(self, turn: "_Turn[Any]") -> None:
        """Work off the line for a while, from its first on, which is this turn; then let the next one lead."""
        self._led = True
        taken: list[_Turn[Any]] = []
        try:
            await self._in_a_place(lambda: _together(self._engine, self._line, taken))
        finally:
            if not taken:
                self._line.remove(turn)
            self._call_next()
            for other in taken:
                other.called.set()

    def _call_next(self) -> None:
        """Let the first in the line lead, if there is one."""
        self._led = bool(self._line)
        if self._line:
            self._line[0].called.set()


class _Turn(Generic[T]):
    """Work that waits in the line, and what came of it; ``called`` when that is known, or when it is to lead."""

    def __init__(self, work: Work[T]) -> None:
        self._work = work
        self._results: list[T] = []
        self._error: Exception | None = None
        self.called = anyio.Event()

    @property
    def is_over(self) -> bool:
        """Tell whether something has come of it."""
        return bool(self._results) or self._error is not None

    def outcome(self) -> T:
        """Return what the work returned, or raise what it raised."""
        if self._error is not None:
            raise self._error
        return self._results[0]

    def begin(self, session: Session) -> None:
        """Work in a transaction that begins with it; raise what it raises."""
        self._results = [_done(session, self._work)]
        session.flush()

    def go_on(self, connection: Connection) -> None:
        """Work in a transaction that others began, inside a savepoint; raise only what the database does."""
        try:
            with Session(connection, join_transaction_mode="create_savepoint") as session, session.begin():
                self._results = [_done(session, self._work)]
        except SQLAlchemyError:
            raise
        except Exception as error:
            self._error = error

    def work_alone(self, engine: Engine) -> None:
        """Work in a transaction that is nobody else's, whatever came of it before."""
        self._results, self._error = [], None
        try:
            self._results = [_alone(engine, self._work)]
        except Exception as error:
            self._error = error

    def fail(self, error: Exception) -> None:
        """Note that nothing of the work is stored."""
        self._results, self._error = [], error


class _Undone(Exception):
    """The database failed one of those that share a commit: nothing is stored of any."""


def _together(engine: Engine, line: "deque[_Turn[Any]]", taken: "list[_Turn[Any]]") -> None:
    """Work off a line for a while and commit it as one; put what was taken from it into a list."""
    taken.append(line.popleft())
    try:
        with writing(engine) as session:
            _work_off(session, line, taken)
    except _Undone:
        for turn in taken:
            turn.work_alone(engine)
    except Exception as error:
        for turn in taken:
            turn.fail(error)


def _work_off(session: Session, line: "deque[_Turn[Any]]", taken: "list[_Turn[Any]]") -> None:
    until = time.monotonic() + _TOGETHER_S
    try:
        taken[0].begin(session)
        while line and time.monotonic() < until and not discarded(session):
            taken.append(line.popleft())
            taken[-1].go_on(session.connection())
    except SQLAlchemyError as error:
        if len(taken) > 1 or _collided(error):
            raise _Undone from error
        raise


def _alone(engine: Engine, work: Work[T]) -> T:
    """Work in a transaction of its own, again where it met another."""
    for _ in range(_AGAIN_MOST):
        try:
            return _once(engine, work)
        except DBAPIError as error:
            if not _collided(error):
                raise
    return _once(engine, work)


def _once(engine: Engine, work: Work[T]) -> T:
    with writing(engine) as session:
        return _done(session, work)


def _read(engine: Engine, work: Work[T]) -> T:
    with reading(engine) as session:
        return work(session)


def _done(session: Session, work: Work[T]) -> T:
    """Return what work does; of what was only a preview nothing is left."""
    result = work(session)
    if discarded(session):
        session.rollback()
    return result


def _collided(error: SQLAlchemyError) -> bool:
    """Tell whether a transaction was undone because it met another (deadlock, serialization): it may be done again."""
    return getattr(getattr(error, "orig", None), "sqlstate", None) in ("40001", "40P01")


def _come_back() -> Problem:
    return Problem("unavailable", "More is asked at once than can be answered.", headers={"Retry-After": "1"})
