"""One request, one transaction, in one thread; and who waits for a thread.

- The transaction begins with its first statement, which comes after validation, and ends before the answer is sent:
  an answer that says "stored" was committed.
- At most so many requests read and so many write at once, as there are connections; others wait in the event loop,
  where they hold no thread. Past 64 that wait, or 5 seconds, a caller is asked to come back (503, ``Retry-After``).
- A transaction that the database undid because it met another (deadlock, serialization) is repeated whole, at most
  five times.
- Work that is not wanted any more (``baizebook.web.stopping``) raises ``Stopped``: before its commit it leaves nothing
  behind; once the commit has begun, it is finished and answered.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import anyio
from anyio import to_thread
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session

from ..pricing.effort import Stop
from ..store.db import is_preview, reading, writing
from ..store.read_cache import ReadCache
from ..store.settings import Settings
from .body import come_back

T = TypeVar("T")

WAIT_S = 5
WAITING_MAX = 64
"""A burst of phones waits its turn, also on a slow disk; more than this many are asked to come back."""
REFUSED_AFTER_S = 0.5
"""A refusal takes its time: a client that is refused at once asks again at once."""
AGAIN_MAX = 5
SQLITE_WRITERS = 3
"""On SQLite one writes at a time; while its disk syncs, the next ones are read and validated."""


class WaitingLine:
    """Work of one kind, in threads: so much at once, and a bounded line of what waits."""

    def __init__(self, places: int) -> None:
        self.places = anyio.Semaphore(places)

    async def check_room(self) -> None:
        """Refuse (503) where so many wait already that another would wait in vain."""
        if self.places.statistics().tasks_waiting >= WAITING_MAX:
            await anyio.sleep(REFUSED_AFTER_S)
            raise come_back()

    async def run(self, work: Callable[[], T]) -> T:
        """Return the result of work in a thread; refuse (503) where none becomes free in time."""
        try:
            with anyio.fail_after(WAIT_S):
                await self.places.acquire()
        except TimeoutError:
            raise come_back() from None
        try:
            return await to_thread.run_sync(work)
        finally:
            self.places.release()


class Transactions:
    """The transactions of one process: at most as many at once as it has connections."""

    def __init__(self, settings: Settings, engine: Engine, *, kept: ReadCache) -> None:
        self._engine, self._kept = engine, kept
        lookups = max(1, settings.threads // 8)
        writers = SQLITE_WRITERS if settings.on_sqlite else settings.threads // 2
        self.lookups = WaitingLine(lookups)
        self.writers = WaitingLine(writers)
        self.readers = WaitingLine(max(1, settings.threads - writers - lookups))

    def read(self, work: Callable[[Session], T], *, stop: Stop | None = None) -> T:
        """Return what work finds on one snapshot; the caller is in a thread."""
        with _unless_stopped(stop), reading(self._engine, stop) as session:
            return work(session)

    def write(self, work: Callable[[Session], T], *, stop: Stop) -> T:
        """Return what work does, committed, or rolled back where it was a preview; the caller is in a thread."""
        with _unless_stopped(stop):
            for _ in range(AGAIN_MAX):
                try:
                    return self._write_once(work, stop)
                except DBAPIError as error:
                    if not _collided(error):
                        raise
            return self._write_once(work, stop)

    def _write_once(self, work: Callable[[Session], T], stop: Stop) -> T:
        with writing(self._engine, stop) as session:
            result = work(session)
            if is_preview(session):
                session.rollback()
        self._kept.written()
        return result


@contextmanager
def _unless_stopped(stop: Stop | None) -> Iterator[None]:
    """Raise ``Stopped`` in place of the error of a statement that was interrupted because it was not wanted."""
    try:
        yield
    except DBAPIError as error:
        if stop is not None and _interrupted(error):
            stop.look()
        raise


def _interrupted(error: DBAPIError) -> bool:
    state: Any = getattr(error.orig, "sqlstate", None)
    return state == "57014" or (state is None and str(error.orig) == "interrupted")


def _collided(error: DBAPIError) -> bool:
    """Tell whether a transaction was undone because it met another (deadlock, serialization): it may be repeated."""
    state: Any = getattr(error.orig, "sqlstate", None)
    return state in ("40001", "40P01")
