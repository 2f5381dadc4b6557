"""Publishing says, table by table, what the controllers there cannot hold, and which days must be keyed by hand (S6)."""

from datetime import date, timedelta
from typing import Any

import pytest
from baizebook.controllers.day_keyings import day_keyings
from baizebook.pool_tables.controller import Controller
from baizebook.pricing import Calendar, Ladder, OnDate, Rung, Schedule, Tariff, Weekly, zone_named
from fastapi.testclient import TestClient

from tests.conftest import Route

GAMES_ONLY = {"minutes": {"prices_max": 0}, "clock": "date"}
PLAIN = Tariff("USD", games=Ladder((Rung(100, 1),)), id="plain")
CHEAP = Tariff("USD", games=Ladder((Rung(50, 1),)), id="cheap")
CALENDAR = Calendar(zone_named("America/New_York"))
EVE = OnDate(name="New Year's Eve", on=date(2026, 12, 31), tariff=CHEAP)


@pytest.fixture
def body(at_noon: TestClient, route: Route) -> dict[str, Any]:  # noqa: ARG001
    """A schedule: games and minutes, and an open house on Saturday 2026-12-05."""
    tariff = route.tariff()
    free = route.post("/tariffs", {"code": "free", "name": "On the house", "currency": "USD", "free": True})
    dates = [{"name": "Open house", "on": "2026-12-05", "tariff": free["id"]}]
    return {"effective_on": "2026-12-01", "base": tariff["id"], "dates": dates}


@pytest.mark.parametrize("preview", [True, False])
def test_publishing_and_its_preview_say_what_each_controller_cannot_hold(
    client: TestClient, route: Route, body: dict[str, Any], preview: bool
) -> None:
    venue = route.venue()["id"]
    knows_dates = route.table(venue, label="Knows dates", controller={"clock": "date", "free": True})
    weekdays = route.table(venue, label="Weekdays", controller={"free": True})
    games = route.table(venue, label="Games only", controller=GAMES_ONLY)
    own = route.table(venue, label="Own prices", controller=GAMES_ONLY)
    route.post(f"/tables/{own['id']}/schedules", {"effective_on": "2026-11-01", "base": None})
    answer = client.post(f"/v1/venues/{venue}/schedules", params={"preview": preview}, json=body)
    assert answer.status_code == (200 if preview else 201)
    said = {row["label"]: row for row in answer.json()["tables"]}
    assert list(said) == ["Weekdays", "Games only"]
    assert (said["Weekdays"]["table_id"], said["Games only"]["table_id"]) == (weekdays["id"], games["id"])
    assert knows_dates["id"] not in str(answer.json()["tables"])
    assert [row["code"] for row in said["Weekdays"]["cannot_hold"]] == ["date_not_held"]
    assert said["Weekdays"]["key_by_hand"] == [
        {"on": "2026-12-05", "key_on": "2026-12-04", "back_on": "2026-12-06", "names": ["Open house"]}
    ]
    codes = [row["code"] for row in said["Games only"]["cannot_hold"]]
    assert codes == ["kind_not_held", "free_play_not_held"]
    assert said["Games only"]["key_by_hand"] == []
    kept = client.get(f"/v1/venues/{venue}/schedules").json()["items"]
    assert len(kept) == (1 if preview else 2)


def test_a_roll_out_says_it_for_every_schedule_that_it_publishes(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    table = route.table(venue, controller=GAMES_ONLY)["id"]
    route.post(f"/venues/{venue}/schedules", {**body, "effective_on": "2026-11-01"})
    games = {"prices": [{"price": "1.00", "units": 1}]}
    new = route.post("/tariffs", {"code": "new", "name": "New", "currency": "USD", "games": games, "minutes": games})
    message = {"replacement": new["id"], "effective_on": "2026-12-01"}
    answer = client.post(f"/v1/tariffs/{body['base']}/rollout?preview=true", json=message).json()
    ((limits,),) = [schedule["tables"] for schedule in answer["schedules"]]
    assert (limits["table_id"], limits["cannot_hold"][0]["code"]) == (table, "kind_not_held")


def test_a_tables_own_schedule_and_its_end_say_it_for_that_table(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    route.table(venue, label="Other", controller=GAMES_ONLY)
    table = route.table(venue, controller=GAMES_ONLY)["id"]
    answer = client.post(f"/v1/tables/{table}/schedules", json=body).json()
    assert [row["table_id"] for row in answer["tables"]] == [table]
    message = {"effective_on": "2026-12-02", "follow_venue": True}
    answer = client.post(f"/v1/tables/{table}/schedules", json=message).json()
    assert (answer["tables"], answer["advice"]) == ([], [])


def test_of_weekly_windows_that_overlap_it_is_said_which_wins(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    weekly = [
        {"name": "Evening", "days": ["fri", "sat"], "from": "18:00", "to": "02:00", "tariff": body["base"]},
        {"name": "Late", "days": ["sat", "sun"], "from": "23:00", "tariff": None},
        {"name": "Noon", "days": ["fri"], "from": "12:00", "to": "18:00", "tariff": None},
    ]
    answer = client.post(f"/v1/venues/{venue}/schedules", json={**body, "weekly": weekly}).json()
    assert answer["advice"] == [
        {
            "code": "windows_overlap",
            "detail": "Evening and Late overlap on Saturday. Late wins, because it is later in the list.",
            "entries": ["weekly[0]", "weekly[1]"],
        }
    ]


def test_a_controller_that_knows_dates_needs_no_hand_and_neither_does_a_day_that_changes_nothing() -> None:
    schedule = Schedule(id="s", base=PLAIN, dates=(EVE,))
    same = Schedule(id="s", base=CHEAP, dates=(EVE,))
    december = {"currency": "USD", "first_on": date(2026, 12, 1), "last_on": date(2026, 12, 31)}
    assert len(day_keyings(schedule, Controller(), **december)) == 1
    assert day_keyings(schedule, Controller(clock="date"), **december) == ()
    assert day_keyings(same, Controller(), **december) == ()


def test_a_window_past_midnight_is_keyed_for_its_trading_date() -> None:
    eve = OnDate(name="Eve", on=date(2026, 12, 31), start=None, end=None, tariff=CHEAP)
    friday = Weekly(name="Friday", days=frozenset({4}), tariff=CHEAP)
    schedule = Schedule(id="s", base=PLAIN, weekly=(friday,), dates=(eve,))
    found = day_keyings(
        schedule, Controller(), currency="USD", first_on=date(2026, 12, 1), last_on=date(2026, 12, 1) + timedelta(60)
    )
    assert [(day.on, day.key_on, day.back_on, day.names) for day in found] == [
        (date(2026, 12, 31), date(2026, 12, 30), date(2027, 1, 1), ("Eve",))
    ]
