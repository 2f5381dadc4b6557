"""Callers that are not known are answered at a pace; those who are known, and the liveness check, never wait for it."""

import time

import anyio
import pytest
from baizebook.web.middleware import PIECE_BYTES, Frame
from baizebook.web.unknown_callers import CALLERS_AT_ONCE, CALLERS_WAITING_MAX, EVERY_S, WAIT_S_MAX, UnknownCallers
from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.types import Message

from tests.conftest import Route


def waits(number: int, callers: UnknownCallers) -> list[float]:
    """Return how long each of so many callers at once waits, in seconds."""
    took: list[float] = []
    began = time.monotonic()

    async def wait() -> None:
        await callers.wait()
        took.append(time.monotonic() - began)

    async def all_at_once() -> None:
        async with anyio.create_task_group() as tasks:
            for _ in range(number):
                tasks.start_soon(wait)

    anyio.run(all_at_once)
    return took


def test_the_first_hundred_are_answered_at_once_and_the_next_one_after_the_other() -> None:
    took = waits(CALLERS_AT_ONCE + 20, UnknownCallers())
    assert took[CALLERS_AT_ONCE - 1] < took[CALLERS_AT_ONCE] + EVERY_S / 2
    assert took[-1] - took[CALLERS_AT_ONCE - 1] >= 18 * EVERY_S


def test_nobody_waits_for_more_than_a_second_and_past_the_most_that_wait_nobody_waits() -> None:
    number = CALLERS_AT_ONCE + CALLERS_WAITING_MAX + 500
    callers = UnknownCallers()
    took = waits(number, callers)
    longest = [seconds for seconds in took if seconds > WAIT_S_MAX / 2]
    assert len(longest) <= CALLERS_WAITING_MAX, "those past the most that wait are answered at once"
    assert waits(1, callers)[0] <= WAIT_S_MAX + 1, "what is owed is at most a second"


@pytest.fixture
def crowded(route: Route) -> Route:
    """A service that so many unknown callers have just asked that the next one waits for a second."""
    route.client.get("/healthz")
    assert route.client.portal is not None
    callers: UnknownCallers = route.client.app.state.unknown_callers  # type: ignore[attr-defined]
    for _ in range(CALLERS_AT_ONCE + 60):
        route.client.portal.start_task_soon(callers.wait)
    return route


@pytest.mark.parametrize("path", ["/v1/venues", "/nothing", "/docs"])
def test_whoever_brings_no_token_waits_wherever_it_asks(crowded: Route, path: str) -> None:
    assert seconds_of(crowded.client, path, {"Authorization": ""}) > WAIT_S_MAX / 2


def test_a_wrong_token_waits_and_a_valid_one_does_not(crowded: Route) -> None:
    assert seconds_of(crowded.client, "/v1/venues", {"Authorization": "Bearer bzb_wrong"}) > WAIT_S_MAX / 2
    assert seconds_of(crowded.client, "/v1/venues", {}) < WAIT_S_MAX / 2


def test_the_liveness_check_never_waits(crowded: Route) -> None:
    assert seconds_of(crowded.client, "/healthz", {"Authorization": ""}) < WAIT_S_MAX / 2


def seconds_of(client: TestClient, path: str, headers: dict[str, str]) -> float:
    began = time.monotonic()
    client.get(path, headers=headers)
    return time.monotonic() - began


@pytest.mark.parametrize("size", [0, 1, PIECE_BYTES, PIECE_BYTES + 1, 3 * PIECE_BYTES])
def test_a_long_answer_is_sent_in_pieces_that_make_the_whole(size: int) -> None:
    body = bytes(n % 251 for n in range(size))
    sent: list[Message] = []

    async def application(scope: object, receive: object, send: object) -> None:  # noqa: ARG001
        await send({"type": "http.response.start", "status": 200, "headers": []})  # type: ignore[operator]
        await send({"type": "http.response.body", "body": body})  # type: ignore[operator]

    async def send(message: Message) -> None:
        sent.append(message)

    async def call() -> None:
        scope = {
            "type": "http",
            "method": "GET",
            "path": "/healthz",
            "headers": [],
            "query_string": b"",
            "app": FastAPI(),
        }
        await Frame(application)(scope, None, send)  # type: ignore[arg-type]

    anyio.run(call)
    start, *parts = sent
    assert start["type"] == "http.response.start"
    assert b"".join(part.get("body", b"") for part in parts) == body
    assert max(len(part.get("body", b"")) for part in parts) <= PIECE_BYTES
    assert [part.get("more_body", False) for part in parts] == [True] * (len(parts) - 1) + [False]


def test_the_contract_is_written_once_and_answered_as_it_was(client: TestClient) -> None:
    first, second = client.get("/openapi.json"), client.get("/openapi.json")
    assert first.json() == client.app.openapi()  # type: ignore[attr-defined]
    assert second.content == first.content
    assert client.get("/openapi.json", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
