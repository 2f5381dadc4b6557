"""What stands around every answer: a request id, HEAD wherever GET is, and headers that keep answers private.

A message that gives its length in two ways is refused and its connection ended: two readers could cut it differently
(RFC 9112, section 6.1).
"""

import re
import uuid
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .errors import Problem, problem_response

_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,80}", re.ASCII)


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

        async def framed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["X-Request-Id"] = request_id
                headers["X-Content-Type-Options"] = "nosniff"
                headers.setdefault("Cache-Control", "no-store")
            elif head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        if "transfer-encoding" in headers and "content-length" in headers:
            detail = "Give the length of a message in one way only."
            await problem_response(Problem("malformed", detail, headers={"Connection": "close"}))(
                scope, receive, framed
            )
            return
        inner: dict[str, Any] = {**scope, "method": "GET"} if head else dict(scope)
        await self.app(inner, receive, framed)
