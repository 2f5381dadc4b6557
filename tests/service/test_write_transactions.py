"""The write transaction holds only the write: how many statements run in it, and what never happens in it.

- A record takes as many statements whatever stands beside it: other tables, other venues, earlier records.
- Nobody is looked up by a token in it, no message is read, and no table is judged for the worklist.
"""

from collections.abc import Callable, Iterator
from typing import Any
from uuid import uuid4

import baizebook.web.auth
import baizebook.web.operation
import baizebook.worklist.service
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Connection, Engine

from tests.conftest import Route
from tests.listening import listen, unlisten

METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]


class Writing:
    """What happens in write transactions: the statements of each, and what else was done meanwhile."""

    def __init__(self) -> None:
        self.statements: list[int] = []
        self.under_way = False
        self.meanwhile: list[str] = []

    def begin(self, connection: Connection) -> None:
        if connection.get_execution_options().get("writes"):
            self.under_way = True
            self.statements.append(0)

    def end(self, connection: Connection) -> None:
        if connection.get_execution_options().get("writes"):
            self.under_way = False

    def statement(self, connection: Connection, *_: Any) -> None:
        if connection.get_execution_options().get("writes") and self.under_way:
            self.statements[-1] += 1

    def noting(self, name: str, properly: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **named: Any) -> Any:
            if self.under_way:
                self.meanwhile.append(name)
            return properly(*args, **named)

        return call


@pytest.fixture
def writing(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> Iterator[Writing]:
    seen = Writing()
    listeners = {
        "begin": seen.begin,
        "commit": seen.end,
        "rollback": seen.end,
        "before_cursor_execute": seen.statement,
    }
    for name, listener in listeners.items():
        listen(engine, name, listener)
    for module, name in (
        (baizebook.web.auth, "find_token"),
        (baizebook.web.operation, "parse_body"),
        (baizebook.worklist.service, "find_work"),
    ):
        monkeypatch.setattr(module, name, seen.noting(name, getattr(module, name)))
    yield seen
    for name, listener in listeners.items():
        unlisten(engine, name, listener)


def records(venue: str, table: str, schedule: str) -> dict[str, tuple[str, Callable[[], dict[str, Any]]]]:
    """Return of each kind of record where it is sent, and what makes one."""
    return {
        "reading": (
            "/readings",
            lambda: {
                "readings": [
                    {"id": str(uuid4()), "table_id": table, "taken_at": "2026-11-20T15:00:00Z", "meters": {"cash": 4}}
                ]
            },
        ),
        "collection": (
            "/collections",
            lambda: {
                "id": str(uuid4()),
                "venue_id": venue,
                "collected_at": "2026-11-21T15:00:00Z",
                "tables": [{"table_id": table, "counted": {"0.25": 40}, "meters": {"cash": 40}}],
            },
        ),
        "keying": (
            f"/tables/{table}/keyings",
            lambda: {"schedule_id": schedule, "keyed_at": "2026-11-20T15:00:00Z", "by": "Ana"},
        ),
        "job": (
            "/jobs",
            lambda: {
                "id": str(uuid4()),
                "table_id": table,
                "reported_at": "2026-11-20T15:00:00Z",
                "fault": "ball_stuck",
                "playable": True,
            },
        ),
        "entry": (
            "/ledger/entries",
            lambda: {"kind": "opening", "amount": "5.00", "on": "2026-11-02", "currency": "USD"},
        ),
    }


def furnished(route: Route, tariff: str) -> tuple[str, str, str]:
    venue = route.venue()["id"]
    schedule = route.schedule(venue, tariff)["id"]
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    table = route.table(venue, meters=METERS, placed_at="2026-01-05T15:00:00Z")["id"]
    return venue, table, schedule


def test_a_record_takes_as_many_statements_whatever_stands_beside_it(
    at_noon: TestClient, route: Route, writing: Writing
) -> None:
    tariff = route.tariff()["id"]
    places = [furnished(route, tariff) for _ in range(2)]
    token = route.token("owner")
    assert at_noon.get("/v1/me", headers=token).is_success  # its first use is noted, which is a write of its own
    took: list[dict[str, int]] = []
    for place, beside in zip(places, (0, 6), strict=True):
        for _ in range(beside):
            _, other, _ = furnished(route, tariff)
            route.table(place[0], label="Beside", meters=METERS, placed_at="2026-01-05T15:00:00Z")
            route.post(
                "/readings", {"readings": [{"id": str(uuid4()), "table_id": other, "taken_at": "2026-11-19T15:00:00Z"}]}
            )
        found = {}
        for name, (path, body) in records(*place).items():
            writing.statements.clear()
            headers = {**token, "Idempotency-Key": str(uuid4())}
            answer = at_noon.post(f"/v1{path}", json=body(), headers=headers)
            assert answer.is_success, (name, answer.text)
            assert len(writing.statements) == 1, name
            found[name] = writing.statements[0]
        took.append(found)
    assert took[0] == took[1]
    assert max(took[0].values()) <= 60, took[0]
    assert at_noon.get("/v1/worklist").status_code == 200
    assert writing.meanwhile == []


def test_what_happens_in_a_write_transaction_is_seen(at_noon: TestClient, route: Route, writing: Writing) -> None:
    token = route.token("owner")
    writing.under_way = True
    assert at_noon.get("/v1/venues", headers=token).status_code == 200
    assert "find_token" in writing.meanwhile
