"""The service as its users run it: ``baizebook serve`` in a process of its own, on a free port."""

import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import pytest
import uvicorn
from baizebook.web.guide import FOLDER
from fastapi import FastAPI

from tests.databases import OWNER_TOKEN

_READY_WITHIN_S = 60


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


SERVE = (sys.executable, "-m", "baizebook", "serve")
CARELESS = (sys.executable, "-m", "uvicorn", "baizebook.app:create_app", "--factory", "--http", "h11")
"""The same application without the limits and the logging of ``baizebook.ops.serve``: what tests must find wanting."""


def start(
    database_url: str,
    *,
    port: int,
    command: Sequence[str] = SERVE,
    log: IO[bytes] | int = subprocess.DEVNULL,
    ready: str = "/readyz",
    **environment: str,
) -> subprocess.Popen[bytes]:
    """Start the service, its output going to a log, and wait until it answers the address ``ready``."""
    process = subprocess.Popen(
        [*command, "--port", str(port)],
        env={
            **os.environ,
            "BAIZEBOOK_DATABASE_URL": database_url,
            "BAIZEBOOK_OWNER_TOKEN": OWNER_TOKEN,
            **environment,
        },
        stdout=log,
        stderr=log,
    )
    deadline = time.monotonic() + _READY_WITHIN_S
    while time.monotonic() < deadline:
        assert process.poll() is None, f"the service ended with {process.returncode}"
        try:
            ask = urllib.request.Request(
                f"http://127.0.0.1:{port}{ready}", headers={"Authorization": f"Bearer {OWNER_TOKEN}"}
            )
            urllib.request.urlopen(ask, timeout=2).close()
        except (urllib.error.URLError, OSError):
            time.sleep(0.05)
        else:
            return process
    process.kill()
    raise AssertionError(f"the service was not ready within {_READY_WITHIN_S} s")


@contextmanager
def served(
    database_url: str,
    *,
    command: Sequence[str] = SERVE,
    log: IO[bytes] | int = subprocess.DEVNULL,
    **environment: str,
) -> Iterator[str]:
    """Yield the address of a running service; it is stopped in the end."""
    port = free_port()
    process = start(database_url, port=port, command=command, log=log, **environment)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(20)


@contextmanager
def answering(app: FastAPI) -> Iterator[str]:
    """Serve an application in this process on a free port."""
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, lifespan="on"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        until = time.monotonic() + 20
        while not server.started:
            assert time.monotonic() < until
            time.sleep(0.02)
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(20)


def proxy_settings(*, port: int, service_port: int) -> str:
    """Return the guide's own settings of nginx, without TLS and on other ports."""
    (block,) = re.findall(r"```nginx\n(.*?)```", (FOLDER / "operations.md").read_text(), re.DOTALL)
    block = re.sub(r" *ssl_certificate.*\n", "", block)
    block, listens = re.subn(r"listen 443 ssl;", f"listen 127.0.0.1:{port};", block)
    block, passes = re.subn(
        r"proxy_pass http://127\.0\.0\.1:8000;", f"proxy_pass http://127.0.0.1:{service_port};", block
    )
    assert (listens, passes) == (1, 1), block
    return block


@contextmanager
def behind_nginx(url: str) -> Iterator[str]:
    """Yield the address of a real nginx in front of a running service; skips, loudly, where there is none."""
    nginx = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if nginx is None:
        pytest.skip("nginx IS NOT INSTALLED: the guide's proxy was NOT TESTED")
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        temporary = "".join(
            f"    {kind}_temp_path {folder}/{kind};\n" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        user = "user root;\n" if os.geteuid() == 0 else ""
        server = proxy_settings(port=port, service_port=int(url.rsplit(":", 1)[1]))
        settings = Path(folder, "nginx.conf")
        settings.write_text(
            f"{user}daemon off;\nworker_processes 1;\npid {folder}/pid;\nerror_log {folder}/error.log;\n"
            f"events {{ worker_connections 1024; }}\nhttp {{\n    access_log off;\n{temporary}{server}}}\n"
        )
        process = subprocess.Popen([nginx, "-p", folder, "-e", f"{folder}/error.log", "-c", str(settings)])
        try:
            until = time.monotonic() + 20
            while True:
                assert process.poll() is None, Path(folder, "error.log").read_text()
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=2).close()
                    break
                except OSError:
                    assert time.monotonic() < until, Path(folder, "error.log").read_text()
                    time.sleep(0.05)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(20)
