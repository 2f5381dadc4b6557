"""A table out of order sells nothing meanwhile: its box, its silence; and a table that fails again and again (J2)."""

from typing import Any
from uuid import uuid4

import pytest

from tests.worklist.conftest import Calendar

PLACED = "2026-10-01T12:00:00Z"


@pytest.fixture
def table(calendar: Calendar) -> dict[str, Any]:
    """A table whose box holds 200.00."""
    route = calendar.route
    return route.table(route.venue()["id"], placed_at=PLACED, cash_box={"value_max": "200.00"})


def report(calendar: Calendar, table: dict[str, Any], **changes: Any) -> str:
    job = {"id": str(uuid4()), "table_id": table["id"], "reported_at": calendar.now.isoformat()}
    return str(calendar.route.post("/jobs", {**job, "fault": "no_power", "playable": False, **changes})["id"])


def mend(calendar: Calendar, job_id: str) -> None:
    calendar.route.post(f"/jobs/{job_id}/done", {"at": calendar.now.isoformat(), "found": "A fuse."})


def due(calendar: Calendar, kind: str) -> list[str]:
    """Return when work of a kind is due, also before it shows."""
    changes = calendar.client.get("/v1/worklist/changes").json()["items"]
    return [item["work"]["due_at"] for item in changes if item["work"] and item["work"]["kind"] == kind]


def test_days_out_of_order_count_neither_in_the_rate_of_a_box_nor_in_its_forecast(
    calendar: Calendar, table: dict[str, Any]
) -> None:
    calendar.on("2026-11-02")
    calendar.collect(table, {"1.00": 100})
    calendar.on("2026-11-12")
    calendar.collect(table, {"1.00": 100})
    assert due(calendar, "collect") == ["2026-12-02T17:00:00Z"]  # 10.00 a day
    calendar.on("2026-11-04")
    job = report(calendar, table)
    calendar.on("2026-11-09")
    mend(calendar, job)
    calendar.on("2026-11-12")
    assert due(calendar, "collect") == ["2026-11-22T17:00:00Z"]  # 100.00 in five days in order
    calendar.on("2026-11-15")
    job = report(calendar, table)
    assert due(calendar, "collect") == []
    calendar.on("2026-11-18")
    mend(calendar, job)
    assert due(calendar, "collect") == ["2026-11-25T17:00:00Z"]  # three days before, seven after
    report(calendar, table, playable=True)
    assert due(calendar, "collect") == ["2026-11-25T17:00:00Z"]


def test_a_box_that_was_full_before_its_table_broke_is_still_to_be_collected(
    calendar: Calendar, table: dict[str, Any]
) -> None:
    calendar.on("2026-11-02")
    calendar.collect(table, {"1.00": 100})
    calendar.on("2026-11-07")
    calendar.collect(table, {"1.00": 100})
    calendar.on("2026-11-18")
    report(calendar, table)
    assert due(calendar, "collect") == ["2026-11-17T17:00:00Z"]


def test_a_table_out_of_order_is_not_silent_and_silence_begins_again_when_it_is_in_order(
    calendar: Calendar, table: dict[str, Any]
) -> None:
    calendar.on("2026-11-01")
    calendar.read(table, note="All well.")
    calendar.on("2026-11-05")
    job = report(calendar, table)
    calendar.on("2026-11-20")
    assert calendar.only("ask_venue") == []
    mend(calendar, job)
    calendar.on("2026-12-03")
    assert calendar.only("ask_venue") == []
    calendar.on("2026-12-04")
    (call,) = calendar.only("ask_venue")
    assert call["due_at"] == "2026-12-04T17:00:00Z"
    assert call["reason"] == "No reading since 1 Nov 2026, in order again since 20 Nov 2026: call the venue."
    calendar.read(table, note="All well.")
    assert calendar.only("ask_venue") == []


def fails_again(calendar: Calendar) -> list[dict[str, Any]]:
    return [item for item in calendar.only("review") if item["code"] == "fails_again"]


def test_a_table_that_fails_again_and_again_is_work_until_it_no_longer_does(
    calendar: Calendar, table: dict[str, Any]
) -> None:
    for day, fault in (("2026-11-02", "no_power"), ("2026-11-20", "ball_stuck")):
        calendar.on(day)
        mend(calendar, report(calendar, table, fault=fault))
    assert fails_again(calendar) == []
    calendar.on("2027-01-30")
    newest = report(calendar, table, playable=True)
    (item,) = fails_again(calendar)
    assert item["reason"] == (
        "3 faults in 90 days, the last on 30 Jan 2027: no power 2 times, ball stuck. Overhaul the table, or replace it."
    )
    assert (item["refers_to"], item["due_at"], item["closes_by"]) == (newest, "2027-01-30T17:00:00Z", "record_or_words")
    calendar.on("2027-01-31T16:59:00+00:00")
    assert len(fails_again(calendar)) == 1
    calendar.on("2027-01-31")  # ninety days after the first of the three
    assert fails_again(calendar) == []


def test_words_close_it_and_another_fault_brings_it_back(calendar: Calendar, table: dict[str, Any]) -> None:
    for day in ("2026-11-02", "2026-11-03", "2026-11-04"):
        calendar.on(day)
        report(calendar, table, playable=True)
    (item,) = fails_again(calendar)
    calendar.route.post(f"/worklist/{item['id']}/completion", {"words": "A new board is on order."})
    assert fails_again(calendar) == []
    calendar.on("2026-11-10")
    report(calendar, table, playable=True)
    (again,) = fails_again(calendar)
    assert again["reason"].startswith("4 faults in 90 days")


def test_how_often_is_too_often_is_a_setting(calendar: Calendar, table: dict[str, Any]) -> None:
    for day in ("2026-11-02", "2026-11-20"):
        calendar.on(day)
        report(calendar, table, playable=True)
    assert fails_again(calendar) == []
    settings = calendar.client.get("/v1/settings").json()
    assert settings["faults"] == {"again": 3, "within_days": 90}
    for limits, count in (
        ({"again": 2}, 1),
        ({"again": 2, "within_days": 18}, 0),
        ({"again": 2, "within_days": 19}, 1),
    ):
        answer = calendar.client.put("/v1/settings", json={"faults": limits})
        assert answer.json()["faults"] == {"within_days": 90, **limits}
        assert len(fails_again(calendar)) == count, limits
    assert calendar.client.put("/v1/settings", json={"faults": {"again": 1}}).status_code == 422


def test_a_table_that_has_left_the_route_is_no_longer_work(calendar: Calendar, table: dict[str, Any]) -> None:
    for day in ("2026-11-02", "2026-11-03", "2026-11-04"):
        calendar.on(day)
        report(calendar, table)
    assert len(fails_again(calendar)) == 1
    calendar.route.post(f"/tables/{table['id']}/retirement", {"how": "lost", "at": calendar.now.isoformat()})
    assert fails_again(calendar) == []
