"""The frame of every answer: a request id, HEAD wherever GET is, headers that keep answers private, and deadlines.

- A message that gives its length in two ways is refused and its connection ended: two readers could cut it differently
  (RFC 9112, section 6.1).
- A mistake of ours is logged with its trace and the request id, and answered as a problem (500) that names the id.
- A client that takes no part of an answer for 30 seconds is not sent the rest.
"""

import logging
import re
import uuid
from typing import Any

import anyio
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .errors import Problem, problem_response

_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,80}", re.ASCII)
SEND_WITHIN_S = 30
_log = logging.getLogger("uvicorn.error")


class Frame:
    """ASGI middleware: ``X-Request-Id`` on every answer, the client's own if it sent a sane one."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, a HEAD as the GET whose body is left out."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        sent = headers.get("x-request-id", "")
        request_id = sent if _SANE_ID.fullmatch(sent) else uuid.uuid4().hex
        head = scope["method"] == "HEAD"
        begun = False

        async def framed(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                headers["X-Request-Id"] = request_id
                headers["X-Content-Type-Options"] = "nosniff"
                headers.setdefault("Cache-Control", "no-store")
            elif head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            with anyio.fail_after(SEND_WITHIN_S):
                await send(message)

        if "transfer-encoding" in headers and "content-length" in headers:
            detail = "Give the length of a message in one way only."
            await problem_response(Problem("malformed", detail, headers={"Connection": "close"}))(
                scope, receive, framed
            )
            return
        inner: dict[str, Any] = {**scope, "method": "GET"} if head else dict(scope)
        try:
            await self.app(inner, receive, framed)
        except Exception:
            _log.exception("A mistake in the service; request %s", request_id)
            if begun:
                raise
            detail = f"The mistake is logged under the request id {request_id}. Nothing was stored."
            await problem_response(Problem("internal_error", detail))(scope, receive, framed)
