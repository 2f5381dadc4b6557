"""Hostile clients, through a real nginx with the guide's settings: dropped or refused, and others do not notice."""

import contextlib
import gzip
import json
import socket
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import pytest

from tests.databases import OWNER_TOKEN, sqlite_database
from tests.faults.hostile import ATTACKS, attack_at_once
from tests.serving import behind_nginx, served

pytestmark = pytest.mark.xdist_group("behind nginx")
DROPPED = {408, None}
REFUSED_AS = {
    "half_a_head": DROPPED,
    "nothing_at_all": DROPPED,
    "a_head_byte_by_byte": DROPPED,
    "a_body_byte_by_byte": DROPPED,
    "a_body_that_never_comes": DROPPED,
    "a_body_nobody_needs": {200},
    "a_huge_header": {400, None},
    "a_huge_address": {414, None},
    "a_huge_body": {413, None},
    "a_huge_body_in_chunks": {413, None},
    "a_body_that_swells": {413},
    "two_lengths": {400},
    "lengths_that_differ": {400},
    "a_negative_length": {400},
    "an_unknown_coding": {400, 501},
    "a_chunk_of_no_size": {400},
    "no_http_at_all": {400},
}
"""By what status; none where the connection ends on somebody who is still sending."""


SLOW_VENUE = json.dumps({"name": "Far away", "time_zone": "America/New_York", "currency": "USD"}).encode()


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    """The address of nginx in front of the service, the same for all tests here."""
    with sqlite_database() as database, served(database) as service, behind_nginx(service) as url:
        yield url


@pytest.fixture(scope="module", autouse=True)
def slow_answer(url: str) -> Iterator[Future[bytes]]:
    """The answer to a venue whose body comes in twelve pieces, one a second, beside everything else."""
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(send_slowly, port_of(url), b" " * (60_000 - len(SLOW_VENUE)) + SLOW_VENUE)


def port_of(url: str) -> int:
    return int(url.rsplit(":", 1)[1])


def send_slowly(port: int, body: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port)) as client:
        head = f"POST /v1/venues HTTP/1.1\r\nHost: bar\r\nAuthorization: Bearer {OWNER_TOKEN}\r\n"
        client.sendall(f"{head}Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n".encode())
        for start in range(0, len(body), 5_000):
            client.sendall(body[start : start + 5_000])
            time.sleep(1)
        client.settimeout(5)
        return client.recv(100)


def names(url: str) -> set[str]:
    request = urllib.request.Request(f"{url}/v1/venues", headers={"Authorization": f"Bearer {OWNER_TOKEN}"})
    with urllib.request.urlopen(request, timeout=5) as answer:
        return {venue["name"] for venue in json.load(answer)["items"]}


def test_hostile_clients_are_dropped_or_refused_and_store_nothing(url: str) -> None:
    ended = attack_at_once(port_of(url), ATTACKS)
    wrong = {name: end for name, end in ended.items() if end.status not in REFUSED_AS[name]}
    assert wrong == {}
    assert names(url) <= {"Far away"}


def test_half_open_connections_lock_nobody_out(url: str) -> None:
    crowd = []
    try:
        for _ in range(1200):
            with contextlib.suppress(OSError):
                crowd.append(socket.create_connection(("127.0.0.1", port_of(url)), timeout=2))
        assert names(url) <= {"Far away"}
    finally:
        for one in crowd:
            one.close()


@pytest.mark.parametrize("size", [100, 100_000, 5_000_000])
def test_whoever_has_no_token_is_told_so_though_a_body_was_sent(url: str, size: int) -> None:
    body = gzip.compress(b"[" * size * 100, 1)[:size].ljust(size)
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    for _ in range(5):  # a connection reset too early loses the answer only now and then
        request = urllib.request.Request(f"{url}/v1/venues", body, headers)
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=10)
        assert refused.value.code == 401
        assert json.load(refused.value)["code"] == "no_token"
        refused.value.close()


def test_a_slow_but_steady_body_is_waited_for(url: str, slow_answer: Future[bytes]) -> None:
    assert slow_answer.result(20).startswith(b"HTTP/1.1 201")
    assert names(url) == {"Far away"}
