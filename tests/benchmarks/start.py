"""What a start takes: the command line's help, a quote without a server, and a server to its first answered quote.

- Help against ``import typer``, the library that reads the command line: nothing can show help for less.
- A quote against ``import fastapi, sqlmodel``: what the same libraries take before a line of ours is read.
- A server against a bare FastAPI application under the same server, each to its first answer. Ours looks after its
  migrations and checks the database before.

All are processor time of the process that is started, from its beginning on. Modules are compiled already: every command
runs once before it is measured, with a folder of its own for what Python compiles, whatever the environment says.
"""

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import patch

from baizebook.store.db import make_engine, reading
from baizebook.venues.rows import VenueRow
from sqlmodel import col, select

from tests.benchmarks._processes import command_s, processor_s, server
from tests.benchmarks.figure import Figure, compare
from tests.databases import empty_sqlite, settings_for

_OURS = (sys.executable, "-m", "baizebook")
_BARE = """
from fastapi import FastAPI

app = FastAPI()

@app.get("/quote")
async def quote():
    return {}
"""


def run(*, rounds: int) -> Iterator[Figure]:
    """Start each in turn."""
    with ExitStack() as stack:
        url, folder = stack.enter_context(empty_sqlite()), stack.enter_context(tempfile.TemporaryDirectory())
        compiled = {"PYTHONPYCACHEPREFIX": str(Path(folder, "compiled")), "PYTHONDONTWRITEBYTECODE": ""}
        stack.enter_context(patch.dict(os.environ, compiled))
        database = {"BAIZEBOOK_DATABASE_URL": url}
        subprocess.run((*_OURS, "demo", "--no-serve"), env={**os.environ, **database}, check=True, capture_output=True)
        question = (
            *_OURS,
            "quote",
            "--venue",
            "The Copper Lantern",
            "--day",
            "tue",
            "--time",
            "9pm",
            "--money",
            "10.00",
        )
        yield _compared(
            Figure("N10h", "baizebook --help", "import typer", 1.5),
            lambda: command_s((*_OURS, "--help")),
            lambda: command_s((sys.executable, "-c", "import typer")),
            rounds=rounds,
        )
        yield _compared(
            Figure("N10q", "baizebook quote", "import fastapi, sqlmodel", 1.3),
            lambda: command_s(question, **database),
            lambda: command_s((sys.executable, "-c", "import fastapi, sqlmodel")),
            rounds=rounds,
        )
        Path(folder, "bare.py").write_text(_BARE)
        bare = (sys.executable, "-m", "uvicorn", "bare:app", "--http", "h11", "--app-dir", folder)
        venue_id = _first_venue(url)
        quote = f"/v1/quotes?venue_id={venue_id}&money=10.00"
        yield _compared(
            Figure("N10s", "serve to its first quote", "a bare server to its first answer", 2.0),
            lambda: _first_answer_s(url, ready=quote),
            lambda: _first_answer_s("", command=bare, ready="/quote"),
            rounds=rounds,
        )


def _compared(figure: Figure, ours: Callable[[], float], theirs: Callable[[], float], *, rounds: int) -> Figure:
    ours()
    theirs()
    return compare(figure, ours, theirs, rounds=rounds)


def _first_venue(url: str) -> str:
    engine = make_engine(settings_for(url))
    with reading(engine) as session:
        venue_id = session.exec(select(VenueRow.id).order_by(col(VenueRow.name))).first()
    engine.dispose()
    return str(venue_id)


def _first_answer_s(url: str, *, ready: str, command: tuple[str, ...] = (*_OURS, "serve")) -> float:
    with server(url, command=command, ready=ready) as (_, process_id):
        return processor_s(process_id)
