"""Posting to the target that was checked and to no other; a receiver that is slow, or not who it says it is, gets nothing done."""

import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import anyio
import pytest
import trustme
from baizebook.ops import webhook_post
from baizebook.webhooks.retry import Tried

from tests.webhooks.receiver import Answer, endless_head, hang_up, no_http, receiving

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)


def post(url: str, *, any_address: bool = True) -> Tried:
    async def send() -> Tried:
        return await webhook_post.post(url, b"{}", {"webhook-id": "an-id"}, any_address=any_address, now=NOW)

    return anyio.run(send)


@contextmanager
def listening(
    answer: bytes, *, context: ssl.SSLContext | None = None, every_s: float = 0.0
) -> Iterator[tuple[int, list[bytes]]]:
    """Yield the port of a server that sends these bytes, one every so often, and what it got."""
    got: list[bytes] = []
    server = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        while True:
            try:
                raw, _ = server.accept()
                with context.wrap_socket(raw, server_side=True) if context else raw as connection:
                    got.append(connection.recv(65536))
                    for byte in answer if every_s else [answer]:
                        connection.sendall(bytes([byte]) if isinstance(byte, int) else byte)
                        time.sleep(every_s)
            except (OSError, ssl.SSLError):
                if server.fileno() < 0:
                    return

    threading.Thread(target=serve, daemon=True).start()
    try:
        yield server.getsockname()[1], got
    finally:
        server.close()


OK = b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n"


def resolving(monkeypatch: pytest.MonkeyPatch, *answers: list[str]) -> list[str]:
    """Let names have these addresses, one answer after the other; return the names that were looked up."""
    asked, left = [], list(answers)

    async def look_up(host: str, port: int, **_: Any) -> list[Any]:
        asked.append(host)
        found = left.pop(0) if len(left) > 1 else left[0]
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port)) for address in found]

    monkeypatch.setattr(anyio, "getaddrinfo", look_up)
    return asked


def test_a_name_is_looked_up_once_and_the_connection_goes_to_what_was_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    with listening(OK) as (port, got):
        asked = resolving(monkeypatch, ["127.0.0.1"], ["192.0.2.1"])
        assert post(f"http://display.example:{port}/hooks?a=b").status == 200
    assert asked == ["display.example"]
    head = got[0].decode().lower()
    assert head.startswith("post /hooks?a=b http/1.1\r\n")
    assert f"host: display.example:{port}\r\n" in head
    assert "webhook-id: an-id\r\n" in head


@pytest.mark.parametrize("addresses", [["127.0.0.1"], ["93.184.216.34", "127.0.0.1"], ["::ffff:127.0.0.1"]])
def test_a_name_with_an_address_that_is_not_public_is_not_connected_to(
    monkeypatch: pytest.MonkeyPatch, addresses: list[str]
) -> None:
    with listening(OK) as (port, got):
        resolving(monkeypatch, addresses)
        tried = post(f"https://display.example:{port}/", any_address=False)
    assert (tried.status, got) == (None, [])
    assert "not public, expected a public address" in tried.says


def test_an_http_address_is_refused_where_only_public_ones_are_allowed() -> None:
    tried = post("http://display.example/", any_address=False)
    assert (tried.status, tried.says) == (
        None,
        "Not sent: found http scheme, expected an https address that is public.",
    )


def test_a_proxy_of_the_environment_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    with listening(OK) as (proxy, of_proxy), listening(OK) as (port, got):
        for name in ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "http_proxy", "all_proxy"):
            monkeypatch.setenv(name, f"http://127.0.0.1:{proxy}")
        assert post(f"http://127.0.0.1:{port}/").status == 200
    assert (len(got), of_proxy) == (1, [])


def test_a_receiver_that_drips_is_left_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(webhook_post, "TRY_S", 0.4)
    with listening(b"HTTP/1.1 200 OK\r\n" + b"x" * 1000, every_s=0.02) as (port, _):
        began = time.monotonic()
        tried = post(f"http://127.0.0.1:{port}/")
    assert (tried.status, tried.says) == (None, "No answer within 0.4 s.")
    assert time.monotonic() - began < 3


def test_interim_answers_are_passed_over_and_retry_after_is_heeded() -> None:
    with listening(b"HTTP/1.1 102 Processing\r\n\r\n" * 3 + b"HTTP/1.1 503 Busy\r\nRetry-After: 90\r\n\r\n") as (
        port,
        _,
    ):
        tried = post(f"http://127.0.0.1:{port}/")
    assert (tried.status, tried.retry_after and tried.retry_after.total_seconds()) == (503, 90)


@pytest.mark.parametrize(
    ("name", "known", "status", "says"),
    [
        ("display.example", True, 200, "Answered 200."),
        ("other.example", True, None, "The certificate is not accepted: Hostname mismatch"),
        ("display.example", False, None, "The certificate is not accepted: unable to get local issuer certificate"),
    ],
)
def test_the_certificate_must_be_of_the_name_by_a_known_authority(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str, known: bool, status: int | None, says: str
) -> None:
    authority = trustme.CA()
    trusted = tmp_path / "authorities.pem"
    (authority if known else trustme.CA()).cert_pem.write_to_path(str(trusted))
    monkeypatch.setenv("SSL_CERT_FILE", str(trusted))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("display.example").configure_cert(context)
    resolving(monkeypatch, ["127.0.0.1"])
    with listening(OK, context=context) as (port, _):
        tried = post(f"https://{name}:{port}/")
    assert (tried.status, tried.says[: len(says)]) == (status, says)


def test_nothing_said_repeats_the_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    tried = post(f"http://127.0.0.1:{port}/a-secret-path")
    assert tried.status is None
    assert "secret" not in tried.says
    assert tried.says == "No connection: connection refused."


@pytest.mark.parametrize("answer", [endless_head, no_http, hang_up])
def test_what_is_no_answer_by_http_is_said(answer: Answer) -> None:
    with receiving(answer) as receiver:
        tried = post(receiver.url)
    assert tried.says == "The receiver does not answer by HTTP, or closed the connection."
