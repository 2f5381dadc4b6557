"""The service as its users run it: ``baizebook serve`` in a process of its own, on a free port."""

import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import IO

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
    **environment: str,
) -> subprocess.Popen[bytes]:
    """Start the service, its output going to a log, and wait until it is ready."""
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
            urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=2).close()
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
