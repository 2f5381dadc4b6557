"""What is still arriving behind an early refusal: thrown away for a moment, so that the refusal is not lost.

- A connection that is closed while bytes still arrive is reset, and a proxy then answers 502 in place of the 401 or 413
  that it was sent (RFC 9112, section 9.6).
- The whole answer is sent first. Only then is the rest of the body read, unseen, for at most ``LINGER_S`` seconds.
"""

import anyio
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LINGER_S = 2


class BodyAfterRefusal:
    """ASGI middleware: an answer with ``Connection: close`` to a body that was not read ends a moment later."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; keep back the end of such an answer until the body has come, or time is up."""
        headers: dict[bytes, bytes] = dict(scope["headers"]) if scope["type"] == "http" else {}
        has_body = headers.get(b"content-length", b"0") != b"0" or b"transfer-encoding" in headers
        if not has_body or b"expect" in headers:  # who expects 100 (Continue) sends no body after a refusal
            await self.app(scope, receive, send)
            return
        closes, arriving = False, True

        async def received() -> Message:
            nonlocal arriving
            message = await receive()
            arriving = arriving and message["type"] == "http.request" and message.get("more_body", False)
            return message

        async def answered(message: Message) -> None:
            nonlocal closes
            if message["type"] == "http.response.start":
                closes = Headers(raw=message["headers"]).get("connection") == "close"
            is_last = message["type"] == "http.response.body" and not message.get("more_body", False)
            if not (is_last and closes and arriving):
                await send(message)
                return
            await send({**message, "more_body": True})
            with anyio.move_on_after(LINGER_S):
                while arriving:
                    await received()
            await send({"type": "http.response.body", "body": b""})

        await self.app(scope, received, answered)
