"""When work ends before its answer: the client has hung up, or the service has been asked to end.

- A client that hangs up takes its work with it: what waits for a thread never begins, what works ends at its next look
  (``baizebook.pricing.effort.Stop``): with the next statement, the next count of steps.
- On SIGTERM or SIGINT what has not begun is refused at once, what works may finish within ``GRACE_S`` and is then ended:
  503 ``unavailable``, with nothing stored.
- A commit that has begun is finished; its answer is sent, and kept under its key.
"""

import asyncio
import signal
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from typing import Any

import anyio
from fastapi import Request
from starlette.requests import ClientDisconnect

from ..pricing.effort import Stop, Stopped
from .body import CLOSE
from .errors import Problem

GRACE_S = 0.5
"""How long work may go on after SIGTERM: enough for all but the dearest requests."""
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Begun:
    """One request that was let in: it waits for its body or for a thread, or works."""

    def __init__(self) -> None:
        self.stop = Stop()
        self.scope = anyio.CancelScope()
        self._client_is_gone = False

    @asynccontextmanager
    async def watched(self, request: Request) -> AsyncIterator[None]:
        """Watch meanwhile whether the client of a request, whose body was read, hangs up."""
        watching = asyncio.create_task(self._watch(request))
        try:
            yield
        finally:
            watching.cancel()

    async def _watch(self, request: Request) -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass
        self._client_is_gone = True
        self.stop.end()
        self.scope.cancel()

    def refusal(self) -> Exception:
        """Return the reason why this request was not answered; the caller raises it."""
        if self._client_is_gone:
            return ClientDisconnect()
        return service_ends()


class Stopping:
    """The requests admitted in one process, and whether the process has been asked to end."""

    def __init__(self) -> None:
        self.ends = False
        self._begun: set[Begun] = set()
        self._ending: asyncio.Task[None] | None = None

    @contextmanager
    def begun(self) -> Iterator[Begun]:
        """Let one request in; refuse (``unavailable``) where the service ends. Without a result, it was ended."""
        if self.ends:
            raise service_ends()
        begun = Begun()
        self._begun.add(begun)
        try:
            with begun.scope:
                yield begun
        except Stopped:
            raise begun.refusal() from None
        finally:
            self._begun.discard(begun)

    def end(self) -> None:
        """Let nothing more in, refuse what waits, and give what works its last moment; in the event loop."""
        if self.ends:
            return
        self.ends = True
        for begun in self._begun:
            begun.scope.cancel()  # a thread that works is shielded from it
        self._ending = asyncio.create_task(self._end_work())

    async def _end_work(self) -> None:
        await asyncio.sleep(GRACE_S)
        for begun in self._begun:
            begun.stop.end()

    @contextmanager
    def on_signals(self) -> Iterator[None]:
        """End on the signals by which a server ends; the server's own handlers are called too.

        Only the main thread can listen to signals; elsewhere nothing is done.
        """
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        loop = asyncio.get_running_loop()
        before = {number: signal.getsignal(number) for number in _SIGNALS}

        def handle(number: int, frame: Any) -> None:
            loop.call_soon_threadsafe(self.end)
            handler = before[signal.Signals(number)]
            if callable(handler):
                handler(number, frame)

        for number in _SIGNALS:
            signal.signal(number, handle)
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def service_ends() -> Problem:
    """Build the refusal of work that begins or goes on while the service ends."""
    return Problem("unavailable", "The service is stopping; nothing was stored.", headers={"Retry-After": "1", **CLOSE})
