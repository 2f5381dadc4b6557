"""One settled collection of three tables over HTTP to disk, against a bare route that inserts and commits one row.

N6b is on empty books. The bare route is a FastAPI operation with the service's own engine: an insert of one row and a
commit that survives a power cut, less than which nobody can store; a collection stores fourteen rows, judges what should have been
in the boxes and divides it. N6 is the same collection with 100,000 collections on record (400 venues, 250 weeks each)
against 100 (40 venues, of most two weeks): what is decided at one venue must not grow with the route nor with the years.
"""

import json
import os
import sys
from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from http.client import HTTPConnection
from itertools import count
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter
from urllib.parse import urlsplit
from uuid import uuid4

from tests.benchmarks._durable import KINDS, durable
from tests.benchmarks._route import NOW, Filled, Size, fill
from tests.benchmarks._service import Service, service
from tests.benchmarks.figure import Figure, compare
from tests.databases import OWNER_TOKEN
from tests.serving import served

TIMES = 15
WEEKS = 250
LARGE = int(os.environ.get("BAIZEBOOK_BENCHMARK_VENUES", "400"))
_BARE = """
from fastapi import FastAPI
from sqlalchemy import text
from baizebook.store.db import make_engine
from baizebook.store.settings import get_settings

app = FastAPI()
engine = make_engine(get_settings())
with engine.begin() as connection:
    connection.execute(text("CREATE TABLE bare (id VARCHAR PRIMARY KEY, said VARCHAR)"))
insert = text("INSERT INTO bare (id, said) VALUES (:id, :said)")

@app.get("/readyz")
def ready():
    return {}

@app.post("/v1/collections", status_code=201)
def record(body: dict):
    with engine.execution_options(writes=True).begin() as connection:
        connection.execute(insert, {"id": body["id"], "said": body["venue_id"]})
    return body
"""


def run(*, rounds: int) -> Iterator[Figure]:
    """Record in turn."""
    for kind in KINDS:
        with durable(kind, count=2) as (ours, theirs), TemporaryDirectory() as folder:
            filled = fill([ours], Size(venues=1, collections=0, readings=1))
            (Path(folder) / "bare.py").write_text(_BARE)
            bare = (sys.executable, "-m", "uvicorn", "bare:app", "--http", "h11", "--app-dir", folder)
            with served(ours) as url, served(theirs, command=bare) as bare_url:
                numbers = count(1)
                figure = Figure(f"N6b {kind}", "a settled collection of three tables", "a bare insert", 6.0)
                yield compare(
                    figure,
                    partial(_seconds, url, filled, numbers),
                    partial(_seconds, bare_url, filled, numbers),
                    rounds=rounds,
                )
    for kind in KINDS:
        with durable(kind, count=2) as (large, small):
            many = fill([large], Size(venues=LARGE, collections=WEEKS, readings=WEEKS // 10)).of(LARGE // 2)
            few = fill([small], Size(venues=50, collections=2, readings=2)).of(25)
            with service(large) as of_large, service(small) as of_small:
                figure = Figure(f"N6 {kind}", f"with {LARGE * WEEKS:,} collections", "with 100", 1.2)
                yield compare(
                    figure,
                    partial(_in_process, of_large, many, count(1)),
                    partial(_in_process, of_small, few, count(1)),
                    rounds=rounds,
                )


def _seconds(url: str, filled: Filled, numbers: "count[int]") -> float:
    """Return the median time of a collection over HTTP."""
    address = urlsplit(url)
    connection = HTTPConnection(address.hostname or "", address.port)
    headers = {"Authorization": f"Bearer {OWNER_TOKEN}", "Content-Type": "application/json"}
    took = []
    for _ in range(TIMES):
        n = next(numbers)
        body = json.dumps(filled.collection(NOW + timedelta(minutes=n), id=uuid4(), cash=40 * n))
        began = perf_counter()
        connection.request("POST", "/v1/collections", body, headers)
        answer = connection.getresponse()
        said = answer.read()
        took.append(perf_counter() - began)
        if answer.status != 201:
            raise SystemExit(f"{answer.status} {said[:300]!r}")
    connection.close()
    return median(took)


def _in_process(asked: Service, filled: Filled, numbers: "count[int]") -> float:
    """Return the median time of a collection in the service's own process."""
    took = []
    for _ in range(TIMES):
        n = next(numbers)
        asked.now = NOW + timedelta(minutes=n)
        asked.post("/collections", filled.collection(asked.now, id=uuid4(), cash=40 * (WEEKS + n)))
        took.append(asked.elapsed_s)
    return median(took)
