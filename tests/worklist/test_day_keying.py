"""Prices of one day on a controller whose clock knows no dates: keyed the day before, keyed back after it (S6)."""

from typing import Any

import pytest

from tests.conftest import Route
from tests.worklist.conftest import Calendar

WEEKDAY = {"clock": "weekday"}


@pytest.fixture
def new_year(calendar: Calendar, route: Route) -> tuple[dict[str, Any], dict[str, Any]]:
    """A table with a weekday clock, keyed, and a schedule with a dearer New Year's Eve; return table and schedule."""
    venue, tariff = route.venue(), route.tariff()
    dearer = route.tariff(code="dearer", games={"prices": [{"price": "2.00", "units": 1}]})
    eve = {"name": "New Year's Eve", "on": "2026-12-31", "tariff": dearer["id"]}
    schedule = route.schedule(venue["id"], tariff["id"], dates=[eve])
    table = route.table(venue["id"], controller=WEEKDAY)
    key(calendar, table, schedule)
    calendar.read(table, done=["settings_keyed"])
    return table, schedule


def key(calendar: Calendar, table: dict[str, Any], schedule: dict[str, Any], **more: Any) -> dict[str, Any]:
    keying = {"schedule_id": schedule["id"], "keyed_at": calendar.now.isoformat(), "by": "Rosalind", **more}
    return calendar.route.post(f"/tables/{table['id']}/keyings", keying)


def test_a_date_is_to_be_keyed_the_day_before_and_keyed_back_after_it(
    calendar: Calendar, new_year: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    table, schedule = new_year
    calendar.on("2026-12-20")
    calendar.read(table, meters={})
    assert calendar.only("key_settings") == []
    calendar.on("2026-12-24")
    (item,) = calendar.only("key_settings")
    assert (item["code"], item["due_at"], item["refers_to"]) == (
        "key_for_the_day",
        "2026-12-30T11:00:00Z",
        schedule["id"],
    )
    assert item["reason"] == (
        "New Year's Eve on 31 Dec 2026: the controller knows no dates. Key it for that day and key it back afterwards."
    )
    calendar.on("2026-12-30")
    made = key(calendar, table, schedule, for_on="2026-12-31")
    (back,) = calendar.only("key_settings")
    assert (back["code"], back["due_at"]) == ("key_back", "2027-01-01T11:00:00Z")
    assert back["reason"] == "Keyed for 31 Dec 2026 alone: key the usual prices back when that day has ended."
    calendar.on("2027-01-01")
    key(calendar, table, schedule)
    calendar.read(table, done=["settings_keyed"])
    assert calendar.only("key_settings") == []
    assert made["for_on"] == "2026-12-31"


def test_a_date_that_nobody_keyed_is_over_when_it_has_ended(
    calendar: Calendar, new_year: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    table, _ = new_year
    calendar.on("2026-12-30")
    calendar.read(table, meters={})
    assert [item["code"] for item in calendar.only("key_settings")] == ["key_for_the_day"]
    calendar.on("2027-01-01")
    assert calendar.only("key_settings") == []


def test_a_controller_that_knows_dates_and_a_date_that_changes_nothing_need_nothing(
    calendar: Calendar, route: Route
) -> None:
    venue, tariff = route.venue(), route.tariff()
    dearer = route.tariff(code="dearer", games={"prices": [{"price": "2.00", "units": 1}]})
    dates = [
        {"name": "Anniversary", "on": "2026-11-05", "tariff": dearer["id"]},
        {"name": "As usual", "on": "2026-11-06", "tariff": tariff["id"]},
    ]
    schedule = route.schedule(venue["id"], tariff["id"], dates=dates)
    tables = [route.table(venue["id"], label=clock, controller={"clock": clock}) for clock in ("date", "weekday")]
    for table in tables:
        key(calendar, table, schedule)
        calendar.read(table, done=["settings_keyed"])
    found = [(item["table"], item["code"], item["due_at"]) for item in calendar.only("key_settings")]
    assert found == [("weekday", "key_for_the_day", "2026-11-04T11:00:00Z")]
