"""How the list is brought up to date: outside the write transaction, table by table, and never by an older result."""

import logging
from datetime import datetime, timedelta
from typing import Any

import pytest
from baizebook.pool_tables.rows import PoolTableRow
from baizebook.pricing.effort import STEPS_MAX, Effort, Stop, Stopped
from baizebook.reports.over_and_short import FEWEST_POINTS
from baizebook.store.changes import note_tables
from baizebook.store.db import reading, writing
from baizebook.worklist import queries, service
from baizebook.worklist.assessment import find_work
from baizebook.worklist.queries import tables_waiting, touched_tables
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session, select

from tests.conftest import Route
from tests.worklist.conftest import Calendar

ELEVEN = {"time": "11:00", "weekday": "sun", "display": "24h"}


def spoil(engine: Engine, label: str) -> None:
    """Store a profile that no message could bring in: a cash box with a limit that is no amount."""
    with writing(engine) as session:
        row = session.exec(select(PoolTableRow).where(PoolTableRow.label == label)).one()
        row.profile = {**row.profile, "cash_box": {"value_max": "much"}}
        session.add(row)
        note_tables(session, [row.id])


def test_a_table_that_cannot_be_judged_is_one_line_and_a_trace_and_the_others_are_listed(
    engine: Engine, calendar: Calendar, route: Route, caplog: pytest.LogCaptureFixture
) -> None:
    venue = route.venue()
    tables = [route.table(venue["id"], label=label) for label in ("Left", "Right")]
    for table in tables:
        calendar.read(table, clock=ELEVEN)
    spoil(engine, "Left")
    with caplog.at_level(logging.ERROR):
        found = {item["table"]: item for item in calendar.work()}
    assert (found["Left"]["kind"], found["Left"]["code"]) == ("review", "not_assessed")
    assert found["Right"]["kind"] == "set_clock"
    assert len(found) == 2
    (record,) = [record for record in caplog.records if record.name == "baizebook.worklist.service"]
    assert tables[0]["id"] in record.getMessage()
    assert record.exc_info is not None


def test_a_line_for_a_table_that_cannot_be_judged_keeps_its_date_and_goes_when_it_can(
    engine: Engine, calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], label="Left")
    spoil(engine, "Left")
    (first,) = calendar.work()
    calendar.on("2026-11-03")
    calendar.read(table, clock={**ELEVEN, "weekday": "tue"})
    assert calendar.work() == [first]
    with writing(engine) as session:
        row = session.exec(select(PoolTableRow)).one()
        row.profile = {**row.profile, "cash_box": {}}
        session.add(row)
        note_tables(session, [row.id])
    assert [item["kind"] for item in calendar.work()] == ["set_clock"]


def test_nothing_is_judged_while_a_transaction_writes(
    engine: Engine, calendar: Calendar, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock=ELEVEN)
    judged: list[bool] = []

    def judging(*args: Any, **facts: Any) -> Any:
        with writing(engine) as session:  # on SQLite this waits for whoever writes, and fails if that is this thread
            judged.append(session.exec(select(PoolTableRow.label)).first() is not None)
        return find_work(*args, **facts)

    find_work = service.find_work
    monkeypatch.setattr(service, "find_work", judging)
    assert [item["kind"] for item in calendar.work()] == ["set_clock"]
    assert judged == [True]


def test_an_older_result_never_replaces_a_newer_one(engine: Engine, calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock=ELEVEN)

    def load_and_decide(session: Session) -> tuple[Any, Any]:
        notes = touched_tables(session, at_most=10)
        return service._assess(session, list(notes), now=calendar.now, work=Effort()), notes

    with reading(engine) as session:
        older = load_and_decide(session)
    calendar.now += timedelta(minutes=1)
    calendar.read(table, clock={**ELEVEN, "time": "12:01"}, done=["clock_set"])
    with reading(engine) as session:
        newer = load_and_decide(session)
    for found, notes in (newer, older):
        with writing(engine) as session:
            service._save(session, found, notes, now=calendar.now)
    assert calendar.work() == []


def test_what_is_recorded_while_a_table_is_assessed_stays_to_be_assessed(
    engine: Engine, calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock=ELEVEN)
    with reading(engine) as session:
        notes = touched_tables(session, at_most=10)
        found = service._assess(session, list(notes), now=calendar.now, work=Effort())
    calendar.now += timedelta(minutes=1)
    calendar.read(table, clock={**ELEVEN, "time": "12:01"}, done=["clock_set"])
    with writing(engine) as session:
        service._save(session, found, notes, now=calendar.now)
    with reading(engine) as session:
        assert tables_waiting(session) == 1
    assert calendar.work() == []


def test_the_id_of_a_note_is_never_given_again(engine: Engine, calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    seen: list[int] = []
    for _ in range(3):
        calendar.read(table, meters={})
        with reading(engine) as session:
            ((ids),) = touched_tables(session, at_most=1).values()
            seen += ids
        calendar.work()
    assert seen == sorted(set(seen))


@pytest.mark.parametrize("name", ["_STEPS_OF_A_TABLE", "STEPS_OF_A_PRICE"])
def test_tables_that_take_long_are_assessed_a_few_at_a_read_and_the_rest_is_said_to_wait(
    engine: Engine, calendar: Calendar, route: Route, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff()["id"])
    for number in range(5):
        table = route.table(venue["id"], label=f"T{number}", controller={"games": {"prices_max": 2}})
        calendar.read(table, clock=ELEVEN)
    monkeypatch.setattr(service, name, STEPS_MAX // 2)
    for still_waiting in (3, 1, 0, 0):
        service.catch_up(engine, now=calendar.now)
        with reading(engine) as session:
            assert tables_waiting(session) == still_waiting


def test_each_box_of_a_table_is_work_that_is_counted(
    engine: Engine, calendar: Calendar, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    venue = route.venue()
    for number in range(3):
        calendar.collect(route.table(venue["id"], label=f"T{number}"), {"1.00": 4})
    monkeypatch.setattr(service, "_STEPS_OF_A_BOX", STEPS_MAX // 2)
    for still_waiting in (1, 0):
        service.catch_up(engine, now=calendar.now)
        with reading(engine) as session:
            assert tables_waiting(session) == still_waiting


def test_the_chart_of_a_collector_is_of_the_newest_collections(
    calendar: Calendar, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    venue = route.venue()["id"]
    meters = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
    table, charted, chart = route.table(venue, meters=meters), list[Any](), queries.differences_of_collector
    for day in range(1, FEWEST_POINTS + 1):
        calendar.on(f"2026-11-{day:02}")
        calendar.collect(table, {"1.00": 4}, meters={"cash": 16 * day})
    monkeypatch.setattr(queries, "_CHARTED_MAX", 3)

    def charted_after(session: Session, collector: str, *, after: datetime) -> Any:
        found = chart(session, collector, after=after)
        charted.append([point.collected_at for point in found.points])
        return found

    monkeypatch.setattr(queries, "differences_of_collector", charted_after)
    calendar.work()
    assert [[at.day for at in chart] for chart in charted] == [[FEWEST_POINTS - 2, FEWEST_POINTS - 1, FEWEST_POINTS]]


def test_the_tables_at_the_venue_that_is_asked_about_are_assessed_before_others(
    calendar: Calendar, route: Route, at_noon: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "_STEPS_OF_A_TABLE", STEPS_MAX // 2)  # two tables at a read
    for _ in range(5):
        calendar.read(route.table(route.venue()["id"]), clock=ELEVEN)
    asked = route.venue()["id"]
    calendar.read(route.table(asked), clock=ELEVEN)
    found = at_noon.get("/v1/worklist", params={"venue_id": asked}).json()
    assert found["items"]
    assert found["waiting"] == 4


def test_assessing_ends_where_nobody_wants_the_list_any_more(engine: Engine, calendar: Calendar, route: Route) -> None:
    venue = route.venue()
    calendar.read(route.table(venue["id"]), clock=ELEVEN)
    stop = Stop()
    stop.end()
    with pytest.raises(Stopped):
        service.catch_up(engine, now=calendar.now, stop=stop)
    with reading(engine) as session:
        assert tables_waiting(session) == 1


def test_a_table_of_which_something_is_recorded_all_the_time_is_assessed_once_at_a_read(
    engine: Engine, calendar: Calendar, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = route.table(route.venue()["id"])
    calendar.read(table, clock=ELEVEN)
    judged = 0

    def find_work_meanwhile(*facts: Any, **more: Any) -> Any:
        nonlocal judged
        judged += 1
        calendar.read(table, clock=ELEVEN)
        return find_work(*facts, **more)

    monkeypatch.setattr(service, "find_work", find_work_meanwhile)
    service.catch_up(engine, now=calendar.now)
    assert judged == 1
    with reading(engine) as session:
        assert tables_waiting(session) == 1
