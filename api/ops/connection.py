"""One connection of a client: how long it may take to say what it wants, and how much room that may take.

uvicorn sets no time limit to a request that is only half there, so these are ours:

- A request's head is whole within 10 seconds of connecting, or of the answer before; else 408, and the connection ends.
- While its body comes, every 10 seconds bring 10 kB at least, or the end of it; else 408, and the connection ends.
- A body that nobody needs any more (refused as too large) is listened to for 2 seconds, so that the refusal arrives.
- Whoever does not read an answer for 30 seconds is not sent the rest.
- When connections are many, each new one takes the place of the one that has owed the rest of a request for longest:
  half-open connections never lock others out.
- What is no HTTP is refused as a problem (400), or cut off where an answer has begun.

A request that is being worked on has no limit here: the database sets it.
"""

import asyncio
import json
import uuid
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import STATUS_PHRASES, H11Protocol

from ..web.errors import Problem, problem_out

REQUEST_WITHIN_S = 10

BODY_BYTES_LEAST = 10_000
LINGER_S = 2
ANSWER_STUCK_S = 30
HEAD_BYTES_MOST = 16 * 1024


CONNECTIONS_MOST = 800
"""Below the 1,024 files that a process may usually have open, the database's and the listeners' among them."""


class Connection(H11Protocol):
    """A connection with the limits above."""

    def __init__(self, *args: Any, **values: Any) -> None:
        super().__init__(*args, **values)
        self._stage: tuple[object, ...] = ()
        self._deadline: asyncio.TimerHandle | None = None
        self._stuck: asyncio.TimerHandle | None = None
        self._arrived = 0

    @property
    def owes_since(self) -> float | None:
        """Tell by when the client must say more (in the loop's time), or None where it owes nothing."""
        return None if self._deadline is None else self._deadline.when()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection in, and where there are too many let the stalest go."""
        super().connection_made(transport)
        self._watch()
        if len(self.connections) > CONNECTIONS_MOST:
            owing = [other for other in self.connections if isinstance(other, Connection) and other.owes_since]
            min(owing, key=lambda other: other.owes_since or 0.0).transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take bytes in; the clock starts anew when a head, and stops when a request, is whole."""
        self._arrived += len(data)
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """Go on to the next request, or see that a connection that is closing really ends."""
        super().on_response_complete()
        if self.transport.is_closing():
            self._end()
        else:
            self._watch()

    def timeout_keep_alive_handler(self) -> None:
        """End a connection that asks nothing more."""
        super().timeout_keep_alive_handler()
        self._end()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the clocks."""
        for clock in (self._deadline, self._stuck):
            if clock is not None:
                clock.cancel()
        self._deadline = self._stuck = None
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """Give a client that does not read what it asked for some time to go on."""
        super().pause_writing()
        self._stuck = self._stuck or self.loop.call_later(ANSWER_STUCK_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on sending."""
        super().resume_writing()
        if self._stuck is not None:
            self._stuck.cancel()
            self._stuck = None

    def send_400_response(self, msg: str) -> None:  # noqa: ARG002
        """Refuse what is no HTTP, as a problem."""
        self._refuse(Problem("malformed", "This is no HTTP request."))

    def _watch(self) -> None:
        """Set the clock anew whenever the exchange has come to another stage."""
        answered = self.cycle is not None and self.cycle.response_complete
        stage = (self.cycle, self.conn.their_state, answered)
        if stage == self._stage or self.transport.is_closing():
            return
        self._stage = stage
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None
        if self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            self._set_deadline(LINGER_S if answered and self.conn.their_state is h11.SEND_BODY else REQUEST_WITHIN_S)

    def _set_deadline(self, seconds: int) -> None:
        self._arrived = 0
        self._deadline = self.loop.call_later(seconds, self._too_late)

    def _too_late(self) -> None:
        self._deadline = None
        in_body = self.conn.their_state is h11.SEND_BODY
        if (
            in_body
            and not self.cycle.response_complete
            and (self.flow.read_paused or self._arrived >= BODY_BYTES_LEAST)
        ):
            self._set_deadline(REQUEST_WITHIN_S)
            return
        self._refuse(Problem("too_slow"))

    def _refuse(self, problem: Problem) -> None:
        """Answer with a problem where nothing was answered yet, and end the connection."""
        if self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            self.transport.abort()
            return
        body = json.dumps(problem_out(problem).model_dump()).encode()
        headers = [
            ("Content-Type", "application/problem+json"),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
            ("X-Request-Id", uuid.uuid4().hex),
            ("Connection", "close"),
        ]
        status = problem.kind.status
        answer = h11.Response(status_code=status, headers=headers, reason=STATUS_PHRASES[status])
        for event in (answer, h11.Data(data=body), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        if self.cycle is not None:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        self._end()

    def _end(self) -> None:
        """Close, and cut off whoever does not take what is left."""
        self.transport.close()
        self.loop.call_later(LINGER_S, self.transport.abort)
