"""How tables are played, over HTTP: figures, windows, what nobody can tell, refusals, and who may see it."""

import csv
import io
from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient

from tests.cash.conftest import METERS
from tests.conftest import Route

PERIOD = "from=2026-10-01&to=2026-11-26"


class Played:
    """A table at a venue in New York: a dollar a game and five for four; from 15:00 to 18:00 fifty cents, six for two."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route, self.made = client, route, 0
        self.venue = route.venue()["id"]
        tariffs = [
            route.post("/tariffs", {"code": code, "name": code, "currency": "USD", "games": {"prices": prices}})["id"]
            for code, prices in (
                ("dollar", [{"price": "1.00", "units": 1}, {"price": "4.00", "units": 5}]),
                ("happy", [{"price": "0.50", "units": 1}, {"price": "2.00", "units": 6}]),
            )
        ]
        days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
        happy = {"name": "Happy hours", "days": days, "from": "15:00", "to": "18:00", "tariff": tariffs[1]}
        route.schedule(self.venue, tariffs[0], weekly=[happy])
        self.table = self.add(meters=METERS, accepts=["0.50", "1.00", "5.00"])

    def add(self, **changes: Any) -> str:
        """Make a table that has been there since the start of 2026."""
        return self.route.table(self.venue, placed_at="2026-01-01T12:00:00Z", **changes)["id"]  # type: ignore[no-any-return]

    def read(self, at: str, **meters: int) -> None:
        """Record a reading by the wall clock of New York, in October before its clocks change."""
        self.made += 1
        reading = {"id": str(UUID(int=self.made)), "table_id": self.table, "taken_at": f"{at}:00-04:00"}
        assert self.route.post("/readings", {"readings": [{**reading, "meters": meters}]})["recorded"] == 1

    def answer(self, query: str = PERIOD) -> dict[str, Any]:
        """Return the report."""
        response = self.client.get(f"/v1/reports/play?{query}")
        assert response.status_code == 200, response.text
        return response.json()  # type: ignore[no-any-return]


@pytest.fixture
def play(at_noon: TestClient, route: Route) -> Played:
    """Four readings of one day: before the happy hours, at their start, in them, and after them."""
    played = Played(at_noon, route)
    played.read("2026-10-05T10:00", cash=0, plays=0)
    played.read("2026-10-05T15:00", cash=136, plays=40)
    played.read("2026-10-05T17:00", cash=146, plays=47)
    played.read("2026-10-05T19:00", cash=166, plays=57)
    return played


def test_games_money_prices_and_windows_between_readings(play: Played) -> None:
    (row,) = play.answer()["rows"]
    games = row["games"]
    assert (row["table_id"], row["currency"], row["minutes"]) == (play.table, "USD", None)
    assert {name: games[name] for name in ("meter", "counted", "readings", "steps_unknown", "money_by")} == {
        "meter": "plays",
        "counted": 57,
        "readings": 4,
        "steps_unknown": 0,
        "money_by": "money_meter",
    }
    assert (games["from_at"], games["to_at"]) == ("2026-10-05T14:00:00Z", "2026-10-05T23:00:00Z")
    assert (games["money"], games["money_units"], games["money_a_unit"]) == ("41.50", 57, "0.7281")
    windows = {one["window"]: (one["units"], one["money"], one["money_a_unit"]) for one in games["windows"]}
    assert windows == {"Base": (40, "34.00", "0.8500"), "Happy hours": (7, "2.50", "0.3571")}
    assert games["windows_unknown"] == [{"verdict": "cannot_tell", "why": "several_windows", "units": 10}]
    told = sum(one["units"] for one in games["prices_unknown"]) + games["prices_told"]
    assert told == 57
    assert {one["price"] for one in games["prices"]} == {"0.50", "1.00", "2.00", "4.00"}


def test_the_share_at_each_price_of_one_list_and_only_readings_of_the_period(play: Played) -> None:
    """40 games for 34.00, of which 0.50 may have been left before or after: the break was bought six times, or not far off."""
    play.table = play.add(label="Back room", meters=METERS, accepts=["1.00", "5.00"])
    play.read("2026-10-05T14:00", cash=0, plays=0)
    play.read("2026-10-06T09:00", cash=0, plays=0)
    play.read("2026-10-06T12:00", cash=136, plays=40)
    play.read("2026-10-08T12:00", cash=536, plays=240)
    (row,) = play.answer(f"from=2026-10-06&to=2026-10-07&table_id={play.table}")["rows"]
    games = row["games"]
    assert (games["counted"], games["readings"], games["money"]) == (40, 2, "34.00")
    assert [(p["price"], p["times_least"], p["times_most"], p["share_percent_least"]) for p in games["prices"]] == [
        ("1.00", 10, 10, "25.0"),
        ("4.00", 6, 6, "75.0"),
    ]
    assert (games["prices_told"], games["prices_unknown"], games["windows_unknown"]) == (40, [], [])


def test_currencies_are_added_up_apart_and_a_table_without_meters_says_null(play: Played) -> None:
    play.add(label="No meters")
    euro = play.route.venue(name="Zum blauen Keiler", currency="EUR", time_zone="Europe/Berlin")["id"]
    play.route.table(euro, label="Eck", accepts=["1.00"], meters=METERS, placed_at="2026-01-01T12:00:00Z")
    found = play.answer()
    rows = {row["table"]: row["games"] for row in found["rows"]}
    assert rows["No meters"] is None
    assert (rows["Eck"]["counted"], rows["Eck"]["from_at"], rows["Eck"]["money_a_unit"]) == (0, None, None)
    totals = [(total["currency"], total["kind"], total["counted"], total["money"]) for total in found["totals"]]
    assert totals == [("EUR", "games", 0, None), ("USD", "games", 57, "41.50")]
    assert [row["table"] for row in play.answer(f"{PERIOD}&venue_id={euro}")["rows"]] == ["Eck"]


def test_without_a_money_meter_the_boxes_tell_the_money(play: Played) -> None:
    games_only = [meter for meter in METERS if meter["counts"] == "games"]
    play.table = play.add(label="Back room", meters=games_only, accepts=["1.00", "5.00"])
    for number, (on, plays, dollars) in enumerate((("2026-10-12", 100, 50), ("2026-10-19", 143, 34)), start=900):
        box = {
            "table_id": play.table,
            "counted": {"1.00": dollars},
            "meters": {"plays": plays},
            "test_games": 3,
        }
        collection = {"id": str(UUID(int=number)), "venue_id": play.venue, "collected_at": f"{on}T16:00:00Z"}
        play.route.post("/collections", {**collection, "collector": "Ana", "tables": [box]})
    (row,) = play.answer(f"{PERIOD}&table_id={play.table}")["rows"]
    games = row["games"]
    assert (games["money_by"], games["collection_ids"]) == ("boxes", [str(UUID(int=901))])
    assert (games["counted"], games["money_units"], games["money"]) == (43, 40, "34.00")
    assert games["prices_unknown"] == [{"verdict": "cannot_tell", "why": "test_games", "units": 3}]


def test_the_csv_has_a_line_a_price_a_window_and_what_nobody_can_tell(play: Played) -> None:
    response = play.client.get(f"/v1/reports/play?{PERIOD}&format=csv")
    assert response.headers["content-type"].startswith("text/csv")
    lines = list(csv.DictReader(io.StringIO(response.text)))
    assert [line["of"] for line in lines if line["table_id"]] == [
        *("all", "price", "price", "price", "price", "window", "window"),
        *(["price_cannot_tell"] * len(play.answer()["rows"][0]["games"]["prices_unknown"])),
        "window_cannot_tell",
    ]
    whole, *parts = [line for line in lines if line["table_id"]]
    totals = [line for line in lines if not line["table_id"]]
    assert [line["of"].removeprefix("total_") for line in totals] == ["total", *(line["of"] for line in parts)]
    assert [line["units"] for line in totals] == [line["units"] for line in (whole, *parts)]
    assert (whole["units"], whole["money"], whole["money_a_unit"]) == ("57", "41.50", "0.7281")
    assert sum(int(part["units"]) for part in parts if part["of"].startswith("window")) == 57


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("from=2026-10-02&to=2026-10-01", 422),
        ("from=2026-10-02&to=2026-10-02", 422),
        ("from=2000-01-01&to=2099-12-31", 422),
        ("from=1900-01-01&to=2100-01-01", 422),
        ("from=2026-10-01", 422),
        (f"{PERIOD}&by=table", 422),
        (f"{PERIOD}&table_id=0b9c3c1e-5ad8-7d51-9f39-1f7d5ad0c001", 404),
        (f"{PERIOD}&venue_id=0b9c3c1e-5ad8-7d51-9f39-1f7d5ad0c001", 404),
        ("from=2000-01-01&to=2000-01-02", 200),
        ("from=2099-12-30&to=2099-12-31", 200),
    ],
)
def test_periods_and_ids_that_cannot_be(at_noon: TestClient, query: str, status: int) -> None:
    assert at_noon.get(f"/v1/reports/play?{query}").status_code == status


def test_a_collector_sees_none_of_it_and_an_accountant_does(at_noon: TestClient, route: Route) -> None:
    for role, status in (("collector", 403), ("accountant", 200)):
        assert at_noon.get(f"/v1/reports/play?{PERIOD}", headers=route.token(role)).status_code == status


@pytest.mark.parametrize("name", ["_STEPS_OF_A_TABLE", "_STEPS_OF_A_DAY", "_STEPS_OF_A_READING", "_STEPS_OF_A_SPAN"])
def test_more_work_than_one_answer_may_take_is_refused(
    play: Played, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(f"baizebook.play.queries.{name}", 10**8)
    response = play.client.get(f"/v1/reports/play?{PERIOD}")
    assert (response.status_code, response.json()["code"]) == (422, "too_much_work")


def test_a_table_that_moved_has_a_row_for_each_venue(play: Played) -> None:
    other = play.route.venue(name="Harbour Lane")["id"]
    play.route.schedule(other, play.route.tariff()["id"])
    moved = {
        "venue_id": other,
        "moved_at": "2026-10-06T12:00:00-04:00",
        "meters": {"cash": 226, "plays": 72},
        "box": "emptied",
    }
    play.route.post(f"/tables/{play.table}/moves", moved)
    play.read("2026-10-09T12:00", cash=326, plays=100)
    rows = {row["venue_id"]: row["games"] for row in play.answer()["rows"]}
    assert {venue: (games["counted"], games["readings"]) for venue, games in rows.items()} == {
        play.venue: (72, 5),
        other: (28, 2),
    }
    assert play.answer()["totals"][0]["counted"] == 100
