"""A table's quote where its controller cannot hold what is keyed: the settings sheet and the quote say the same."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

CONTROLLER = {"games": {"prices_max": 2, "price_step": "0.25"}, "minutes": {"prices_max": 0}, "windows_per_day": 2}
PLAIN = {"prices": [{"price": "1.00", "units": 1}, {"price": "5.00", "units": 6}]}
CHEAP = {"prices": [{"price": "0.50", "units": 1}]}
CAUTION = ["controller_cannot_hold"]
MONDAY_EARLY, MONDAY_NIGHT, TEAM_NIGHT = "2026-11-30T16:00", "2026-11-30T21:00", "2026-12-01T20:00"


@pytest.fixture
def venue(at_noon: TestClient, route: Route) -> str:  # noqa: ARG001
    """A venue: a game for 1.00; for 0.50 early on Mondays, and on team night, Tuesday from 19:00 to 23:00."""
    venue = route.venue()
    plain, cheap = (
        route.post("/tariffs", {"code": code, "name": code, "currency": "USD", "games": games})["id"]
        for code, games in (("plain", PLAIN), ("cheap", CHEAP))
    )
    route.schedule(
        venue["id"],
        plain,
        weekly=[{"name": "Early", "days": ["mon"], "from": "15:00", "to": "18:00", "tariff": cheap}],
        recurring=[
            {
                "name": "Team night",
                "starts_on": "2026-12-01",
                "rrule": "FREQ=WEEKLY;BYDAY=TU",
                "from": "19:00",
                "to": "23:00",
                "tariff": cheap,
            }
        ],
    )
    return str(venue["id"])


def ask(client: TestClient, table: dict[str, Any], at: str, **asked: str) -> dict[str, Any]:
    response = client.get("/v1/quotes", params={"table_id": table["id"], "at": at, **(asked or {"money": "5.00"})})
    assert response.status_code == 200, response.text
    return response.json()  # type: ignore[no-any-return]


def units(answer: dict[str, Any]) -> list[int]:
    return [offer["units"] for offer in answer["offers"]]


def test_a_window_that_the_controller_has_no_place_for_is_quoted_both_ways(
    client: TestClient, route: Route, venue: str
) -> None:
    table = route.table(venue, controller=CONTROLLER)
    early = ask(client, table, MONDAY_EARLY)
    assert (units(early), early["tariff"]["code"], early["cautions"]) == ([10], "cheap", CAUTION)
    assert units(early["instead"]) == [6]
    assert early["instead"]["detail"] == (
        "The controller cannot hold these prices: by its settings sheet it sells 1 game for 1.00 then."
    )
    night = ask(client, table, MONDAY_NIGHT)
    assert (units(night), night["cautions"], night["instead"]) == ([6], [], None)


def test_the_sheet_and_the_quote_say_the_same(client: TestClient, route: Route, venue: str) -> None:
    table = route.table(venue, controller=CONTROLLER)
    sheet = client.get(f"/v1/tables/{table['id']}/settings-sheet").json()
    (monday,) = [day["windows"] for day in sheet["days"] if day["day"] == "mon"]
    assert [window["games"]["prices"] for window in monday] == [PLAIN["prices"]]
    instead = ask(client, table, MONDAY_EARLY, money="1.00")["instead"]
    assert [(offer["kind"], offer["units"]) for offer in instead["offers"]] == [("games", 1)]
    assert ask(client, table, MONDAY_EARLY, games="6")["instead"]["offers"][0]["least"]["pay"] == "5.00"


@pytest.mark.parametrize(("clock", "instead"), [("weekday", [6]), ("date", None)])
def test_a_recurring_event_is_sold_by_a_controller_that_knows_dates(
    client: TestClient, route: Route, venue: str, clock: str, instead: list[int] | None
) -> None:
    table = route.table(venue, controller={**CONTROLLER, "windows_per_day": 3, "clock": clock})
    answer = ask(client, table, TEAM_NIGHT)
    assert (units(answer), answer["cautions"]) == ([10], CAUTION if instead else [])
    assert (answer["instead"] and units(answer["instead"])) == instead
    assert ask(client, table, "2026-12-01T18:59")["cautions"] == []
    assert ask(client, table, MONDAY_EARLY)["cautions"] == []


def test_the_controllers_day_turns_when_it_says(client: TestClient, route: Route, venue: str) -> None:
    """Cut at 16:00, the early window ends one day and begins the next: two windows a day are enough for both."""
    table = route.table(venue, controller={**CONTROLLER, "day_turns_at": "16:00"})
    assert ask(client, table, "2026-11-30T15:30")["cautions"] == []
    assert ask(client, table, "2026-11-30T17:30")["cautions"] == []
    table = route.table(venue, controller={**CONTROLLER, "day_turns_at": "16:00", "windows_per_day": 1})
    assert ask(client, table, "2026-11-30T15:30")["cautions"] == CAUTION


def test_a_kind_that_the_controller_does_not_sell_is_not_sold_instead(
    client: TestClient, route: Route, venue: str
) -> None:
    table = route.table(venue, controller={**CONTROLLER, "games": {"prices_max": 0}})
    answer = ask(client, table, MONDAY_NIGHT)
    assert (units(answer), answer["cautions"], answer["instead"]["offers"]) == ([6], CAUTION, [])
    assert "it sells nothing then" in answer["instead"]["detail"]


def test_nothing_is_said_of_a_venue_of_what_is_listed_or_of_a_controller_not_stated(
    client: TestClient, route: Route, venue: str
) -> None:
    table = route.table(venue, controller=CONTROLLER)
    for question in ({"venue_id": venue}, {"table_id": table["id"], "basis": "listed"}):
        asked = {**question, "at": MONDAY_EARLY, "money": "5.00"}
        answer = client.get("/v1/quotes", params=asked).json()
        assert (units(answer), answer["cautions"], answer["instead"]) == ([10], [], None)
    assert ask(client, route.table(venue), TEAM_NIGHT)["cautions"] == []


def test_metered_time_is_in_no_controller_and_needs_no_caution(client: TestClient, route: Route) -> None:
    venue = route.venue()
    tiers = [{"from_minutes": 0, "price": "9.00", "per_minutes": 60, "step_minutes": 15}]
    hall = {"code": "hall", "name": "Hall", "currency": "USD", "metered": {"tiers": tiers}}
    route.schedule(venue["id"], route.post("/tariffs", hall)["id"])
    answer = ask(client, route.table(venue["id"], controller=CONTROLLER), MONDAY_NIGHT)
    assert (units(answer), answer["cautions"]) == ([30], [])


def test_a_spreadsheet_is_told_too(client: TestClient, route: Route, venue: str) -> None:
    table = route.table(venue, controller=CONTROLLER)
    asked = {"table_id": table["id"], "at": MONDAY_EARLY, "money": "5.00"}
    header, line = client.get("/v1/quotes.csv", params=asked).text.splitlines()
    assert (header.split(",")[-1], line.split(",")[-1]) == ("cautions", "controller_cannot_hold")
    cell = client.get("/v1/quotes", params={**asked, "format": "text", "column": "cautions"})
    assert cell.text == "controller_cannot_hold"


def test_scenarios_are_answered_with_the_same_caution(client: TestClient, route: Route, venue: str) -> None:
    table = route.table(venue, controller=CONTROLLER)
    events = [{"kind": "insert", "at": MONDAY_EARLY, "amount": "5.00"}]
    asked = [
        {"table_id": table["id"], "at": MONDAY_EARLY, "money": "5.00"},
        {"table_id": table["id"], "events": events},
    ]
    quote, purchase = (
        result["answer"] for result in client.post("/v1/quotes", json={"scenarios": asked}).json()["results"]
    )
    assert (quote["cautions"], units(quote["instead"])) == (CAUTION, [6])
    assert (purchase["cautions"], purchase["units"], purchase["instead"]) == (CAUTION, 10, None)
