"""Hostile clients: what is half there is dropped, what is too large or no HTTP is refused, and others do not notice."""

import contextlib
import json
import socket
import threading
import time
import urllib.request
from typing import Any

import pytest
import uvicorn
from baizebook.ops import connection

from tests.databases import OWNER_TOKEN, sqlite_database
from tests.faults.hostile import ATTACKS, attack_at_once
from tests.serving import free_port, served

REFUSED_AS = {
    "half_a_head": {408},
    "nothing_at_all": {408},
    "a_head_byte_by_byte": {408},
    "a_body_byte_by_byte": {408},
    "a_body_that_never_comes": {408},
    "a_body_nobody_needs": {200},
    "a_huge_header": {400, None},
    "a_huge_address": {400, None},
    "a_huge_body": {413, None},
    "a_huge_body_in_chunks": {413, None},
    "a_body_that_swells": {413},
    "two_lengths": {400},
    "lengths_that_differ": {400},
    "a_negative_length": {400},
    "an_unknown_coding": {400},
    "a_chunk_of_no_size": {400},
    "no_http_at_all": {400},
}
"""By what status; none where the service hangs up on somebody who is still sending."""


def answered(port: int, request: bytes) -> tuple[int, dict[str, str], bytes]:
    with socket.create_connection(("127.0.0.1", port)) as client:
        client.settimeout(15)
        client.sendall(request)
        answer = b""
        while piece := client.recv(65536):
            answer += piece
    head, _, body = answer.partition(b"\r\n\r\n")
    status, *lines = head.decode().split("\r\n")
    return int(status.split(" ")[1]), {k.lower(): v for k, v in (line.split(": ", 1) for line in lines)}, body


def names(url: str) -> list[str]:
    request = urllib.request.Request(f"{url}/v1/venues", headers={"Authorization": f"Bearer {OWNER_TOKEN}"})
    with urllib.request.urlopen(request, timeout=5) as answer:
        return [venue["name"] for venue in json.load(answer)["items"]]


def test_hostile_clients_are_dropped_or_refused_and_store_nothing() -> None:
    with sqlite_database() as database, served(database) as url:
        ended = attack_at_once(int(url.rsplit(":", 1)[1]), ATTACKS)
        assert names(url) == []
    for name, end in ended.items():
        assert end.status in REFUSED_AS[name], (name, end)


def test_what_is_no_http_is_answered_as_a_problem_and_half_open_connections_lock_nobody_out() -> None:
    with sqlite_database() as database, served(database) as url:
        port = int(url.rsplit(":", 1)[1])
        status, headers, body = answered(port, b"\x00\x01 what\r\n\r\n")
        assert (status, headers["content-type"]) == (400, "application/problem+json")
        assert json.loads(body)["type"] == "/problems/malformed"
        assert headers["x-request-id"]
        assert headers["connection"] == "close"

        crowd = [socket.create_connection(("127.0.0.1", port)) for _ in range(850)]
        try:
            assert names(url) == []
            crowd[0].settimeout(5)
            with contextlib.suppress(ConnectionResetError):
                assert crowd[0].recv(100) == b"", "the stalest connection made no room"
        finally:
            for one in crowd:
                one.close()


def test_a_slow_but_steady_body_is_waited_for() -> None:
    venue = json.dumps({"name": "Far away", "time_zone": "America/New_York", "currency": "USD"}).encode()
    body = b" " * (60_000 - len(venue)) + venue
    with sqlite_database() as database, served(database) as url:
        port = int(url.rsplit(":", 1)[1])
        with socket.create_connection(("127.0.0.1", port)) as client:
            head = f"POST /v1/venues HTTP/1.1\r\nHost: bar\r\nAuthorization: Bearer {OWNER_TOKEN}\r\n"
            client.sendall(f"{head}Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n".encode())
            for start in range(0, len(body), 5_000):
                client.sendall(body[start : start + 5_000])
                time.sleep(1)
            client.settimeout(5)
            assert client.recv(100).startswith(b"HTTP/1.1 201")
        assert names(url) == ["Far away"]


def test_whoever_does_not_read_an_answer_is_not_sent_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen on a server in this process that sends 50 MB, its patience set to a second."""

    async def much(scope: Any, receive: Any, send: Any) -> None:  # noqa: ARG001
        await send({"type": "http.response.start", "status": 200, "headers": []})
        for _ in range(50):
            await send({"type": "http.response.body", "body": b"x" * 1_000_000, "more_body": True})
        await send({"type": "http.response.body"})

    monkeypatch.setattr(connection, "ANSWER_STUCK_S", 1)
    config = uvicorn.Config(much, http=connection.Connection, lifespan="off", port=free_port(), log_config=None)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        with socket.create_connection(("127.0.0.1", config.port)) as client:
            client.sendall(b"GET / HTTP/1.1\r\nHost: bar\r\n\r\n")
            assert client.recv(10)
            until = time.monotonic() + 10
            while server.server_state.connections and time.monotonic() < until:
                time.sleep(0.05)
            assert not server.server_state.connections
    finally:
        server.should_exit = True
        thread.join(10)
