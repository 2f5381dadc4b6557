"""Servers that are born in a moment, killed, and born again: a mother process has imported all they need, and forks.

What is forked is ``baizebook serve``, whole. ``python -m tests.faults.nursery [WAY]`` reads a port from each line and
answers with the process that serves there; ``WAY`` is one of ``careless.WAYS``, or a route of ``planted``, taken before anything is served.
"""

import importlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from tests.databases import OWNER_TOKEN
from tests.faults.caller import ask
from tests.faults.careless import WAYS
from tests.faults.fault import NotReady
from tests.serving import free_port

_READY_WITHIN_S = 90


@dataclass(slots=True)
class Nursery:
    """One port, and the server that lives there now."""

    mother: subprocess.Popen[str]
    port: int
    server: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start a server and wait until it is ready."""
        assert self.mother.stdin is not None
        assert self.mother.stdout is not None
        self.mother.stdin.write(f"{self.port}\n")
        self.mother.stdin.flush()
        self.server = int(self.mother.stdout.readline())
        until = time.monotonic() + _READY_WITHIN_S
        while time.monotonic() < until:
            with suppress(OSError):
                if ask(self.url, "GET", "/readyz")[0] == 200:
                    return
            time.sleep(0.02)
        raise NotReady(f"the service was not ready within {_READY_WITHIN_S} s")

    def kill(self) -> None:
        """Kill the server that lives now, and wait until it is gone."""
        if self.server:
            with suppress(ProcessLookupError):
                os.kill(self.server, signal.SIGKILL)
            while os.path.exists(f"/proc/{self.server}"):
                time.sleep(0.002)
        self.server = 0


@contextmanager
def nursery(database_url: str, *, way: str = "", **environment: str) -> Iterator[Nursery]:
    """Yield a nursery of servers on a database."""
    mother = subprocess.Popen(
        [sys.executable, "-m", "tests.faults.nursery", *([way] if way else [])],
        env={
            **os.environ,
            "BAIZEBOOK_DATABASE_URL": database_url,
            "BAIZEBOOK_OWNER_TOKEN": OWNER_TOKEN,
            **environment,
        },
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    born = Nursery(mother, free_port())
    try:
        yield born
    finally:
        born.kill()
        mother.communicate(timeout=20)


def main() -> None:
    """Give birth to a server for every line."""
    for way in sys.argv[1:]:
        (WAYS.get(way) or getattr(importlib.import_module("tests.faults.planted"), way))()
    cli = importlib.import_module("baizebook.ops.cli")
    for used in ("baizebook.app", "baizebook.ops.commands.serve"):
        importlib.import_module(used)  # a child would import it anew
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        if child := os.fork():
            print(child, flush=True)
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        os.dup2(os.open(os.devnull, os.O_RDWR), 1)
        os._exit(cli.main(["serve", "--port", line.strip()]))


if __name__ == "__main__":
    main()
