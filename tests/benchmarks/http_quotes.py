"""A quote and the liveness check over HTTP against a bare FastAPI application with the same bodies.

One worker each, the same server options, 16 connections kept open by ``wrk``. The bare application has one ``async def``
that returns what it holds in memory: what FastAPI and the server take with nothing behind them, which ours cannot go
below by more than it leaves out of FastAPI. A worker answers as many requests a second as its processor time for one goes
into a second, so the figures are processor time of the serving process, whatever else the machine does meanwhile.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks._processes import processor_s, server
from tests.benchmarks.figure import Figure, compare
from tests.databases import OWNER_TOKEN, empty_sqlite

_BARE = """
import json
from pathlib import Path
from fastapi import FastAPI

app = FastAPI()
held = json.loads(Path(__file__).with_name("held.json").read_text())

@app.get("/readyz")
async def ready():
    return {}

@app.get("/quote")
async def quote():
    return held

@app.get("/alive")
async def alive():
    return {"status": "alive"}
"""
_AUTHORIZED = {"Authorization": f"Bearer {OWNER_TOKEN}"}
_SECONDS = 3


def run(*, rounds: int) -> Iterator[Figure]:
    """Ask both in turn."""
    if shutil.which("wrk") is None:
        raise SystemExit("wrk is not installed")
    with empty_sqlite() as url, tempfile.TemporaryDirectory() as folder:
        load = (sys.executable, "-m", "baizebook", "demo", "--no-serve")
        subprocess.run(load, env={**os.environ, "BAIZEBOOK_DATABASE_URL": url}, check=True, capture_output=True)
        with server(url) as (ours, our_process):
            venue_id = _get(f"{ours}/v1/venues?limit=1")["items"][0]["id"]
            quote = f"{ours}/v1/quotes?venue_id={venue_id}&day=tuesday&time=21:00&money=10.00"
            with _bare(Path(folder), held=_get(quote)) as (bare, bare_process):
                for name, what, address, path, reach in (
                    ("N3", "a quote", quote, "/quote", 2.0),
                    ("N3b", "the liveness check", f"{ours}/healthz", "/alive", 1 / 0.9),
                ):
                    figure = Figure(name, f"{what}, ours", f"{what}, bare FastAPI", reach)
                    yield compare(
                        figure,
                        lambda address=address: _seconds_a_request(address, our_process),
                        lambda path=path: _seconds_a_request(f"{bare}{path}", bare_process),
                        rounds=rounds,
                    )


@contextmanager
def _bare(folder: Path, *, held: object) -> Iterator[tuple[str, int]]:
    """Serve the bare application."""
    (folder / "bare.py").write_text(_BARE)
    (folder / "held.json").write_text(json.dumps(held))
    command = (
        sys.executable,
        "-m",
        "uvicorn",
        "bare:app",
        "--http",
        "h11",
        "--no-access-log",
        "--app-dir",
        str(folder),
    )
    with server("", command=command) as made:
        yield made


def _seconds_a_request(address: str, process_id: int) -> float:
    """Return the processor time of the server over the requests that ``wrk`` counts; all must succeed."""
    token = f"Authorization: Bearer {OWNER_TOKEN}"
    command = ("wrk", "-t1", "-c16", f"-d{_SECONDS}s", "-H", token, address)
    used = processor_s(process_id)
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    used = processor_s(process_id) - used
    found = re.search(r"([0-9]+) requests in", said)
    if found is None or "Non-2xx" in said:
        raise SystemExit(said)
    return used / int(found[1])


def _get(address: str) -> dict[str, list[dict[str, str]]]:
    with urllib.request.urlopen(urllib.request.Request(address, headers=_AUTHORIZED)) as answer:
        found: dict[str, list[dict[str, str]]] = json.load(answer)
        return found
