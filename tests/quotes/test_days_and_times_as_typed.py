"""A weekday in any case and short form, a time on either clock: read as people type them."""

from datetime import time

import pytest
from baizebook.web.schema_types import AskedDay, AskedTime
from fastapi.testclient import TestClient
from pydantic import TypeAdapter, ValidationError

from tests.conftest import Route

DAYS = {
    "mon": ("mon", "Mon", "MONDAY", "monday"),
    "tue": ("tue", "Tues", "Tuesday"),
    "wed": ("wed", "weds", "WEDNESDAY"),
    "thu": ("thu", "thur", "Thurs", "thursday"),
    "fri": ("Fri", "friday"),
    "sat": ("sat", "Saturday"),
    "sun": ("sun", "SUNDAY"),
}
TIMES = {
    "21:00": time(21),
    "9:05": time(9, 5),
    "21.00": time(21),
    "9.30 pm": time(21, 30),
    "0:00": time(0),
    "9pm": time(21),
    "9 PM": time(21),
    "09:30pm": time(21, 30),
    "12am": time(0),
    "12:30am": time(0, 30),
    "12pm": time(12),
}


def test_days_are_read_as_people_type_them() -> None:
    reads = TypeAdapter(AskedDay).validate_python
    assert {day: {reads(typed) for typed in all_typed} for day, all_typed in DAYS.items()} == {
        day: {day} for day in DAYS
    }


def test_times_are_read_on_either_clock() -> None:
    reads = TypeAdapter(AskedTime).validate_python
    assert {typed: reads(typed) for typed in TIMES} == TIMES


@pytest.mark.parametrize("typed", ["", "m", "tuesd", "dienstag", "tue ", "9", "24:00", "13pm", "0am", "9:5", "9pm."])
def test_what_is_neither_is_refused(typed: str) -> None:
    for reads in (TypeAdapter(AskedDay), TypeAdapter(AskedTime)):
        with pytest.raises(ValidationError):
            reads.validate_python(typed)


def test_an_address_and_a_scenario_take_them_alike(client: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    route.schedule(venue, route.tariff()["id"])
    plain = client.get(f"/v1/quotes?venue_id={venue}&day=tuesday&time=21:00&money=10.00").json()
    assert client.get(f"/v1/quotes?venue_id={venue}&day=Tues&time=9pm&money=10.00").json() == plain
    scenario = {"venue_id": venue, "day": "TUE", "time": "9 pm", "money": "10.00"}
    answered = client.post("/v1/quotes", json={"scenarios": [scenario]}).json()["results"][0]["answer"]
    assert answered["at"] == plain["at"]
    refused = client.get(f"/v1/quotes?venue_id={venue}&day=someday&time=9&money=10.00").json()["errors"]
    assert [(error["where"], error["expected"]) for error in refused] == [
        ("query.day", "a weekday such as tue or Tuesday"),
        ("query.time", "a time such as 21:00 or 9pm"),
    ]


def test_a_schedule_takes_days_and_times_as_people_type_them(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue()["id"], route.tariff()["id"]
    window = {"name": "Early", "days": ["Mon", "TUESDAY"], "from": "3pm", "to": "18.00", "tariff": tariff}
    made = route.schedule(venue, tariff, weekly=[window])
    assert made["weekly"][0]["days"] == ["mon", "tue"]
    assert (made["weekly"][0]["from"], made["weekly"][0]["to"]) == ("15:00", "18:00")
    assert client.get(f"/v1/venues/{venue}/schedules").json()["items"][0]["weekly"] == made["weekly"]


@pytest.mark.parametrize(("sent", "string"), [(4, "4"), (4.5, "4.50"), (0.75, "0.75"), (10.0, "10.00")])
def test_a_price_sent_as_a_number_is_told_the_string_to_send(client: TestClient, sent: float, string: str) -> None:
    games = {"prices": [{"price": sent, "units": 1}]}
    refused = client.post("/v1/tariffs/check", json={"code": "a", "name": "a", "currency": "USD", "games": games})
    (error,) = refused.json()["errors"]
    assert (refused.status_code, error["where"]) == (422, "games.prices[0].price")
    assert error["expected"] == f'the string "{string}": amounts are text, never a JSON number'
