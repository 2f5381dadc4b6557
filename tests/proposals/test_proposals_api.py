"""Prices that suit stated aims, over HTTP."""

from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

AIMS = {
    "currency": "USD",
    "accepts": ["0.25", "1.00", "5.00"],
    "controller": {"games": {"prices_max": 2, "price_step": "0.25"}},
    "least_an_hour": "6.00",
    "minutes_a_game": 8,
    "mostly": ["5.00"],
    "first_price_max": "1.00",
}


def test_ladders_are_proposed_with_why_and_what_they_give_up(at_noon: TestClient) -> None:
    answer = at_noon.post("/v1/tariffs/proposals", json=AIMS)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert found["met"] > 0
    most_an_hour, *others = found["proposals"]
    assert most_an_hour["ladder"]["prices"] == [{"price": "1.00", "units": 1}]
    assert most_an_hour["best_by"] == ["an_hour", "few_coins", "few_prices"]
    assert most_an_hour["lines"] == [
        "1.00 buys 1 game: 7.50 an hour at full use.",
        "A 5.00 buys 5 games, and nothing is left.",
        "1.00 is paid with 1 coin or note at least.",
        "1 price to key, on the controller's steps.",
    ]
    assert most_an_hour["gives_up"] == ["A note buys no more than at the first price; with another ladder 20 % more."]
    (generous,) = others
    assert generous["ladder"]["prices"] == [{"price": "1.00", "units": 1}, {"price": "5.00", "units": 6}]
    assert generous["least_an_hour"] == "6.25"
    assert at_noon.get("/v1/tariffs").json()["items"] == []


@pytest.mark.usefixtures("at_noon")
def test_a_tables_own_controller_and_coins_count(route: Route) -> None:
    table = route.table(route.venue()["id"], controller=AIMS["controller"])["id"]
    aims = {name: AIMS[name] for name in ("least_an_hour", "minutes_a_game", "mostly", "first_price_max")}
    found = route.post("/tariffs/proposals", {**aims, "table_id": table})
    assert found["proposals"] == route.post("/tariffs/proposals", AIMS)["proposals"]


@pytest.mark.parametrize(
    ("changes", "status", "where"),
    [
        ({"table_id": str(uuid4())}, 422, "currency"),
        ({"currency": None}, 422, "table_id"),
        ({"accepts": None}, 422, "table_id"),
        ({"accepts": ["0.00"]}, 422, "accepts[0]"),
        ({"minutes_a_game": None}, 422, "minutes_a_game"),
        ({"mostly": ["10.00"]}, 422, "mostly[0]"),
        ({"least_an_hour": "6.001"}, 422, "least_an_hour"),
        ({"controller": {"games": {"prices_max": 0}}}, 422, "kind"),
        ({"least_an_hour": "0.01", "mostly": None, "highest_price": "20.00", "prices_max": 6,
          "controller": None}, 422, "highest_price"),
    ],
)  # fmt: skip
def test_aims_that_contradict_themselves_are_refused(
    at_noon: TestClient, changes: dict[str, Any], status: int, where: str
) -> None:
    sent = {name: value for name, value in {**AIMS, **changes}.items() if value is not None}
    answer = at_noon.post("/v1/tariffs/proposals", json=sent)
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (status, where), answer.text


def test_aims_that_nothing_meets_are_answered_so(at_noon: TestClient) -> None:
    found = at_noon.post("/v1/tariffs/proposals", json={**AIMS, "least_an_hour": "90.00"}).json()
    assert (found["met"], found["proposals"]) == (0, [])
    assert found["sentence"].startswith("No ladder")
