"""F4: whatever stands wherever: a clear refusal, never a 5xx, the same on both databases, and nothing of it is stored."""

import copy
import json
from collections.abc import Iterator
from contextlib import contextmanager
from random import Random
from typing import Any, NamedTuple
from urllib.parse import quote, urlencode

import baizebook.web.body
from baizebook.app import create_app
from baizebook.store.db import make_engine
from fastapi.exception_handlers import request_validation_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.testclient import TestClient
from sqlalchemy import Engine, MetaData, func, select

from tests.access.test_permissions import QUERIES, Row, World, operations
from tests.conftest import Route
from tests.databases import OWNER_TOKEN, postgres_database, settings_for, sqlite_database
from tests.faults.corpus import STRINGS, VALUES
from tests.faults.fault import Fault, check

HEADERS = (
    "Idempotency-Key", "If-Match", "X-Request-Id", "Content-Type", "Content-Encoding", "Accept", "Accept-Encoding", "Host",
    "Cookie", "Range", "Origin", "X-HTTP-Method-Override",
)  # fmt: skip
LONGEST_IN_ADDRESS = 4000
LOOK_EVERY = 20


class Spot(NamedTuple):
    """A place of an operation at which a value stands: in its path, query, headers or message."""

    operation: str
    where: str
    path: tuple[str | int, ...]


class Bench:
    """The service on one database, with a world to ask about."""

    def __init__(self, url: str, *, careless: bool = False) -> None:
        self.engine: Engine = make_engine(settings_for(url))
        self.app = create_app(settings_for(url), self.engine)
        if careless:
            self.app.add_exception_handler(RequestValidationError, request_validation_exception_handler)  # type: ignore[arg-type]
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        self.client = TestClient(self.app, headers=headers, raise_server_exceptions=False)
        self.world = World(self.client, Route(self.client))
        self.tables = MetaData()
        self.tables.reflect(self.engine)

    def rows(self) -> dict[str, int]:
        """Count what is stored."""
        with self.engine.connect() as connection:
            return {
                name: connection.execute(select(func.count()).select_from(table)).scalar_one()
                for name, table in self.tables.tables.items()
            }

    def send(self, contract: dict[str, Any], spot: Spot, value: str) -> int:
        """Put a value at a spot of an otherwise good request; return the status."""
        method, path, operation = operations(contract)[spot.operation]
        own, query = self.world.ids["own"], dict(QUERIES.get(spot.operation, {}))
        message = self.world.body(Row(spot.operation, "-", {}), "own") if "requestBody" in operation else None
        body = b"" if message is None else json.dumps(message).encode()
        headers = {"Content-Type": "application/json"} if body else {}
        if isinstance(message, str):
            body, headers = message.encode(), {"Content-Type": "text/csv"}
        parts = {**{name: quote(id_) for name, id_ in own.items()}, "code": "bad_money"}
        if spot.operation in ("get_quote", "get_quote_csv") and spot.path != ("table_id",):
            query["venue_id"] = own["venue_id"]
        if method == "PATCH" or spot.operation == "put_settings":
            headers["If-Match"] = self.client.get(path.format(**parts)).headers.get("ETag", "")
        if spot.where == "path":
            parts[str(spot.path[0])] = quote(value[:LONGEST_IN_ADDRESS], safe="") or "%20"
        elif spot.where == "query":
            query[str(spot.path[0])] = value[:LONGEST_IN_ADDRESS]
        elif spot.where == "header":
            headers[str(spot.path[0])] = value[:LONGEST_IN_ADDRESS].encode("latin-1", "replace").decode("latin-1")
        else:
            body = put(message, spot.path, value)
        address = path.format(**parts) + (f"?{urlencode(query)}" if query else "")
        raw = [(name.encode(), text.encode("latin-1")) for name, text in headers.items()]
        return self.client.request(method, address, content=body or None, headers=raw).status_code


def run(chance: Random, rounds: int) -> str:
    """Send so many requests to each kind of database, one value of the corpus at one spot each."""
    with sqlite_database() as one, postgres_database() as other:
        benches = [Bench(one), Bench(other)]
        try:
            statuses = _send(benches, chance, rounds=rounds)
            _look_at_lists(benches)
        finally:
            for bench in benches:
                bench.engine.dispose()
    told = ", ".join(f"{statuses.count(status)} × {status}" for status in sorted(set(statuses)))
    return f"{len(VALUES)} values, {rounds} requests a database, the same status on both: {told}"


def control(chance: Random) -> None:
    """A service that reads JSON as Python does, and echoes what it refuses, stumbles over NaN and half surrogates."""
    with _read_any_json(), sqlite_database() as one, postgres_database() as other:
        benches = [Bench(one, careless=True), Bench(other, careless=True)]
        spots = [spot for spot in all_spots(benches[0].app.openapi()) if spot.operation == "raise_dispute"]
        try:
            for value in ("NaN", '"\\ud800"'):
                _send_one(benches, chance.choice([spot for spot in spots if spot.where == "body"]), value)
        finally:
            for bench in benches:
                bench.engine.dispose()


def _send(benches: list[Bench], chance: Random, *, rounds: int) -> list[int]:
    spots = list(all_spots(benches[0].app.openapi()))
    order = [spot for _ in range(rounds // len(spots) + 1) for spot in chance.sample(spots, len(spots))]
    statuses: list[int] = []
    before = [bench.rows() for bench in benches]
    for number, spot in enumerate(order[:rounds]):
        value = chance.choice(VALUES if spot.where == "body" else STRINGS)
        status = _send_one(benches, spot, value)
        statuses.append(status)
        if status < 400:
            before = [bench.rows() for bench in benches]
        elif number % LOOK_EVERY == 0 or number == rounds - 1:
            check(before == [bench.rows() for bench in benches], f"a refused call left rows behind, up to {spot}")
    return statuses


def _send_one(benches: list[Bench], spot: Spot, value: str) -> int:
    contract = benches[0].app.openapi()
    found = [bench.send(contract, spot, value) for bench in benches]
    check(max(found) < 500, f"{spot.operation} {spot.where} {spot.path}: {found} for {value[:80]!r}")
    check(len(set(found)) == 1, f"{spot.operation} {spot.where} {spot.path}: {found} for {value[:80]!r}")
    return found[0]


def _look_at_lists(benches: list[Bench]) -> None:
    """Ask for every list: whatever was stored can be read and written out."""
    for bench in benches:
        for name, (method, path, operation) in operations(bench.app.openapi()).items():
            if method == "GET" and "limit" in {parameter["name"] for parameter in operation.get("parameters", ())}:
                answer = bench.client.get(path.format(**bench.world.ids["own"]), params={"limit": 500})
                check(answer.status_code == 200, f"{name} afterwards: {answer.status_code} {answer.text[:300]}")


def all_spots(contract: dict[str, Any]) -> Iterator[Spot]:
    """Name every place at which a client can put a value."""
    for name, (_, _, operation) in operations(contract).items():
        for parameter in operation.get("parameters", ()):
            yield Spot(name, parameter["in"], (parameter["name"],))
        for kind, content in operation.get("requestBody", {}).get("content", {}).items():
            if kind != "application/json":
                continue
            for field in fields(contract, content["schema"]):
                yield Spot(name, "body", field)
    for name in ("list_venues", "create_venue", "change_venue", "record_readings", "get_quote"):
        for header in HEADERS:
            yield Spot(name, "header", (header,))


def fields(
    contract: dict[str, Any], schema: dict[str, Any], path: tuple[str | int, ...] = ()
) -> Iterator[tuple[str | int, ...]]:
    """Name every field of a message, the whole of it first; of a list its first item."""
    yield path
    if "$ref" in schema:
        schema = contract["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    for part in (schema, *schema.get("anyOf", ())):
        if "$ref" in part:
            part = contract["components"]["schemas"][part["$ref"].rpartition("/")[2]]
        for name, below in part.get("properties", {}).items():
            yield from fields(contract, below, (*path, name))
        if isinstance(part.get("additionalProperties"), dict):
            yield (*path, "any name")
        if "items" in part:
            yield from fields(contract, part["items"], (*path, 0))


def put(message: Any, path: tuple[str | int, ...], raw: str) -> bytes:
    """Return a message as JSON with other text at one place; what leads there is made where it is missing."""
    holder = root = [copy.deepcopy(message)]
    place: str | int = 0
    for name in path:
        below = holder[place]  # type: ignore[index]
        if not isinstance(below, list if isinstance(name, int) else dict):
            below = holder[place] = [None] if isinstance(name, int) else {}  # type: ignore[index]
        if isinstance(name, int) and not below:
            below.append(None)
        if isinstance(name, str):
            below.setdefault(name, None)
        holder, place = below, name
    holder[place] = "@here@"  # type: ignore[index]
    return json.dumps(root[0]).replace('"@here@"', raw).encode("utf-8", "surrogatepass")


@contextmanager
def _read_any_json() -> Iterator[None]:
    strict, baizebook.web.body.strict_json = baizebook.web.body.strict_json, json.loads
    try:
        yield
    finally:
        baizebook.web.body.strict_json = strict


FAULT = Fault(name="F4", says="bad input", run=run, control=control, short=500, long=8000)
