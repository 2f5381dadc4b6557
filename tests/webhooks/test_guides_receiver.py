"""The receiver that the guide shows, run as it is there."""

import os
import re
import subprocess
import sys
from typing import Any

import pytest
from baizebook.web.guide import FOLDER
from fastapi.testclient import TestClient

from tests.conftest import Route, Run
from tests.serving import free_port
from tests.webhooks.test_process import anywhere, table, until
from tests.webhooks.test_webhooks import deliveries, endpoint, job

__all__ = ["anywhere", "table"]


@pytest.mark.usefixtures("anywhere")
def test_the_receiver_of_the_guide_takes_what_is_signed_once_and_refuses_all_else(
    route: Route, run: Run, table: dict[str, Any], client: TestClient
) -> None:
    (program,) = re.findall(r"^```python\n(.*?)^```", (FOLDER / "client.md").read_text(), re.M | re.S)
    port = free_port()
    made = endpoint(route, f"http://127.0.0.1:{port}/")
    route.post("/jobs", report := job(table))
    environment = {**os.environ, "WEBHOOK_SECRET": made["secret"], "PORT": str(port)}
    with subprocess.Popen([sys.executable, "-c", program], env=environment, stdout=subprocess.PIPE) as example:
        until(lambda: run("deliver", "--once") and deliveries(client, made)[0]["state"] == "delivered", example)
        (sent,) = deliveries(client, made)
        client.post(f"/v1/webhook-deliveries/{sent['id']}/again")
        run("deliver", "--once")
        assert deliveries(client, made)[0]["status"] == 204
        client.post(f"/v1/webhook-endpoints/{made['id']}/secret")
        client.post(f"/v1/webhook-endpoints/{made['id']}/test")
        run("deliver", "--once")
        other = endpoint(route, f"http://127.0.0.1:{port}/")
        client.post(f"/v1/webhook-endpoints/{other['id']}/test")
        run("deliver", "--once")
        assert [one["status"] for one in deliveries(client, other)] == [400]
        example.terminate()
        lines = example.communicate()[0].decode().splitlines()
    assert lines == [f"job.reported /v1/jobs/{report['id']}", f"webhook.test /v1/webhook-endpoints/{made['id']}"]
