"""The settings sheet through the service: what to hold, what cannot be held, and the way there."""

from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route

WHOLE_WEEK = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
PLAIN = {"games": {"prices": [{"price": "1.00", "units": 1}]}, "minutes": {"prices": [{"price": "4.00", "units": 30}]}}
AN_ODD_CONTROLLER = {
    "games": {"prices_max": 2, "price_step": "0.25"},
    "minutes": {"prices_max": 0},
    "windows_per_day": 1,
    "take_over": [{"from": "mon", "to": ["tue", "wed", "thu", "fri", "sat", "sun"]}],
}


@pytest.fixture(autouse=True)
def standing_clock(at_noon: TestClient) -> None:
    """Every test here happens on Wednesday 2026-11-25, noon in New York."""


def sheet(client: TestClient, table: dict[str, Any], **asked: str) -> dict[str, Any]:
    response = client.get(f"/v1/tables/{table['id']}/settings-sheet", params=asked)
    assert response.status_code == 200, response.text
    return response.json()  # type: ignore[no-any-return]


def key(route: Route, table: dict[str, Any], schedule: dict[str, Any]) -> None:
    keyed_at = (NOON - timedelta(hours=1)).isoformat()
    route.post(f"/tables/{table['id']}/keyings", {"schedule_id": schedule["id"], "keyed_at": keyed_at, "by": "Ann"})


def test_a_table_of_which_nothing_is_stated_holds_every_day_as_listed(client: TestClient, route: Route) -> None:
    venue = route.venue()
    tariff = route.tariff()
    free = route.post("/tariffs", {"code": "free", "name": "On the house", "currency": "USD", "free": True})
    window = {"name": "Sunday", "days": ["sun"], "from": "12:00", "to": "18:00", "tariff": free["id"]}
    schedule = route.schedule(venue["id"], tariff["id"], weekly=[window])
    answer = sheet(client, route.table(venue["id"]))
    assert next(iter(answer)) == "cannot_hold"
    assert answer["cannot_hold"] == []
    assert (answer["schedule_id"], answer["schedule_of"]) == (schedule["id"], "venue")
    assert [day["day"] for day in answer["days"]] == WHOLE_WEEK
    games = {"prices": WEEKDAY_GAMES, "counting": "repeat"}
    minutes = {"prices": [{"price": "4.00", "units": 25}, {"price": "12.00", "units": 84}], "counting": "repeat"}
    priced = {"games": games, "minutes": minutes, "free": False}
    assert answer["days"][0]["windows"] == [{"from": "00:00", "to": "00:00", **priced}]
    assert answer["days"][6]["windows"] == [
        {"from": "00:00", "to": "12:00", **priced},
        {"from": "12:00", "to": "18:00", "games": None, "minutes": None, "free": True},
        {"from": "18:00", "to": "00:00", **priced},
    ]
    assert answer["plan"]["starts_from"] == "blank"
    assert answer["plan"]["values_to_key"] == sum(step["values_to_key"] for step in answer["plan"]["steps"])


WEEKDAY_GAMES = [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}]


def test_what_the_controller_cannot_hold_is_said_first_with_what_happens_instead(
    client: TestClient, route: Route
) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff()["id"])
    answer = sheet(client, route.table(venue["id"], controller=AN_ODD_CONTROLLER, power={"kind": "mains"}))
    assert [(row["code"], row["sells"], row["found"]) for row in answer["cannot_hold"]] == [
        ("too_many_prices", "games", "7.00 for 11 games"),
        ("kind_not_held", "minutes", "minutes sold"),
    ]
    assert answer["cannot_hold"][1]["instead"] == "minutes are not sold"
    held = {"prices": WEEKDAY_GAMES[:2], "counting": "repeat"}
    for day in answer["days"]:
        assert day["windows"] == [{"from": "00:00", "to": "00:00", "games": held, "minutes": None, "free": False}]
    # Monday: how many prices, what lies past the last, two prices with two values each; six days take it over.
    assert (answer["plan"]["values_to_key"], answer["plan"]["shortest"]) == (6 + 6, True)
    assert [caution["code"] for caution in answer["cautions"]] == ["unplug", "qualified_person", "local_rules"]


def test_the_plan_starts_from_what_was_keyed_last(client: TestClient, route: Route) -> None:
    venue = route.venue()
    old = route.schedule(venue["id"], route.tariff(**PLAIN)["id"])
    table = route.table(venue["id"], power={"kind": "battery"})
    key(route, table, old)
    assert sheet(client, table)["plan"] == {
        "starts_from": "keyed",
        "steps": [],
        "values_to_key": 0,
        "shortest": True,
    }
    dearer = route.tariff(games={"prices": [{"price": "1.25", "units": 1}]}, minutes=PLAIN["minutes"])
    coming = route.schedule(venue["id"], dearer["id"], effective_on="2026-12-01")
    assert sheet(client, table)["schedule_id"] == old["id"]
    assert sheet(client, table, on="2026-11-30")["schedule_id"] == old["id"]
    answer = sheet(client, table, on="2026-12-01")
    assert (answer["schedule_id"], answer["holds_from"]) == (coming["id"], "2026-12-01T11:00:00Z")
    assert [step["words"] for step in answer["plan"]["steps"]][:2] == [
        "Monday, window 1: key 1.25 for 1 game",
        "Tuesday, window 1: key 1.25 for 1 game",
    ]
    assert answer["plan"]["steps"][0]["values"] == [
        {"window": 1, "sells": "games", "price_number": 1, "name": "price", "value": "1.25"}
    ]
    assert (answer["plan"]["values_to_key"], answer["cautions"]) == (7, [])


def test_a_sheet_sent_back_as_found_needs_no_step_and_a_new_board_needs_them_all(
    client: TestClient, route: Route
) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff(**PLAIN)["id"])
    table = route.table(venue["id"])
    blank = sheet(client, table)
    reading = {"table_id": table["id"], "taken_at": NOON.isoformat()}
    found = {**reading, "id": "01939e2f-0000-7000-8000-000000000001", "settings": {"days": blank["days"]}}
    assert route.post("/readings", {"readings": [found]})["recorded"] == 1
    stands = sheet(client, table)["plan"]
    assert (stands["starts_from"], stands["values_to_key"]) == ("found", 0)
    later = (NOON + timedelta(minutes=2)).isoformat()
    board = {**reading, "id": "01939e2f-0000-7000-8000-000000000002", "taken_at": later, "done": ["board_replaced"]}
    assert route.post("/readings", {"readings": [board]})["recorded"] == 1
    assert sheet(client, table)["plan"] == blank["plan"]


def test_settings_found_before_the_table_was_entered_are_what_stands(client: TestClient, route: Route) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff(**PLAIN)["id"])
    table = route.table(venue["id"], placed_at=(NOON - timedelta(days=30)).isoformat())
    found = {
        "id": "01939e2f-0000-7000-8000-000000000003",
        "table_id": table["id"],
        "taken_at": (NOON - timedelta(days=3)).isoformat(),
        "settings": {"days": sheet(client, table)["days"]},
    }
    assert route.post("/readings", {"readings": [found]})["recorded"] == 1
    stands = sheet(client, table)["plan"]
    assert (stands["starts_from"], stands["values_to_key"]) == ("found", 0)


def test_dates_are_on_the_sheet_of_a_controller_that_knows_them(client: TestClient, route: Route) -> None:
    venue = route.venue()
    dates = [{"name": "Inventory", "on": "2026-12-02", "tariff": None}]
    route.schedule(venue["id"], route.tariff(**PLAIN)["id"], dates=dates)
    knows_dates = sheet(client, route.table(venue["id"], controller={"clock": "date", "day_turns_at": "06:00"}))
    assert [day["day"] for day in knows_dates["days"]] == [*WHOLE_WEEK, "2026-12-02"]
    assert knows_dates["days"][7]["windows"] == [
        {"from": "06:00", "to": "06:00", "games": None, "minutes": None, "free": False}
    ]
    weekdays_only = sheet(client, route.table(venue["id"], controller={"clock": "weekday", "day_turns_at": "06:00"}))
    assert [row["code"] for row in weekdays_only["cannot_hold"]] == ["date_not_held"]
    assert weekdays_only["cannot_hold"][0]["places"] == [
        {"day": "2026-12-02", "from": "06:00", "to": "06:00", "name": "Inventory"}
    ]


def test_before_the_first_schedule_the_sheet_is_for_the_one_to_come(client: TestClient, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"])
    address = f"/v1/tables/{table['id']}/settings-sheet"
    assert client.get(address).json()["type"] == "/problems/no_schedule_yet"
    coming = route.schedule(venue["id"], route.tariff()["id"], effective_on="2026-12-24")
    assert sheet(client, table)["schedule_id"] == coming["id"]
    refused = client.get(address, params={"on": "2026-12-23"})
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/no_schedule_yet")


def test_a_table_in_the_workshop_has_no_sheet(client: TestClient, route: Route) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff()["id"])
    table = route.table(venue["id"])
    route.post(f"/tables/{table['id']}/moves", {"venue_id": None, "moved_at": NOON.isoformat()})
    refused = client.get(f"/v1/tables/{table['id']}/settings-sheet")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/not_at_a_venue")


def test_only_owners_and_collectors_see_a_sheet(client: TestClient, route: Route) -> None:
    venue = route.venue()
    route.schedule(venue["id"], route.tariff()["id"])
    address = f"/v1/tables/{route.table(venue['id'])['id']}/settings-sheet"
    assert client.get(address, headers=route.token("collector")).status_code == 200
    assert client.get(address, headers=route.token("accountant")).status_code == 403
    assert client.get(address, headers=route.token("venue", venue_id=venue["id"])).status_code == 403
    assert client.get("/v1/tables/00000000-0000-4000-8000-000000000000/settings-sheet").status_code == 404


def test_a_controller_that_contradicts_itself_is_refused_when_it_is_stated(client: TestClient, route: Route) -> None:
    venue = route.venue()
    table = {"label": "Back room", "accepts": ["1.00"]}
    controller = {"minutes": {"units_min": 30, "units_max": 20}, "take_over": [{"from": "mon", "to": ["mon"]}]}
    refused = client.post(f"/v1/venues/{venue['id']}/tables", json={**table, "controller": controller})
    assert refused.status_code == 422
    assert sorted(error["where"] for error in refused.json()["errors"]) == [
        "controller.minutes.units_max",
        "controller.take_over.to",
    ]
