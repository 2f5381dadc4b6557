"""Two lists of prices by past intake, over HTTP (N4)."""

from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.cash.conftest import Till
from tests.cash.conftest import till as till

DRAFT = {"code": "dearer", "name": "Dearer", "currency": "USD", "games": {"prices": [{"price": "1.25", "units": 1}]}}
PERIOD = {"from": "2026-11-01", "to": "2026-12-01"}


def asked(till: Till, **changes: Any) -> dict[str, Any]:
    tariff = till.client.get("/v1/tariffs").json()["items"][0]["id"]
    sent = {"venue_id": till.venue, **PERIOD, "current": {"tariff_id": tariff}, "other": {"tariff": DRAFT}, **changes}
    return {name: value for name, value in sent.items() if value is not None}


def test_the_sentence_comes_first_and_the_figures_agree_with_it(till: Till) -> None:
    body = till.body("2026-11-10", 0)
    body["tables"][0]["counted"] = {"1.00": 40, "5.00": 12}
    till.route.post("/collections", body)
    found = till.route.post("/reports/what-if", asked(till, elasticity="-0.5"))
    # Of 12 notes of 5.00 each buys 5 games, now 4; 40 dollars put together buy 40, now 32: 100 and 80 games.
    assert found["sentence"] == (
        "The 100.00 USD put in would have bought 80 games instead of 100: "
        "the other prices bring in more unless more than 20.0 % of play is lost."
    )
    (window,) = found["windows"]
    (kind,) = window["kinds"]
    assert (kind["intake"]["current_units"], kind["intake"]["other_units"]) == (100, 80)
    # k = 1/9: play to (1 - 1/18)/(1 + 1/18) = 17/19 of what it was, takings to 17/19 · 5/4.
    assert (kind["intake"]["play_percent"], kind["intake"]["takings"]) == ("-10.5", "111.84")
    at = {
        amount["amount"]: (amount["current_units"], amount["other_units"], amount["other_left"])
        for amount in kind["amounts"]
    }
    assert at["5.00"] == (5, 4, "0.00")
    assert at["1.00"] == (1, 0, "1.00")
    assert kind["other_prices"] == [
        {
            "price": "1.25",
            "units": 1,
            "pieces": [{"denomination": "0.25", "count": 1}, {"denomination": "1.00", "count": 1}],
        }
    ]
    assert found["collection_ids"] == [body["id"]]
    assert found["cannot_know"]
    drawn = till.client.post("/v1/reports/what-if?format=svg", json=asked(till))
    assert (drawn.status_code, drawn.headers["content-type"]) == (200, "image/svg+xml")
    lines = till.client.post("/v1/reports/what-if?format=csv", json=asked(till)).text.splitlines()
    assert len(lines) == 1 + len(kind["amounts"])


def test_games_are_compared_with_minutes_at_a_stated_pace(till: Till) -> None:
    till.collect("2026-11-10", 60)
    minutes = {**DRAFT, "minutes": {"prices": [{"price": "1.00", "units": 6}]}}
    del minutes["games"]
    none = till.route.post("/reports/what-if", asked(till, other={"tariff": minutes}))
    assert none["sentence"].startswith("The two lists sell no kind in common")
    found = till.route.post("/reports/what-if", asked(till, other={"tariff": minutes}, minutes_a_game=8))
    (kind,) = found["windows"][0]["kinds"]
    assert (kind["current_kind"], kind["other_kind"], kind["intake"]["break_even_percent"]) == (
        "games",
        "minutes",
        "25.0",
    )
    assert kind["amounts"][-1]["other_games"] == "15.0"  # 20.00 buy 120 minutes


def test_without_intake_and_with_schedules_the_prices_are_still_compared(till: Till) -> None:
    schedule = till.client.get(f"/v1/venues/{till.venue}/schedules").json()["items"][0]["id"]
    found = till.route.post("/reports/what-if", asked(till, current={"schedule_id": schedule}))
    assert found["taken_in"] == "0.00"
    assert found["sentence"] == (
        "Nothing was put in to compare by; the first price of the other list: 1.25 buys 1 game; "
        "of the current one: 1.00 buys 1 game."
    )


@pytest.mark.parametrize(
    ("changes", "status", "where"),
    [
        ({"to": "2026-11-01"}, 422, "to"),
        ({"to": "2026-10-01"}, 422, "to"),
        ({"from": "2000-01-01", "to": "2099-01-01"}, 422, "to"),
        ({"venue_id": None}, 422, "venue_id"),
        ({"table_id": str(uuid4())}, 422, "venue_id"),
        ({"current": {}}, 422, "current"),
        ({"current": {"tariff": DRAFT}}, 422, "other"),
        ({"other": {"tariff": DRAFT, "tariff_id": str(uuid4())}}, 422, "other"),
        ({"other": {"tariff": {**DRAFT, "currency": "EUR"}}}, 409, "other"),
        ({"amounts": ["1.001"]}, 422, "amounts[0]"),
        ({"amounts": []}, 422, "amounts"),
        ({"elasticity": "0.5"}, 422, "elasticity"),
        ({"elasticity": "-12"}, 422, "elasticity"),
        ({"minutes_a_game": 0}, 422, "minutes_a_game"),
        ({"other": {"tariff_id": str(uuid4())}}, 404, None),
        ({"other": {"schedule_id": str(uuid4())}}, 404, None),
    ],
)
def test_what_cannot_be_compared_is_refused(
    till: Till, changes: dict[str, Any], status: int, where: str | None
) -> None:
    answer = till.client.post("/v1/reports/what-if", json=asked(till, **changes))
    assert answer.status_code == status, answer.text
    assert where is None or where in [error["where"] for error in answer.json()["errors"]]


def test_a_period_before_the_first_collection_is_refused(till: Till) -> None:
    early = asked(till, **{"from": "2020-01-01", "to": "2020-02-01"})
    assert till.client.post("/v1/reports/what-if", json=early).status_code == 200
    till.collect("2026-11-10", 10)
    assert till.refused(early, "/reports/what-if") == (409, "period_before_records", ["to"])


def test_a_collector_compares_nothing(at_noon: TestClient, till: Till) -> None:
    headers = till.route.token("collector")
    assert at_noon.post("/v1/reports/what-if", json=asked(till), headers=headers).status_code == 403
