"""``baizebook deliver`` as a process of its own: killed, and stopped."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route, Run
from tests.webhooks.receiver import receiving, status
from tests.webhooks.test_webhooks import deliveries, endpoint, job

WITHIN_S = 60


def until(true: Callable[[], Any], process: subprocess.Popen[bytes]) -> None:
    """Wait until something is true, while a process runs."""
    deadline = time.monotonic() + WITHIN_S
    while not true():
        assert time.monotonic() < deadline, "too slow"
        assert process.poll() is None, f"it ended with {process.returncode}"
        time.sleep(0.02)


@pytest.fixture
def table(route: Route) -> dict[str, Any]:
    return route.table(route.venue()["id"], placed_at="2026-01-05T15:00:00Z")


@pytest.fixture
def anywhere(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let endpoints be on this machine."""
    monkeypatch.setenv("BAIZEBOOK_WEBHOOK_ADDRESSES", "any")
    client.app.state.settings = client.app.state.settings.model_copy(update={"webhook_addresses": "any"})  # type: ignore[attr-defined]


def deliverer(database_url: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "baizebook", "deliver"]
    environment = {**os.environ, "BAIZEBOOK_DATABASE_URL": database_url}
    return subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)


@pytest.mark.usefixtures("anywhere")
def test_one_killed_between_sending_and_recording_sends_again_and_one_stopped_does_not(
    client: TestClient, route: Route, run: Run, table: dict[str, Any], database_url: str
) -> None:
    answered = threading.Event()

    def in_time(handler: Any) -> None:
        answered.wait(20)
        status(200)(handler)

    with receiving(in_time, in_time, status(200)) as receiver:
        made = endpoint(route, receiver.url)
        reports = [job(table) for _ in range(3)]
        for report in reports:
            route.post("/jobs", report)
        killed = deliverer(database_url)
        until(lambda: receiver.got, killed)
        killed.kill()
        killed.wait(10)
        assert [one["tries"] for one in deliveries(client, made)] == [0, 0, 0]

        stopped = deliverer(database_url)
        until(lambda: len(receiver.got) == 2, stopped)
        stopped.send_signal(signal.SIGTERM)
        time.sleep(0.1)
        answered.set()
        assert stopped.wait(20) == 0
        assert [one["tries"] for one in deliveries(client, made)] == [1, 0, 0], "what was begun is recorded"

        assert run("deliver", "--once") == (0, "", "")
        ids = receiver.ids()
        assert (ids[0], len(ids), len(set(ids))) == (ids[1], 4, 3)
        assert {one["state"] for one in deliveries(client, made)} == {"delivered"}
