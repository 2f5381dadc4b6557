"""The list as a list: pages, filters, rights, and that its cost does not grow with the number of tables."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from baizebook.pool_tables.rows import PoolTableRow
from baizebook.store.clock import new_id
from baizebook.store.db import writing
from baizebook.venues.rows import VenueRow
from baizebook.worklist.queries import WorkFilter, shown
from baizebook.worklist.rows import WorkRow
from baizebook.worklist.service import page_work, sweep
from fastapi.testclient import TestClient
from sqlalchemy import Engine, insert, text
from sqlmodel import Session

from tests.conftest import Route
from tests.listening import listen, unlisten
from tests.worklist.conftest import Calendar

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)


def plant(route: Route) -> dict[str, Any]:
    """Make seven tables whose licences expire one day after another, and return their venue."""
    venue = route.venue()
    for day in range(1, 8):
        licence = {"number": f"L-{day}", "expires_on": f"2026-12-0{day}"}
        route.table(venue["id"], label=f"Table {day}", licence=licence)
    return venue


def test_pages_follow_one_another_though_work_is_done_and_found_meanwhile(calendar: Calendar, route: Route) -> None:
    venue = plant(route)
    first = calendar.client.get("/v1/worklist", params={"limit": 3})
    assert [item["table"] for item in first.json()["items"]] == ["Table 1", "Table 2", "Table 3"]
    following = first.json()["next"]
    assert first.headers["Link"] == f'</v1/worklist?limit=3&after={following}>; rel="next"'
    third = first.json()["items"][2]
    etag = calendar.client.get(f"/v1/tables/{third['table_id']}").headers["ETag"]
    calendar.client.patch(f"/v1/tables/{third['table_id']}", json={"licence": None}, headers={"If-Match": etag})
    route.table(venue["id"], label="Late", licence={"number": "L-0", "expires_on": "2026-11-30"})
    second = calendar.client.get("/v1/worklist", params={"limit": 3, "after": following}).json()
    assert [item["table"] for item in second["items"]] == ["Table 4", "Table 5", "Table 6"]
    last = calendar.client.get("/v1/worklist", params={"limit": 3, "after": second["next"]})
    assert [item["table"] for item in last.json()["items"]] == ["Table 7"]
    assert last.json()["next"] is None
    assert "Link" not in last.headers


def test_the_list_is_of_one_venue_or_due_before_an_instant_or_a_date_where_asked(
    calendar: Calendar, route: Route
) -> None:
    venue = plant(route)
    other = route.venue(name="Harbour Lane Tavern")
    route.table(other["id"], label="Upstairs", licence={"number": "H-1", "expires_on": "2026-12-03"})
    assert [item["venue"] for item in calendar.work(venue_id=other["id"])] == ["Harbour Lane Tavern"]
    assert len(calendar.work(venue_id=venue["id"])) == 7
    assert [item["table"] for item in calendar.work(due_before="2026-12-02")] == ["Table 1"]
    before = calendar.work(due_before="2026-12-03T06:00:01-05:00")
    assert sorted(item["table"] for item in before) == ["Table 1", "Table 2", "Table 3", "Upstairs"]


def test_what_cannot_be_asked_is_refused(client: TestClient) -> None:
    absent = client.get("/v1/worklist", params={"venue_id": "00000000-0000-4000-8000-000000000000"})
    assert absent.status_code == 404
    for asked in (
        {"due_before": "soon"},
        {"due_before": "2026-02-30"},
        {"due_before": "2026-12-01T09:00"},
        {"after": "00000000-0000-4000-8000-000000000000"},
        {"after": "x-00000000-0000-4000-8000-000000000000"},
        {"limit": "0"},
        {"limit": "501"},
    ):
        assert client.get("/v1/worklist", params=asked).status_code == 422, asked


def test_head_finds_what_was_read_meanwhile_like_get(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock={"time": "09:00", "weekday": "sun", "display": "24h"})
    head = calendar.client.head("/v1/worklist")
    assert (head.status_code, head.content) == (200, b"")
    assert [item["code"] for item in calendar.work()] == ["off"]


def test_only_owners_and_collectors_see_the_list(client: TestClient, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"])
    assert client.get("/v1/worklist", headers=route.token("collector")).status_code == 200
    for headers in (
        route.token("accountant"),
        route.token("venue", venue_id=venue["id"]),
        route.token("device", table_id=table["id"]),
    ):
        assert client.get("/v1/worklist", headers=headers).status_code == 403


def many_tables(session: Session, count: int) -> UUID:
    """Store tables, thirty a venue, with four pieces of work each; return the first venue.

    One piece is shown, the others are to be shown later: by time alone, by a lead of sixty and of seven days.
    """
    lantern = {
        "name": "V",
        "time_zone": "America/New_York",
        "currency": "USD",
        "day_starts_at": time(6),
        "made_at": NOW,
    }
    blank = {"address": "", "contact": "", "notes": "", "revision": 1}
    venues = [{**lantern, **blank, "id": new_id(), "books_name": f"V-{i}", "sequence": i} for i in range(count // 30)]
    session.execute(insert(VenueRow), venues)
    plain = {"profile": {"accepts": ["1.00"]}, "revision": 1, "made_at": NOW}
    tables = [
        {**plain, "id": new_id(), "sequence": i, "label": f"T{i}", "venue_id": venues[i // 30]["id"]}
        for i in range(count)
    ]
    session.execute(insert(PoolTableRow), tables)
    nothing = {"reason": "", "bring": [], "needs_key": False, "dangers": [], "words": "", "refers_to": None}
    work = [
        {
            **nothing,
            "id": uuid4(),
            "pool_table_id": table["id"],
            "venue_id": table["venue_id"],
            "kind": kind,
            "code": code,
            "due_at": NOW + timedelta(days=days, seconds=i),
            "lead_days": lead_days,
            "ends_at": None,
            "assessed_at": NOW,
        }
        for i, table in enumerate(tables)
        for kind, code, days, lead_days in (
            ("review", "difference", -1, 36_500),
            ("visit", "no_reading", 20, 0),
            ("licence", "licence_expires", 90, 60),
            ("collect", "value_limit", 5, 7),
        )
    ]
    session.execute(insert(WorkRow), work)
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("ANALYZE work"))
    return UUID(str(venues[0]["id"]))


def plan_of(session: Session, wanted: WorkFilter) -> list[str]:
    """Return the lines of the database's own plan for a page."""
    query = shown(wanted, now=NOW)
    compiled = query.compile(session.get_bind(), compile_kwargs={"render_postcompile": True})
    postgres = session.get_bind().dialect.name == "postgresql"
    explain = "EXPLAIN (ANALYZE, TIMING OFF) " if postgres else "EXPLAIN QUERY PLAN "
    connection = session.connection()
    cursor = connection.exec_driver_sql(explain + str(compiled), _driver_values(compiled))
    return [str(row[0] if postgres else row[3]) for row in cursor]


def _driver_values(compiled: Any) -> Any:
    processors = compiled._bind_processors
    values = {name: processors[name](value) if name in processors else value for name, value in compiled.params.items()}
    return tuple(values[name] for name in compiled.positiontup) if compiled.positional else values


@pytest.mark.parametrize("of_a_venue", [False, True])
def test_a_page_is_read_by_steps_into_an_index_and_no_table_is_walked_through(
    session: Session, of_a_venue: bool
) -> None:
    venue_id = many_tables(session, 3_000)
    lines = plan_of(session, WorkFilter(limit=50, venue_id=venue_id if of_a_venue else None))
    reads = [line for line in lines if " work" in line and "ix_work" in line]
    assert len(reads) == 5, lines
    index = "ix_work_due_at_venue" if of_a_venue else "ix_work_due"
    assert all(index in line for line in reads), lines
    assert not any("Seq Scan on work" in line or line.startswith("SCAN work") for line in lines), lines


def test_a_page_of_many_tables_is_what_is_due_first(session: Session) -> None:
    many_tables(session, 3_000)
    page = page_work(session, WorkFilter(limit=500), now=NOW)
    assert [item.kind for item in page.items] == ["review"] * 500
    dues = [item.due_at for item in page.items]
    assert dues == sorted(dues)
    later = page_work(session, WorkFilter(limit=500, due_before=NOW + timedelta(days=6)), now=NOW + timedelta(days=19))
    assert {item.kind for item in later.items} == {"review"}


@contextmanager
def counted(engine: Engine) -> Iterator[list[str]]:
    """Yield the list of the statements that are sent meanwhile."""
    statements: list[str] = []

    def note(connection: Any, cursor: Any, statement: str, *more: Any) -> None:  # noqa: ARG001
        statements.append(statement)

    listen(engine, "before_cursor_execute", note)
    yield statements
    unlisten(engine, "before_cursor_execute", note)


def test_recording_readings_costs_as_many_statements_for_thirty_tables_as_for_one(
    engine: Engine, calendar: Calendar, route: Route
) -> None:
    venue = route.venue()
    tables = [route.table(venue["id"], label=f"Table {i}") for i in range(30)]

    def send(to: list[dict[str, Any]]) -> int:
        taken_at = calendar.now.isoformat()
        clock = {"time": "09:00", "weekday": "sun", "display": "24h"}
        batch = [{"id": str(uuid4()), "table_id": table["id"], "taken_at": taken_at, "clock": clock} for table in to]
        with counted(engine) as statements:
            assert route.post("/readings", {"readings": batch})["recorded"] == len(to)
        return len(statements)

    assert send(tables) == send(tables[:1])
    with counted(engine) as statements:
        found = calendar.work()
    assert len([item for item in found if item["kind"] == "set_clock"]) == 30
    assert len(statements) < 25 + 10 * 30
    with counted(engine) as statements:
        assert calendar.work() == found
    assert len(statements) < 14


def test_a_sweep_assesses_every_table_once_and_finds_what_was_never_assessed(
    engine: Engine, calendar: Calendar, route: Route
) -> None:
    plant(route)
    with writing(engine) as session:
        session.execute(text("DELETE FROM work"))
        session.execute(text("DELETE FROM touched"))
    assert calendar.work() == []
    last = sweep(engine, after=None, now=calendar.now)
    assert last is not None
    assert sweep(engine, after=last, now=calendar.now) is None
    assert [item["table"] for item in calendar.work()] == [f"Table {day}" for day in range(1, 8)]
