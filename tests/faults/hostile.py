"""What hostile clients send, byte by byte, and how long the service puts up with it."""

import gzip
import json
import socket
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass

from tests.databases import OWNER_TOKEN
from tests.faults.fault import check

PATIENCE_S = 20
HEAD = f"Host: bar\r\nAuthorization: Bearer {OWNER_TOKEN}\r\n".encode()
JSON = b"Content-Type: application/json\r\n"
POST = b"POST /v1/venues HTTP/1.1\r\n" + HEAD + JSON
VENUE = json.dumps({"name": "Smuggled", "time_zone": "America/New_York", "currency": "USD"}).encode()
_BIG = 50_000_000

Attack = Callable[[], Iterator[bytes]]


def half_a_head() -> Iterator[bytes]:
    """Half a head, and then nothing."""
    yield POST[:60]


def nothing_at_all() -> Iterator[bytes]:
    """A connection on which nobody says anything."""
    yield b""


def a_head_byte_by_byte() -> Iterator[bytes]:
    """A head, one byte a second."""
    for byte in POST * 3:
        yield bytes([byte])
        time.sleep(1)


def a_body_byte_by_byte() -> Iterator[bytes]:
    """A body, one byte a second."""
    yield POST + b"Content-Length: 5000\r\n\r\n"
    for byte in VENUE * 50:
        yield bytes([byte])
        time.sleep(1)


def a_body_that_never_comes() -> Iterator[bytes]:
    """A body that is announced and does not come."""
    yield POST + b"Content-Length: 5000\r\n\r\n"


def a_body_nobody_needs() -> Iterator[bytes]:
    """A body behind a GET, one byte a second, while the answer has long been sent."""
    yield b"GET /healthz HTTP/1.1\r\n" + HEAD + b"Content-Length: 5000\r\n\r\n"
    while True:
        yield b"x"
        time.sleep(1)


def a_huge_header() -> Iterator[bytes]:
    """One header of 50 MB."""
    yield b"GET /healthz HTTP/1.1\r\nHost: bar\r\nX-Big: "
    for _ in range(_BIG // 50_000):
        yield b"a" * 50_000


def a_huge_address() -> Iterator[bytes]:
    """An address of 50 MB."""
    yield b"GET /"
    for _ in range(_BIG // 50_000):
        yield b"a" * 50_000


def a_huge_body() -> Iterator[bytes]:
    """A body of 50 MB, announced."""
    yield POST + f"Content-Length: {_BIG}\r\n\r\n".encode()
    for _ in range(_BIG // 50_000):
        yield b" " * 50_000


def a_huge_body_in_chunks() -> Iterator[bytes]:
    """A body of 50 MB that nothing announces."""
    yield POST + b"Transfer-Encoding: chunked\r\n\r\n"
    for _ in range(_BIG // 50_000):
        yield b"c350\r\n" + b" " * 50_000 + b"\r\n"


def a_body_that_swells() -> Iterator[bytes]:
    """A small body that inflates to 200 MB."""
    body = gzip.compress(b" " * 200_000_000, 1)
    yield POST + f"Content-Encoding: gzip\r\nContent-Length: {len(body)}\r\n\r\n".encode() + body


def two_lengths() -> Iterator[bytes]:
    """A message with a length and in chunks: two readers could cut it differently."""
    chunk = f"{len(VENUE):x}\r\n".encode() + VENUE + b"\r\n0\r\n\r\n"
    yield POST + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n" + chunk


def lengths_that_differ() -> Iterator[bytes]:
    """Two lengths that differ."""
    yield POST + f"Content-Length: {len(VENUE)}\r\nContent-Length: 4\r\n\r\n".encode() + VENUE


def a_negative_length() -> Iterator[bytes]:
    """A length below zero."""
    yield POST + b"Content-Length: -4\r\n\r\n" + VENUE


def an_unknown_coding() -> Iterator[bytes]:
    """A coding that is hidden behind another."""
    yield POST + b"Transfer-Encoding: identity, chunked\r\n\r\n0\r\n\r\n"


def a_chunk_of_no_size() -> Iterator[bytes]:
    """A chunk whose size is no number."""
    yield POST + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n" + VENUE


def no_http_at_all() -> Iterator[bytes]:
    """Bytes that are no HTTP."""
    yield bytes(range(256)) * 100


ATTACKS: tuple[Attack, ...] = (
    half_a_head,
    nothing_at_all,
    a_head_byte_by_byte,
    a_body_byte_by_byte,
    a_body_that_never_comes,
    a_body_nobody_needs,
    a_huge_header,
    a_huge_address,
    a_huge_body,
    a_huge_body_in_chunks,
    a_body_that_swells,
    two_lengths,
    lengths_that_differ,
    a_negative_length,
    an_unknown_coding,
    a_chunk_of_no_size,
    no_http_at_all,
)


@dataclass(frozen=True, slots=True)
class Ended:
    """How an attack ended: the status that came first, if any, and after how long the connection was gone."""

    status: int | None
    after_s: float


def attack(port: int, send: Attack) -> Ended:
    """Send what an attack sends until the service ends the connection; ``Broken`` where it does not in time."""
    began = time.monotonic()
    answer = b""
    with socket.create_connection(("127.0.0.1", port)) as client:
        client.settimeout(0.05)
        pieces = send()
        while time.monotonic() - began < PATIENCE_S:
            try:
                if piece := next(pieces, b""):
                    client.settimeout(2)
                    client.sendall(piece)
                    client.settimeout(0.05 if len(piece) < 50_000 else 0.0001)
                came = client.recv(65536)
                answer += came
                if not came:
                    break
            except TimeoutError:
                continue
            except OSError:
                break
        else:
            check(False, f"{send.__name__}: the connection is still there after {PATIENCE_S} s")
    with suppress(IndexError, ValueError):
        return Ended(int(answer.split(b" ", 2)[1]), time.monotonic() - began)
    return Ended(None, time.monotonic() - began)


def attack_at_once(port: int, attacks: tuple[Attack, ...]) -> dict[str, Ended]:
    """Attack in many ways at once."""
    with ThreadPoolExecutor(len(attacks)) as pool:
        return dict(
            zip((send.__name__ for send in attacks), pool.map(lambda send: attack(port, send), attacks), strict=True)
        )
