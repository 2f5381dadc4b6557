"""The order of a request: headers, token, limits, body. A caller without a token costs nothing but its headers."""

import json
import re
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import anyio
import baizebook.web.body
import pytest
from baizebook.web.body import Bodies, strict_json
from baizebook.web.errors import Problem
from baizebook.web.unguarded_operations import OPEN
from fastapi.testclient import TestClient

from tests.conftest import Route

VENUE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}


def ask_without_sending(
    client: TestClient, method: str, path: str, headers: dict[str, str]
) -> tuple[int, dict[str, str], bool]:
    """Call the application with a body that is announced and not sent.

    Return status, headers, and whether the body was awaited before the whole answer was sent.
    """
    asked = False
    started: dict[str, Any] = {}
    answer = b""

    async def receive() -> dict[str, Any]:
        nonlocal asked
        asked = asked or not answer
        return {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        nonlocal answer
        if message["type"] == "http.response.start":
            started.update(message)
        answer += message.get("body", b"")

    async def call() -> None:
        sent = {"content-length": "8000", "content-encoding": "gzip", "content-type": "application/json", **headers}
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "path": path,
            "raw_path": path.encode(), "query_string": b"", "root_path": "", "scheme": "http",
            "headers": [(name.lower().encode(), value.encode()) for name, value in sent.items()],
            "client": ("203.0.113.9", 1), "server": ("testserver", 80), "state": {},
        }  # fmt: skip
        await client.app(scope, receive, send)  # type: ignore[arg-type]

    assert client.portal is not None
    client.portal.call(call)
    answered = {name.decode(): value.decode() for name, value in started["headers"]}
    assert len(answer) == int(answered["content-length"]), "the answer is whole"
    return started["status"], answered, asked


def operations(contract: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for path, item in contract["paths"].items():
        for method, operation in item.items():
            if operation["operationId"] not in OPEN:
                yield method.upper(), re.sub(r"\{.*?\}", str(uuid4()), path)


def test_of_a_caller_without_a_token_no_byte_of_a_body_is_read(client: TestClient, contract: dict[str, Any]) -> None:
    tried = 0
    for method, path in operations(contract):
        for headers in ({}, {"Authorization": "Bearer bz_nobodys"}, {"Authorization": "Basic abc"}):
            status, answered, asked = ask_without_sending(client, method, path, headers)
            assert (status, asked) == (401, False), (method, path)
            assert answered["connection"] == "close"
            tried += 1
    assert tried > 150


def test_of_a_role_without_the_operation_no_byte_of_a_body_is_read(client: TestClient, route: Route) -> None:
    status, answered, asked = ask_without_sending(client, "POST", "/v1/venues", route.token("collector"))
    assert (status, asked) == (403, False)
    assert answered["connection"] == "close"


def test_parameters_that_do_not_exist_are_refused_before_the_body_is_read(client: TestClient) -> None:
    headers = {"Authorization": str(client.headers["Authorization"])}
    assert ask_without_sending(client, "POST", "/v1/venues", headers)[2], "the control: with a token the body is read"
    answer = client.post("/v1/venues?colour=green", content=b"[" * 100)
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (422, "query.colour")


def test_a_body_that_is_announced_too_large_is_not_read(client: TestClient) -> None:
    headers = {"Authorization": str(client.headers["Authorization"]), "content-length": "9000000"}
    status, answered, asked = ask_without_sending(client, "POST", "/v1/venues", headers)
    assert (status, asked, answered["connection"]) == (413, False, "close")


def test_a_body_that_does_not_come_is_given_up(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(baizebook.web.body, "PERIOD_S", 0.05)
    statuses: list[int] = []

    async def call() -> None:
        async def receive() -> dict[str, Any]:
            await anyio.sleep(0.02)
            return {"type": "http.request", "body": b" ", "more_body": True}

        async def send(message: dict[str, Any]) -> None:
            if message["type"] == "http.response.start":
                statuses.append(message["status"])

        token = str(client.headers["Authorization"]).encode()
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "path": "/v1/venues",
            "raw_path": b"/v1/venues", "query_string": b"", "root_path": "", "scheme": "http",
            "headers": [(b"authorization", token), (b"content-type", b"application/json")],
            "client": ("203.0.113.9", 1), "server": ("testserver", 80), "state": {},
        }  # fmt: skip
        with anyio.fail_after(5):
            await client.app(scope, receive, send)  # type: ignore[arg-type]

    assert client.portal is not None
    client.portal.call(call)
    assert statuses == [408]
    assert client.app.state.bodies.number == 0  # type: ignore[attr-defined]


def test_bodies_at_once_are_bounded_in_number_and_in_sum(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    bodies: Bodies = client.app.state.bodies  # type: ignore[attr-defined]
    monkeypatch.setattr(baizebook.web.body, "BODIES_MAX", 1)
    with bodies.held():
        answer = client.post("/v1/venues", json=VENUE)
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "1")
    monkeypatch.setattr(baizebook.web.body, "BODIES_BYTES_MAX", 100)
    assert client.post("/v1/venues", json={**VENUE, "notes": "x" * 100}).status_code == 503
    assert client.post("/v1/venues", json=VENUE).status_code == 201
    assert (bodies.number, bodies.size_bytes) == (0, 0)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("[" + ",".join("1" for _ in range(200_000)) + "]", "too many values"),
        ("[" + ",".join("[]" for _ in range(200_000)) + "]", "too many values"),
        ("[" + ",".join('{"a":1}' for _ in range(100_000)) + "]", "too many values"),
        ("[" * 33 + "]" * 33, "deep nesting"),
        ("[" * 150_000 + "]" * 150_000, "deep nesting"),
        ('{"a": 1, "b": 2, "a": 3}', 'the name "a" twice in one object'),
        ('["\\ud800"]', "half a surrogate pair"),
        ('{"\\udc00": 1}', "half a surrogate pair"),
        ("[1e999]", "a number too large"),
        ("[NaN]", "NaN"),
        ("[-Infinity]", "-Infinity"),
        ('["a\\u0000b"]', "a NUL character"),
    ],
)
def test_what_two_readers_could_read_differently_or_is_too_much_is_refused(text: str, found: str) -> None:
    with pytest.raises(Problem) as refused:
        strict_json(text)
    assert refused.value.errors[0].found == found


def test_as_many_values_and_levels_as_allowed_are_read() -> None:
    most = [1] * 199_999
    assert strict_json(json.dumps(most)) == most
    commas_in_texts = ["," * 1000] * 1000
    assert strict_json(json.dumps(commas_in_texts)) == commas_in_texts
    quotes = ['\\",[{' * 300, "\\\\"] * 500
    assert strict_json(json.dumps(quotes)) == quotes
    empty = [[], {}] * 99_999
    assert strict_json(json.dumps(empty)) == empty
    assert strict_json("[" * 32 + "]" * 32)


def test_errors_are_the_first_hundred_and_how_many_more(client: TestClient) -> None:
    extra = {f"field{number}": number for number in range(250)}
    problem = client.post("/v1/venues", json={**VENUE, **extra}).json()
    assert (len(problem["errors"]), problem["more_errors"]) == (100, 150)
    problem = client.get("/v1/venues?" + "&".join(f"p{number}=1" for number in range(250))).json()
    assert (len(problem["errors"]), problem["more_errors"]) == (100, 150)
    assert client.get("/v1/venues?limit=0").json()["more_errors"] == 0
