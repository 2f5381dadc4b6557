"""A table's quote is what its controller sells (W8): what was found or keyed last, as far as the controller can hold it."""

from datetime import datetime
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

CONTROLLER = {"games": {"prices_max": 2, "price_step": "0.25"}, "minutes": {"prices_max": 0}, "windows_per_day": 2}
PLAIN = {"prices": [{"price": "1.00", "units": 1}, {"price": "5.00", "units": 6}]}
CHEAP = {"prices": [{"price": "0.50", "units": 1}]}
MONDAY_EARLY, MONDAY_NIGHT, TEAM_NIGHT = "2026-11-30T16:00", "2026-11-30T21:00", "2026-12-01T20:00"
TEAM = {
    "name": "Team night",
    "starts_on": "2026-12-01",
    "rrule": "FREQ=WEEKLY;BYDAY=TU",
    "from": "19:00",
    "to": "23:00",
}


class Tables:
    """Venues and tables at noon on Wednesday 2026-11-25, and what is done to them."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.tariffs = {
            code: route.post("/tariffs", {"code": code, "name": code, "currency": "USD", "games": games})["id"]
            for code, games in (("plain", PLAIN), ("cheap", CHEAP))
        }

    def venue(self, **fields: Any) -> str:
        return str(self.route.venue(**fields)["id"])

    def schedule(self, venue_id: str, tariff: str, effective_on: str = "2026-01-01", **entries: Any) -> str:
        return str(self.route.schedule(venue_id, self.tariffs[tariff], effective_on=effective_on, **entries)["id"])

    def key(self, table_id: str, schedule_id: str, at: str, **fields: Any) -> dict[str, Any]:
        keying = {"schedule_id": schedule_id, "keyed_at": at, "by": "Bram", **fields}
        return self.route.post(f"/tables/{table_id}/keyings", keying)

    def read(self, table_id: str, at: str, **observed: Any) -> str:
        reading = {"id": str(uuid4()), "table_id": table_id, "taken_at": at, **observed}
        assert self.route.post("/readings", {"readings": [reading]})["recorded"] == 1
        return str(reading["id"])

    def find(self, table_id: str, at: str, games: dict[str, Any]) -> str:
        windows = [{"from": "00:00", "to": "00:00", "games": games}]
        days = [{"day": day, "windows": windows} for day in ("mon", "tue", "wed", "thu", "fri", "sat", "sun")]
        return self.read(table_id, at, settings={"days": days})

    def ask(self, table_id: str, at: str, **asked: str) -> dict[str, Any]:
        question = {"table_id": table_id, "at": at, **(asked or {"money": "5.00"})}
        response = self.client.get("/v1/quotes", params=question)
        assert response.status_code == 200, response.text
        return response.json()  # type: ignore[no-any-return]

    def said(self, table_id: str, at: str) -> tuple[str, list[int], list[str]]:
        answer = self.ask(table_id, at)
        return answer["basis"], units(answer), answer["cautions"]


@pytest.fixture
def tables(at_noon: TestClient, route: Route) -> Tables:
    return Tables(at_noon, route)


@pytest.fixture
def venue(tables: Tables) -> str:
    """A venue: a game for 1.00; for 0.50 early on Mondays, and on team night, Tuesday from 19:00 to 23:00."""
    id_ = tables.venue()
    early = {"name": "Early", "days": ["mon"], "from": "15:00", "to": "18:00", "tariff": tables.tariffs["cheap"]}
    tables.schedule(id_, "plain", weekly=[early], recurring=[{**TEAM, "tariff": tables.tariffs["cheap"]}])
    return id_


def units(answer: dict[str, Any]) -> list[int]:
    return [offer["units"] for offer in answer["offers"]]


def schedule_of(tables: Tables, venue: str) -> str:
    return str(tables.client.get(f"/v1/venues/{venue}/schedules").json()["items"][0]["id"])


# The three wrong answers


def test_a_table_that_moved_goes_on_selling_what_was_keyed_where_it_stood_before(tables: Tables) -> None:
    first, second = tables.venue(), tables.venue(name="Other")
    keyed = tables.schedule(first, "plain")
    tables.schedule(second, "cheap")
    table = tables.route.table(first, placed_at="2026-01-01T12:00:00Z")["id"]
    tables.key(table, keyed, "2026-01-02T12:00:00-05:00")
    tables.route.post(f"/tables/{table}/moves", {"venue_id": second, "moved_at": "2026-11-20T12:00:00-05:00"})
    answer = tables.ask(table, "2026-11-24T12:00")
    assert (answer["basis"], units(answer), answer["cautions"]) == ("keyed", [6], ["keyed_elsewhere"])
    assert (answer["venue_id"], answer["since"]) == (second, "2026-01-02T12:00:00-05:00")
    assert (units(answer["listed"]), answer["listed"]["tariff"]["code"]) == ([10], "cheap")
    assert answer["listed"]["detail"] == "The prices of another venue were keyed last."


def test_a_table_that_was_never_keyed_answers_what_is_listed_and_says_that_nothing_is_known(tables: Tables) -> None:
    venue = tables.venue()
    tables.schedule(venue, "plain")
    tables.schedule(venue, "cheap", "2026-12-01")
    table = tables.route.table(venue)["id"]
    assert tables.said(table, "2026-12-02T12:00") == ("listed", [10], ["never_keyed"])
    assert tables.ask(table, "2026-12-02T12:00")["listed"] is None


def test_a_table_keyed_early_sells_the_coming_prices_and_says_so(tables: Tables) -> None:
    venue = tables.venue()
    tables.schedule(venue, "plain")
    coming = tables.schedule(venue, "cheap", "2026-12-01")
    table = tables.route.table(venue)["id"]
    tables.key(table, coming, "2026-11-24T12:00:00-05:00")
    assert tables.said(table, "2026-11-25T12:00") == ("keyed", [10], ["keyed_early"])
    assert tables.said(table, "2026-12-01T12:00") == ("keyed", [10], [])


# What is known of a controller, and until when


def test_old_prices_are_sold_until_the_new_ones_are_keyed(tables: Tables) -> None:
    venue = tables.venue()
    old = tables.schedule(venue, "plain")
    tables.schedule(venue, "cheap", "2026-11-26")
    table = tables.route.table(venue, placed_at="2026-01-01T12:00:00Z")["id"]
    tables.key(table, old, "2026-01-02T12:00:00-05:00")
    answer = tables.ask(table, "2026-11-26T12:00")
    assert (units(answer), answer["cautions"]) == ([6], ["not_keyed_yet"])
    assert answer["listed"]["detail"] == "Prices effective 26 Nov 2026, 06:00, have not been keyed."
    asked = {"table_id": table, "at": "2026-11-26T12:00", "money": "5.00", "basis": "listed"}
    listed = tables.client.get("/v1/quotes", params=asked).json()
    assert (listed["basis"], units(listed), listed["cautions"], listed["listed"]) == ("listed", [10], [], None)
    assert listed["since"] == "2026-11-26T06:00:00-05:00"


def test_what_a_reading_found_is_sold_until_something_is_keyed_again(tables: Tables) -> None:
    venue = tables.venue()
    schedule = tables.schedule(venue, "plain")
    table = tables.route.table(venue, placed_at="2026-01-01T12:00:00Z")["id"]
    tables.key(table, schedule, "2026-11-01T12:00:00-05:00")
    tables.find(table, "2026-11-10T12:00:00-05:00", CHEAP)
    answer = tables.ask(table, "2026-11-11T12:00")
    assert (answer["basis"], units(answer), answer["cautions"]) == ("found", [10], ["found_otherwise"])
    assert answer["tariff"] == {"id": None, "code": "1 game for 0.50", "version": 0}
    assert answer["window"]["schedule_id"] is None
    assert answer["listed"]["detail"] == "A reading on 10 Nov 2026, 12:00 found other prices in the controller."
    tables.key(table, schedule, "2026-11-12T12:00:00-05:00")
    assert tables.said(table, "2026-11-13T12:00") == ("keyed", [6], [])
    tables.find(table, "2026-11-14T12:00:00-05:00", PLAIN)
    confirmed = tables.ask(table, "2026-11-15T12:00")
    assert (confirmed["basis"], units(confirmed), confirmed["cautions"]) == ("found", [6], [])
    assert confirmed["tariff"]["code"] == "plain"


def test_settings_found_on_some_days_only_do_not_say_what_is_sold(tables: Tables) -> None:
    venue = tables.venue()
    tables.schedule(venue, "plain")
    table = tables.route.table(venue, placed_at="2026-01-01T12:00:00Z")["id"]
    monday = [{"day": "mon", "windows": [{"from": "00:00", "to": "00:00", "games": CHEAP}]}]
    tables.read(table, "2026-11-10T12:00:00-05:00", settings={"days": monday})
    assert tables.said(table, "2026-11-11T12:00") == ("listed", [6], ["never_keyed"])


def test_a_replaced_board_is_blank_and_what_is_void_does_not_count(tables: Tables) -> None:
    venue = tables.venue()
    schedule = tables.schedule(venue, "plain")
    table = tables.route.table(venue, placed_at="2026-01-01T12:00:00Z")["id"]
    keying = tables.key(table, schedule, "2026-11-01T12:00:00-05:00")
    board = tables.read(table, "2026-11-05T12:00:00-05:00", done=["board_replaced"])
    assert tables.said(table, "2026-11-04T12:00")[0] == "keyed"
    assert tables.said(table, "2026-11-06T12:00") == ("listed", [6], ["never_keyed"])
    tables.route.post(f"/readings/{board}/void", {"reason": "Another table"})
    assert tables.said(table, "2026-11-06T12:00")[0] == "keyed"
    voided = tables.route.post(f"/keyings/{keying['id']}/void", {"reason": "Another table"})
    assert (keying["voided"], voided["voided"]["reason"]) == (None, "Another table")
    assert tables.said(table, "2026-11-06T12:00") == ("listed", [6], ["never_keyed"])
    (listed,) = tables.client.get(f"/v1/tables/{table}/keyings").json()["items"]
    assert listed == voided
    again = tables.client.post(f"/v1/keyings/{keying['id']}/void", json={"reason": "Twice"})
    assert (again.status_code, again.json()["type"]) == (409, "/problems/already_void")
    unknown = tables.client.post(f"/v1/keyings/{uuid4()}/void", json={"reason": "Nothing"})
    assert unknown.status_code == 404


def test_a_schedule_can_be_keyed_in_the_workshop_for_the_venue_to_come(tables: Tables) -> None:
    here, there = tables.venue(), tables.venue(name="There", time_zone="America/Chicago", day_starts_at="05:00")
    tables.schedule(here, "plain")
    early = {"name": "Early", "days": ["tue"], "from": "15:00", "to": "18:00", "tariff": tables.tariffs["cheap"]}
    coming = tables.schedule(there, "plain", weekly=[early])
    table = tables.route.table(here, placed_at="2026-01-01T12:00:00Z")["id"]
    tables.route.post(f"/tables/{table}/moves", {"venue_id": None, "moved_at": "2026-11-01T12:00:00-05:00"})
    tables.key(table, coming, "2026-11-02T12:00:00-05:00")
    tables.route.post(f"/tables/{table}/moves", {"venue_id": there, "moved_at": "2026-11-03T12:00:00-06:00"})
    assert tables.said(table, "2026-11-03T15:30") == ("keyed", [10], [])
    tables.route.post(f"/tables/{table}/moves", {"venue_id": here, "moved_at": "2026-11-10T12:00:00-05:00"})
    assert tables.said(table, "2026-11-10T15:30") == ("keyed", [10], ["keyed_elsewhere"])
    assert tables.said(table, "2026-11-10T14:30") == ("keyed", [6], [])


# As far as the controller can hold it


def test_a_window_that_the_controller_has_no_place_for_sells_what_its_neighbour_sells(
    tables: Tables, venue: str
) -> None:
    table = tables.route.table(venue, controller=CONTROLLER)["id"]
    tables.key(table, schedule_of(tables, venue), "2026-11-25T11:00:00-05:00")
    early = tables.ask(table, MONDAY_EARLY)
    assert (units(early), early["cautions"]) == ([6], ["cannot_hold"])
    assert (units(early["listed"]), early["listed"]["tariff"]["code"]) == ([10], "cheap")
    night = tables.ask(table, MONDAY_NIGHT)
    assert (units(night), night["tariff"]["code"], night["cautions"], night["listed"]) == ([6], "plain", [], None)
    least = tables.ask(table, MONDAY_EARLY, games="6")["offers"][0]["least"]
    assert least["pay"] == "5.00"


def test_the_sheet_and_the_quote_say_the_same(tables: Tables, venue: str) -> None:
    table = tables.route.table(venue, controller=CONTROLLER)["id"]
    tables.key(table, schedule_of(tables, venue), "2026-11-25T11:00:00-05:00")
    sheet = tables.client.get(f"/v1/tables/{table}/settings-sheet").json()
    (monday,) = [day["windows"] for day in sheet["days"] if day["day"] == "mon"]
    assert [window["games"]["prices"] for window in monday] == [PLAIN["prices"]]
    assert [offer["units"] for offer in tables.ask(table, MONDAY_EARLY, money="1.00")["offers"]] == [1]


@pytest.mark.parametrize(("clock", "sold", "cautions"), [("weekday", [6], ["cannot_hold"]), ("date", [10], [])])
def test_a_recurring_event_is_sold_by_a_controller_that_knows_dates(
    tables: Tables, venue: str, clock: str, sold: list[int], cautions: list[str]
) -> None:
    table = tables.route.table(venue, controller={**CONTROLLER, "windows_per_day": 3, "clock": clock})["id"]
    tables.key(table, schedule_of(tables, venue), "2026-11-25T11:00:00-05:00")
    assert tables.said(table, TEAM_NIGHT) == ("keyed", sold, cautions)
    assert tables.said(table, "2026-12-01T18:59") == ("keyed", [6], [])
    assert tables.said(table, MONDAY_EARLY) == ("keyed", [10], [])


def test_a_day_keyed_by_hand_is_sold_on_its_weekday_until_it_is_keyed_back(tables: Tables, venue: str) -> None:
    table = tables.route.table(venue, controller={**CONTROLLER, "windows_per_day": 3})["id"]
    schedule = schedule_of(tables, venue)
    keying = tables.key(table, schedule, "2026-11-25T11:00:00-05:00", for_on="2026-12-01")
    assert keying["for_on"] == "2026-12-01"
    assert tables.said(table, TEAM_NIGHT) == ("keyed", [10], [])
    assert tables.said(table, "2026-12-01T18:59") == ("keyed", [6], [])
    tables.client.app.state.clock = lambda: datetime.fromisoformat("2026-12-20T12:00:00-05:00")  # type: ignore[attr-defined]
    nothing_special = tables.route.schedule(venue, tables.tariffs["plain"], effective_on="2026-12-21")["id"]
    assert tables.said(table, "2026-12-22T20:00") == ("keyed", [10], ["not_keyed_yet"])
    tables.key(table, nothing_special, "2026-12-20T11:00:00-05:00")
    assert tables.said(table, "2026-12-22T20:00") == ("keyed", [6], [])


def test_the_controllers_day_turns_when_it_says(tables: Tables, venue: str) -> None:
    """Cut at 16:00, the early window ends one day and begins the next: two windows a day are enough for both."""
    schedule = schedule_of(tables, venue)
    table = tables.route.table(venue, controller={**CONTROLLER, "day_turns_at": "16:00"})["id"]
    tables.key(table, schedule, "2026-11-25T11:00:00-05:00")
    assert tables.said(table, "2026-11-30T15:30") == ("keyed", [10], [])
    assert tables.said(table, "2026-11-30T17:30") == ("keyed", [10], [])
    table = tables.route.table(venue, controller={**CONTROLLER, "day_turns_at": "16:00", "windows_per_day": 1})["id"]
    tables.key(table, schedule, "2026-11-25T11:00:00-05:00")
    assert tables.said(table, "2026-11-30T15:30") == ("keyed", [6], ["cannot_hold"])


def test_a_kind_that_the_controller_does_not_sell_is_not_sold(tables: Tables, venue: str) -> None:
    table = tables.route.table(venue, controller={**CONTROLLER, "games": {"prices_max": 0}})["id"]
    tables.key(table, schedule_of(tables, venue), "2026-11-25T11:00:00-05:00")
    answer = tables.ask(table, MONDAY_NIGHT)
    assert (answer["status"], units(answer), answer["cautions"]) == ("closed", [], ["cannot_hold"])
    assert units(answer["listed"]) == [6]


def test_metered_time_is_in_no_controller_and_is_charged_as_keyed(tables: Tables) -> None:
    venue = tables.venue()
    tiers = [{"from_minutes": 0, "price": "9.00", "per_minutes": 60, "step_minutes": 15}]
    hall = {"code": "hall", "name": "Hall", "currency": "USD", "metered": {"tiers": tiers}}
    schedule = tables.route.schedule(venue, tables.route.post("/tariffs", hall)["id"])["id"]
    table = tables.route.table(venue, controller=CONTROLLER)["id"]
    tables.key(table, schedule, "2026-11-25T11:00:00-05:00")
    assert tables.said(table, MONDAY_NIGHT) == ("keyed", [30], [])


def test_a_spreadsheet_a_scenario_and_the_week_say_the_same(tables: Tables, venue: str) -> None:
    table = tables.route.table(venue, controller=CONTROLLER)["id"]
    tables.key(table, schedule_of(tables, venue), "2026-11-25T11:00:00-05:00")
    asked = {"table_id": table, "at": MONDAY_EARLY, "money": "5.00"}
    header, line = tables.client.get("/v1/quotes", params={**asked, "format": "csv"}).text.splitlines()
    row = dict(zip(header.split(","), line.split(","), strict=True))
    assert (row["basis"], row["units"], row["cautions"]) == ("keyed", "6", "cannot_hold")
    events = [{"kind": "insert", "at": MONDAY_EARLY, "amount": "5.00"}]
    body = {"scenarios": [asked, {"table_id": table, "events": events}]}
    quote, purchase = (row["answer"] for row in tables.client.post("/v1/quotes", json=body).json()["results"])
    assert (quote["cautions"], units(quote), units(quote["listed"])) == (["cannot_hold"], [6], [10])
    assert (purchase["cautions"], purchase["units"], purchase["basis"]) == (["cannot_hold"], 6, "keyed")
    week = tables.client.get(f"/v1/venues/{venue}/week?table_id={table}&on=2026-11-30").json()
    assert [(span["tariff"]["code"], span["basis"]) for span in week["days"][0]["spans"]] == [("plain", "keyed")]
