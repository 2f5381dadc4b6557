"""The service in this process, asked without a server: what an answer takes of the processor, and nothing of HTTP."""

import asyncio
import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from time import perf_counter, process_time
from typing import Any

from baizebook.app import create_app
from baizebook.store.db import make_engine
from sqlalchemy import Engine

from tests.databases import OWNER_TOKEN, settings_for

_HEADERS = [
    (b"host", b"127.0.0.1:8000"),
    (b"authorization", f"Bearer {OWNER_TOKEN}".encode()),
    (b"content-type", b"application/json"),
]


class Service:
    """The application on a database, with the owner's token."""

    def __init__(self, url: str) -> None:
        self.engine: Engine = make_engine(settings_for(url))
        self._app = create_app(settings_for(url), self.engine)
        self._loop = asyncio.new_event_loop()
        self.processor_s = self.elapsed_s = 0.0
        """What the last answer took."""
        self.now: datetime | None = None
        """The instant of the service's clock; None: it goes with the machine's."""
        of_machine = self._app.state.clock
        self._app.state.clock = lambda: self.now or of_machine()

    def get(self, path: str) -> Any:
        """Ask, and return the answer, which must be a success."""
        return json.loads(self._ask("GET", path, b"") or b"null")

    def text(self, path: str) -> str:
        """Ask, and return the text of the answer, which must be a success."""
        return self._ask("GET", path, b"").decode()

    def post(self, path: str, body: Any) -> Any:
        """Send a body, and return the answer, which must be a success."""
        return json.loads(self._ask("POST", path, json.dumps(body).encode()) or b"null")

    def _ask(self, method: str, path: str, body: bytes) -> bytes:
        began, used = perf_counter(), process_time()
        status, answered = self._loop.run_until_complete(self._send(method, path, body))
        self.elapsed_s, self.processor_s = perf_counter() - began, process_time() - used
        if status >= 300:
            raise SystemExit(f"{method} {path}: {status} {answered[:500]!r}")
        return answered

    async def _send(self, method: str, path: str, body: bytes) -> tuple[int, bytes]:
        status, answered, parts = 0, bytearray(), [body]

        async def receive() -> dict[str, Any]:
            if not parts:
                await asyncio.Event().wait()
            return {"type": "http.request", "body": parts.pop(), "more_body": False}

        async def send(message: Any) -> None:
            nonlocal status
            status = message.get("status", status)
            answered.extend(message.get("body", b""))

        address, _, query = path.partition("?")
        scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": f"/v1{address}",
            "raw_path": f"/v1{address}".encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [*_HEADERS, (b"content-length", str(len(body)).encode())],
            "client": ("127.0.0.1", 1),
            "server": ("127.0.0.1", 8000),
            "state": {},
        }
        await self._app(scope, receive, send)
        return status, bytes(answered)

    def close(self) -> None:
        """Let go of the database."""
        self._app.state.kept.close()
        self.engine.dispose()
        self._loop.run_until_complete(self._loop.shutdown_default_executor())
        self._loop.close()


@contextmanager
def service(url: str) -> Iterator[Service]:
    """Yield the service on a database."""
    made = Service(url)
    try:
        yield made
    finally:
        made.close()
