"""Delivers webhooks: ``baizebook deliver`` sends what the outbox holds, until it is stopped.

- One process delivers for a database. Another that is started says so and ends.
- Each endpoint has a task of its own, so one that is slow or down keeps no other waiting; at most 8 send at once.
- A try is recorded after it was made: a process that is killed between the two makes it once more, and loses none.
- Work that has come up is found here too (``work.due``), so that nobody has to look at the list first.
- SIGTERM and Ctrl-C end it once the tries that were begun are over.
"""

import logging
import random
import signal
import sqlite3
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TypeVar
from uuid import UUID

import anyio
from anyio import to_thread
from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from ..store import clock
from ..store.db import reading, writing
from ..webhooks.queries import endpoints_with_work, wants
from ..webhooks.retry import Tried
from ..webhooks.service import ToSend, TryOutcome, next_to_send, purge_old_deliveries, record_try
from ..worklist.service import announce_due, catch_up
from .webhook_post import post

DELIVERIES_AT_ONCE_MAX = 8
OUTBOX_EVERY_S = 2.0
TIDY_EVERY = timedelta(minutes=10)
TOO_BUSY_S = 5.0
_DELIVERING = 7_226_015
T = TypeVar("T")

_log = logging.getLogger("baizebook.deliver")
Say = Callable[[str], None]


class AnotherDelivers(Exception):
    """Another process delivers for this database already."""


class PlaceLost(Exception):
    """The connection that holds the deliverer's place is gone: another may deliver by now."""


def deliver_webhooks(engine: Engine, *, once: bool, any_address: bool, say: Say) -> None:
    """Send what is due, again and again or ``once``; raise AnotherDelivers where another process does so.

    Raises PlaceLost where the database went away meanwhile: start it again.
    """
    with _alone(engine) as still_alone:
        work = _Delivery(engine, any_address=any_address, say=say, still_alone=still_alone)
        try:
            anyio.run(partial(work.run, once=once))
        except* PlaceLost:
            raise PlaceLost from None


class _Delivery:
    """The deliveries of one process."""

    def __init__(self, engine: Engine, *, any_address: bool, say: Say, still_alone: Callable[[], None]) -> None:
        self._engine, self._any_address, self._say, self._still_alone = engine, any_address, say, still_alone
        self._busy: set[UUID] = set()
        self._places: anyio.Semaphore
        self._stopping: anyio.Event
        self._tidied_at: datetime | None = None

    async def run(self, *, once: bool) -> None:
        """Look for what is due, and send it."""
        self._places, self._stopping = anyio.Semaphore(DELIVERIES_AT_ONCE_MAX), anyio.Event()
        async with anyio.create_task_group() as tasks:
            if sys.platform != "win32":
                tasks.start_soon(self._heed_signals)
            async with anyio.create_task_group() as sending:
                while not self._stopping.is_set():
                    for endpoint_id in await self._patiently(self._look):
                        if endpoint_id not in self._busy:
                            self._busy.add(endpoint_id)
                            sending.start_soon(self._send_to, endpoint_id)
                    if once:
                        break
                    with anyio.move_on_after(OUTBOX_EVERY_S):
                        await self._stopping.wait()
            tasks.cancel_scope.cancel()

    async def _heed_signals(self) -> None:
        with anyio.open_signal_receiver(signal.SIGTERM, signal.SIGINT) as signals:
            stream: AsyncIterator[signal.Signals] = signals
            async for _ in stream:
                self._stopping.set()

    def _look(self) -> list[UUID]:
        """Return the endpoints to which something may be sent."""
        self._still_alone()
        now = clock.now()
        with reading(self._engine) as session:
            wants_work = wants(session, "work.due")
        if wants_work:
            catch_up(self._engine, now=now)
            announce_due(self._engine, now=now)
        if self._tidied_at is None or now - self._tidied_at >= TIDY_EVERY:
            with writing(self._engine) as session:
                given_up = purge_old_deliveries(session, now=now)
            self._tidied_at = now
            if given_up:
                self._say(f"{given_up} deliveries waited for three days and were given up.")
        with reading(self._engine) as session:
            return list(endpoints_with_work(session, now=now))

    async def _send_to(self, endpoint_id: UUID) -> None:
        """Send to one endpoint what was due when this began, until a try fails."""
        due_by = clock.now()
        try:
            while not self._stopping.is_set():
                message = await self._patiently(partial(self._next, endpoint_id, due_by))
                if message is None or not await self._try(message):
                    return
        finally:
            self._busy.discard(endpoint_id)

    async def _try(self, message: ToSend) -> bool:
        """Make a try and record it; tell whether to go on with this endpoint."""
        async with self._places:
            tried = await post(
                message.url, message.body, message.headers, any_address=self._any_address, now=clock.now()
            )
        outcome = await self._patiently(partial(self._record, message, tried))
        if outcome is not None and not tried.succeeded:
            self._report(outcome)
        return tried.succeeded

    def _next(self, endpoint_id: UUID, due_by: datetime) -> ToSend | None:
        with reading(self._engine) as session:
            return next_to_send(session, endpoint_id, due_by=due_by, now=clock.now())

    def _record(self, message: ToSend, tried: Tried) -> TryOutcome | None:
        with writing(self._engine) as session:
            return record_try(session, message, tried, random=random.random(), now=clock.now())

    def _report(self, outcome: TryOutcome) -> None:
        decided, then = outcome.decided, ""
        if decided.next_at is not None:
            then = f" Next try at {decided.next_at:%Y-%m-%d %H:%M:%S} UTC."
        elif decided.state == "gave_up":
            then = " Given up."
        if decided.off_because is not None:
            then += " The endpoint is switched off."
        self._say(f"{outcome.endpoint}: {outcome.tried.says}{then}")

    async def _patiently(self, work: Callable[[], T]) -> T:
        """Return what work in a thread comes to; again where the database is busy or away for a moment."""
        while True:
            try:
                return await to_thread.run_sync(work)
            except DBAPIError:
                _log.exception("The database did not answer; the next try comes in %s s.", TOO_BUSY_S)
                self._say(f"The database did not answer; the next try comes in {TOO_BUSY_S:.0f} s.")
                with anyio.move_on_after(TOO_BUSY_S):
                    await self._stopping.wait()
                if self._stopping.is_set():
                    raise


@contextmanager
def _alone(engine: Engine) -> Iterator[Callable[[], None]]:
    """Hold the one place of a database's deliverer until this ends, also where the process is killed.

    Yields what raises once the place is lost. On SQLite the place is a lock on an empty file beside the database.
    """
    if engine.dialect.name == "sqlite":
        beside = Path(f"{engine.url.database}.deliver")
        with closing(sqlite3.connect(beside, timeout=0, isolation_level=None, check_same_thread=False)) as place:
            try:
                place.execute("BEGIN EXCLUSIVE")
            except sqlite3.OperationalError:
                raise AnotherDelivers from None
            yield lambda: None
        return
    own = create_engine(engine.url, poolclass=NullPool, isolation_level="AUTOCOMMIT")
    with own.connect() as connection:
        if not connection.execute(text("SELECT pg_try_advisory_lock(:key)"), {"key": _DELIVERING}).scalar_one():
            raise AnotherDelivers
        yield partial(_ask, connection)


def _ask(connection: Connection) -> None:
    try:
        connection.execute(text("SELECT 1"))
    except DBAPIError:
        raise PlaceLost from None
