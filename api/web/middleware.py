"""The frame of every answer: a request id, HEAD wherever GET is, headers that keep answers private, and deadlines.

- A message that gives its length in two ways is refused and its connection ended: two readers could cut it differently
  (RFC 9112, section 6.1).
- A mistake of ours is logged with its trace and the request id, and answered as a problem (500) that names the id.
- Every request leaves one line: request id, the token's name, the route (its template, so no id), status, time. Never
  a query, a token or a key. What only asks whether the service is alive leaves none.
- A client that takes no part of an answer for 30 seconds is not sent the rest. A long answer is sent in pieces.
- A caller that is not known is answered at the pace of ``baizebook.web.unknown_callers``.
"""

import asyncio
import logging
import os
import re
import time
from collections.abc import Iterable, Iterator
from typing import Any

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .error_answers import problem_response
from .errors import Problem
from .metrics import Metrics
from .redaction import without_tokens

_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,80}", re.ASCII)
SEND_WITHIN_S = 30
GZIP_FROM_BYTES = 1_000
PIECE_BYTES = 64 * 1024
_log = logging.getLogger("uvicorn.error")
REQUESTS = logging.getLogger("baizebook.requests")
_PROBES = frozenset({"/healthz", "/readyz"})
_EXPOSED = ("ETag", "Link", "Location", "Retry-After", "X-Request-Id")
_ACCEPTED = ("Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "X-Request-Id")


def cors(origins: str) -> dict[str, Any]:
    """Return the options by which pages of these origins may call the service with a token; never with cookies."""
    return {
        "allow_origins": origins.split(","),
        "allow_methods": ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"],
        "allow_headers": list(_ACCEPTED),
        "expose_headers": list(_EXPOSED),
        "max_age": 600,
    }


class Frame:
    """ASGI middleware: ``X-Request-Id`` on every answer, the client's own if it sent a sane one.

    Goes through ``compressing`` only where the client takes gzip; both lead to the same application.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.compressing = GZipMiddleware(app, minimum_size=GZIP_FROM_BYTES, compresslevel=5)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, a HEAD as the GET whose body is left out."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        sent: dict[bytes, bytes] = dict(scope["headers"])
        id_sent = sent.get(b"x-request-id", b"").decode("latin-1")
        is_sane = _SANE_ID.fullmatch(id_sent) and without_tokens(id_sent) == id_sent
        request_id = id_sent if is_sane else os.urandom(16).hex()
        app = self.compressing if b"gzip" in sent.get(b"accept-encoding", b"") else self.app
        head = scope["method"] == "HEAD"
        state: dict[str, Any] = {**scope.get("state", {})}
        held: list[Message] = []
        begun, status, started = False, 500, time.perf_counter()

        async def framed(message: Message) -> None:
            """Send an answer in pieces with a deadline for each; its start is held back until its first part."""
            nonlocal begun, status
            if message["type"] == "http.response.start":
                status = message["status"]
                if state.get("principal") is None and scope["path"] not in _PROBES:
                    await scope["app"].state.unknown_callers.wait()
                held[:] = [{**message, "headers": _with_ours(message.get("headers", ()), request_id)}]
                return
            if held and _is_long(message):
                MutableHeaders(scope=held[0]).add_vary_header("Accept-Encoding")
            if head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            begun = True
            for piece in _in_pieces(message):
                async with asyncio.timeout(SEND_WITHIN_S):
                    for part in (*held, piece):
                        await send(part)
                held.clear()

        if b"transfer-encoding" in sent and b"content-length" in sent:
            detail = "Give the length of a message in one way only."
            await problem_response(Problem("malformed", detail, headers={"Connection": "close"}), Request(scope))(
                scope, receive, framed
            )
            return
        inner: dict[str, Any] = {**scope, "method": "GET" if head else scope["method"], "state": state}
        try:
            await app(inner, receive, framed)
        except Exception:
            _log.exception("A mistake in the service; request %s", request_id)
            if begun:
                raise
            detail = f"The mistake is logged under the request id {request_id}. Nothing was stored."
            await problem_response(Problem("internal_error", detail), Request(scope))(scope, receive, framed)
        finally:
            if scope["path"] not in _PROBES:
                _note(scope, state, status=status, request_id=request_id, seconds=time.perf_counter() - started)


def _with_ours(headers: Iterable[tuple[bytes, bytes]], request_id: str) -> list[tuple[bytes, bytes]]:
    """Return the headers of an answer with ours, which no operation sets."""
    framed = [*headers, (b"x-request-id", request_id.encode()), (b"x-content-type-options", b"nosniff")]
    if b"cache-control" not in dict(framed):
        framed.append((b"cache-control", b"no-store"))
    return framed


def _in_pieces(message: Message) -> Iterator[Message]:
    """Yield a part of an answer in pieces of at most ``PIECE_BYTES``: the connection of a slow client holds no more."""
    body = message.get("body", b"")
    for start in range(0, len(body) - PIECE_BYTES, PIECE_BYTES):
        yield {**message, "body": body[start : start + PIECE_BYTES], "more_body": True}
    yield (
        message if len(body) <= PIECE_BYTES else {**message, "body": body[-(len(body) % PIECE_BYTES or PIECE_BYTES) :]}
    )


def _is_long(message: Message) -> bool:
    """Tell whether an answer is one that is compressed for those who take that."""
    return len(message.get("body", b"")) >= GZIP_FROM_BYTES or message.get("more_body", False)


def _note(scope: Scope, state: dict[str, Any], *, status: int, request_id: str, seconds: float) -> None:
    """Count a request and write its line."""
    principal, route = state.get("principal"), state.get("route", "other")
    metrics: Metrics = scope["app"].state.metrics
    metrics.count(method=scope["method"], route=route, status=status, seconds=seconds)
    line = {
        "request_id": request_id,
        "token": None if principal is None else principal.name,
        "method": scope["method"],
        "route": route,
        "status": status,
        "ms": round(seconds * 1000, 1),
    }
    if REQUESTS.isEnabledFor(logging.INFO):  # as ``info`` does, but without a walk up the stack for the caller's line
        args = (scope["method"], route, status)
        record = REQUESTS.makeRecord(
            REQUESTS.name, logging.INFO, __file__, 0, "%s %s %s", args, None, extra={"request": line}
        )
        REQUESTS.handle(record)
