"""A line of the log cannot be forged: not by an address that a proxy passes on, nor by a path."""

from typing import Any

import anyio
import pytest
from baizebook.ops.serve import _printable
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware


@pytest.mark.parametrize(
    ("sent", "written"),
    [
        ("203.0.113.9\x1b[2J", r"203.0.113.9\x1b[2J"),
        ("9.9.9.9\r\n127.0.0.1 GET /", r"9.9.9.9\r\n127.0.0.1 GET /"),
        ("\u202e9.9.9.9", r"\u202e9.9.9.9"),
    ],
)
def test_what_a_terminal_could_obey_is_written_as_an_escape(sent: str, written: str) -> None:
    assert _printable(sent) == written


@pytest.mark.parametrize(("peer", "seen"), [("127.0.0.1", "203.0.113.9"), ("198.51.100.7", "198.51.100.7")])
def test_an_address_that_is_passed_on_counts_only_from_the_trusted_proxy(peer: str, seen: str) -> None:
    found: list[str] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:  # noqa: ARG001
        found.append(scope["client"][0])

    headers = [(b"x-forwarded-for", b"203.0.113.9")]
    scope: Any = {"type": "http", "client": (peer, 1), "headers": headers, "scheme": "http"}
    anyio.run(ProxyHeadersMiddleware(app, trusted_hosts="127.0.0.1"), scope, None, None)
    assert found == [seen]
