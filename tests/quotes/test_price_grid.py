"""The price grid: venues, their windows of a day, and what amounts buy there, in one answer."""

import csv
import io

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

TUESDAY = "2026-12-01"


@pytest.fixture
def places(route: Route) -> dict[str, str]:
    """Two venues: one with an early window that is closed until three, one in yen, and one without prices."""
    weekday = route.tariff()["id"]
    games = {"prices": [{"price": "1.00", "units": 2}]}
    early = route.post("/tariffs", {"code": "early", "name": "Early", "currency": "USD", "games": games})["id"]
    lantern = route.venue(name="The Copper Lantern")["id"]
    route.schedule(lantern, weekday, weekly=[
        {"name": "Shut", "days": ["tue"], "from": "06:00", "to": "15:00", "tariff": None},
        {"name": "Early", "days": ["tue"], "from": "15:00", "to": "18:00", "tariff": early},
    ])  # fmt: skip
    tanuki = route.venue(name="Tanuki Hall", time_zone="Asia/Tokyo", currency="JPY")["id"]
    yen = {"code": "yen", "name": "Yen", "currency": "JPY", "minutes": {"prices": [{"price": "600", "units": 35}]}}
    route.schedule(tanuki, route.post("/tariffs", yen)["id"])
    return {"lantern": lantern, "tanuki": tanuki, "bare": route.venue(name="Bare walls")["id"]}


def grid(client: TestClient, **query: object) -> list[dict[str, object]]:
    answer = client.get("/v1/price-grid", params={"on": TUESDAY, **query})
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]  # type: ignore[no-any-return]


def test_every_window_of_a_day_at_a_venue_with_every_amount(at_noon: TestClient, places: dict[str, str]) -> None:
    lines = grid(at_noon, venue_id=places["lantern"], amounts="5.00,1.00,5.00")
    assert [(x["window"], x["from_at"], x["status"], x["amount"], x["games"], x["minutes"]) for x in lines] == [
        ("Shut", "2026-12-01T06:00:00-05:00", "closed", "1.00", None, None),
        ("Shut", "2026-12-01T06:00:00-05:00", "closed", "5.00", None, None),
        ("Early", "2026-12-01T15:00:00-05:00", "open", "1.00", 2, None),
        ("Early", "2026-12-01T15:00:00-05:00", "open", "5.00", 10, None),
        ("Base", "2026-12-01T18:00:00-05:00", "open", "1.00", 1, 0),
        ("Base", "2026-12-01T18:00:00-05:00", "open", "5.00", 7, 25),
    ]
    for line in lines:  # the grid says what a quote says
        if line["status"] == "open":
            query = {"venue_id": places["lantern"], "at": line["from_at"], "money": line["amount"]}
            offers = {x["kind"]: x["units"] for x in at_noon.get("/v1/quotes", params=query).json()["offers"]}
            assert (line["games"], line["minutes"]) == (offers.get("games"), offers.get("minutes"))


def test_all_venues_by_name_each_in_its_currency(at_noon: TestClient, places: dict[str, str]) -> None:
    lines = grid(at_noon, amounts="600.00")
    assert [(x["venue"], x["window"], x["amount"], x["status"], x["minutes"]) for x in lines] == [
        ("Bare walls", None, "600.00", "no_prices", None),
        ("Tanuki Hall", "Base", "600", "open", 35),
        ("The Copper Lantern", "Shut", "600.00", "closed", None),
        ("The Copper Lantern", "Early", "600.00", "open", None),
        ("The Copper Lantern", "Base", "600.00", "open", 4200),
    ]
    two = grid(at_noon, amounts="600.00", venue_id=[places["lantern"], places["tanuki"]])
    assert [x["venue"] for x in two] == ["Tanuki Hall", *["The Copper Lantern"] * 3]
    refused = at_noon.get("/v1/price-grid", params={"amounts": "0.50"})
    assert (refused.status_code, refused.json()["code"]) == (422, "bad_money")


def test_without_amounts_what_the_tables_there_take(at_noon: TestClient, route: Route, places: dict[str, str]) -> None:
    route.table(places["lantern"], accepts=["1.00", "0.25"])
    route.table(places["lantern"], accepts=["20.00", "1.00"])
    lines = grid(at_noon, venue_id=places["lantern"])
    assert [x["amount"] for x in lines if x["window"] == "Base"] == ["0.25", "1.00", "20.00"]
    assert grid(at_noon, venue_id=places["tanuki"]) == []


def test_as_csv_with_names_and_the_word_for_closed(at_noon: TestClient, places: dict[str, str]) -> None:
    query = {"venue_id": places["lantern"], "amounts": "5.00", "on": TUESDAY, "format": "csv"}
    lines = list(csv.DictReader(io.StringIO(at_noon.get("/v1/price-grid", params=query).text)))
    assert [(x["venue"], x["window"], x["from_at"], x["from_at_offset"], x["games"], x["detail"]) for x in lines] == [
        ("The Copper Lantern", "Shut", "2026-12-01 06:00:00", "-05:00", "", "closed, opens Tue 15:00"),
        ("The Copper Lantern", "Early", "2026-12-01 15:00:00", "-05:00", "10", ""),
        ("The Copper Lantern", "Base", "2026-12-01 18:00:00", "-05:00", "7", ""),
    ]


def test_a_venue_sees_its_own_grid_alone(at_noon: TestClient, route: Route, places: dict[str, str]) -> None:
    own = route.token("venue", venue_id=places["lantern"])
    lines = at_noon.get("/v1/price-grid", params={"amounts": "5.00"}, headers=own).json()["items"]
    assert {x["venue_id"] for x in lines} == {places["lantern"]}
    other = at_noon.get("/v1/price-grid", params={"venue_id": [places["lantern"], places["tanuki"]]}, headers=own)
    assert (other.status_code, other.json()["detail"]) == (404, "Venue not found.")


def test_a_grid_is_bounded(at_noon: TestClient, places: dict[str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("baizebook.quotes.service.GRID_LINES_MAX", 5)
    answer = at_noon.get(
        "/v1/price-grid", params={"venue_id": places["lantern"], "amounts": "1.00,5.00", "on": TUESDAY}
    )
    assert (answer.status_code, answer.json()["code"]) == (422, "too_much_work")
    many = ",".join(["1.00"] * 41)
    assert at_noon.get(f"/v1/price-grid?amounts={many}").status_code == 422
    assert at_noon.get("/v1/price-grid?amounts=1.00&amounts=5.00").status_code == 422
