"""What stands around every answer: a request id, HEAD wherever GET is, and headers that keep answers private."""

import re
import uuid
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
        sent = Headers(scope=scope).get("x-request-id", "")
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

        inner: dict[str, Any] = {**scope, "method": "GET"} if head else dict(scope)
        await self.app(inner, receive, framed)
