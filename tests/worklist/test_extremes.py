"""No limit, date or number that can be sent makes the list or a table's health fail."""

from typing import Any

import pytest

from tests.conftest import Route
from tests.worklist.conftest import Calendar

METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.01", "digits": 12, "resets": "never"},
    {"name": "till", "counts": "money", "unit_value": "999999.99", "digits": 12, "resets": "at_collection"},
]
POWER = {"kind": "battery", "chemistry": "agm", "nominal_volts": 12}
BOXES = [
    {"value_max": "999999999.99"},
    {"coins_max": 1_000_000},
    {"notes_max": 1_000_000, "coins_max": 1_000_000},
    {"value_max": "0.01", "coins_max": 1, "notes_max": 1},
]


def is_listed(calendar: Calendar, table: dict[str, Any]) -> None:
    """Assert that the list is answered, that the table was judged, and that its health is answered."""
    assert [item for item in calendar.work() if item["code"] == "not_assessed"] == []
    assert calendar.client.get(f"/v1/tables/{table['id']}/health").status_code == 200


@pytest.mark.parametrize("box", BOXES)
def test_a_box_with_extreme_limits_and_little_or_much_money(
    calendar: Calendar, route: Route, box: dict[str, Any]
) -> None:
    table = route.table(route.venue()["id"], cash_box=box, meters=METERS)
    calendar.read(table, meters={"cash": 0, "till": 0})
    calendar.on("2026-11-02")
    calendar.collect(table, {"0.25": 1}, meters={"cash": 1, "till": 0})
    calendar.on("2027-11-02")
    calendar.collect(table, {"0.25": 1}, meters={"cash": 2, "till": 1})
    is_listed(calendar, table)
    calendar.on("2027-11-20")
    calendar.read(table, meters={"cash": 999_999_999_999, "till": 999_999_999_999})
    is_listed(calendar, table)


def test_a_licence_that_expires_at_the_end_of_the_calendar(calendar: Calendar, route: Route) -> None:
    for zone in ("America/New_York", "Pacific/Kiritimati", "Pacific/Pago_Pago"):
        venue = route.venue(time_zone=zone)
        for expires_on in ("2099-12-31", "1900-01-01"):
            body = {"label": "Left", "accepts": ["1.00"], "licence": {"number": "L", "expires_on": expires_on}}
            made = calendar.client.post(f"/v1/venues/{venue['id']}/tables", json=body)
            assert made.status_code in (201, 422), made.text
            if made.status_code == 201:
                is_listed(calendar, made.json())


@pytest.mark.parametrize(
    "moment", ["9999-12-31", "9999-12-31T23:59:59-12:00", "0001-01-01", "0001-01-01T00:00:00+14:00"]
)
def test_a_due_before_at_either_end_of_the_calendar(calendar: Calendar, moment: str) -> None:
    assert calendar.client.get("/v1/worklist", params={"due_before": moment}).status_code in (200, 422)


@pytest.mark.parametrize("cursor", ["99999999999999999", "0"])
def test_a_cursor_at_either_end_of_time(calendar: Calendar, cursor: str) -> None:
    after = f"{cursor}-00000000-0000-4000-8000-000000000000"
    assert calendar.client.get("/v1/worklist", params={"after": after}).status_code == 200


@pytest.mark.parametrize("date", ["2099-12-31", "1970-01-01", "9999-12-31", "0001-01-01"])
@pytest.mark.parametrize("weekday", ["mon", None])
def test_a_clock_that_shows_a_date_far_away(calendar: Calendar, route: Route, date: str, weekday: str | None) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    table = route.table(venue["id"], power=POWER)
    for day in ("2026-11-02", "2026-11-03"):
        calendar.on(day)
        shown = {"time": "23:59", "date": date, "display": "24h", **({"weekday": weekday} if weekday else {})}
        reading = {"id": f"0193{day[-2:]}5c-0000-7000-8000-000000000000", "table_id": table["id"]}
        sent = {**reading, "taken_at": calendar.now.isoformat(), "clock": shown}
        answer = calendar.client.post("/v1/readings", json={"readings": [sent]})
        assert answer.status_code in (200, 201, 422), answer.text
    is_listed(calendar, table)


@pytest.mark.parametrize(("first", "last"), [("98.999", "0.001"), ("12.601", "12.600"), ("0.001", "98.999")])
def test_voltages_that_fall_as_fast_or_as_slowly_as_can_be(
    calendar: Calendar, route: Route, first: str, last: str
) -> None:
    table = route.table(route.venue()["id"], power=POWER)
    for day, volts in (("2026-11-02", first), ("2026-11-06", first), ("2027-10-12", last)):
        calendar.on(day)
        calendar.read(table, supply={"volts": volts, "rested_minutes": 600, "temperature_c": "-99.9"})
    is_listed(calendar, table)


def test_a_clock_that_drifts_as_slowly_as_can_be_told(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    for day, time in (("2026-11-02", "12:00"), ("2027-11-30", "11:58")):
        calendar.on(f"{day}T17:00:30+00:00")
        weekday = {"2026-11-02": "mon", "2027-11-30": "tue"}[day]
        calendar.read(table, clock={"time": time, "weekday": weekday, "display": "24h"})
    is_listed(calendar, table)


def test_prices_effective_on_the_last_day_of_the_calendar(calendar: Calendar, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    table = route.table(venue["id"])
    route.schedule(venue["id"], tariff["id"])
    for effective_on in ("2099-12-31", "9999-12-31"):
        body = {"effective_on": effective_on, "base": tariff["id"]}
        made = calendar.client.post(f"/v1/venues/{venue['id']}/schedules", json=body)
        assert made.status_code in (201, 422), made.text
        if made.status_code == 201:
            keying = {"schedule_id": made.json()["id"], "keyed_at": calendar.now.isoformat(), "by": "Ada"}
            assert calendar.client.post(f"/v1/tables/{table['id']}/keyings", json=keying).status_code == 201
            is_listed(calendar, table)
