"""What cannot be a collection, an agreement or a reversal: a clear problem each, and nothing stored."""

from typing import Any

from tests.cash.conftest import Till
from tests.conftest import Route

ABSENT = "0198a000-0000-7000-8000-000000000000"
Case = tuple[dict[str, Any], str, str]
"""What is changed, the code of the problem, and the first place that it names."""

IMPOSSIBLE_TABLES: list[Case] = [
    ({"counted": {"1.00": -1}}, "invalid", "tables[0].counted.1.00"),
    ({"counted": {"1.00": 1.5}}, "invalid", "tables[0].counted.1.00"),
    ({"counted": {"1.00": "3"}}, "invalid", "tables[0].counted.1.00"),
    ({"counted": {"1.00": True}}, "invalid", "tables[0].counted.1.00"),
    ({"counted": {"penny": 1}}, "invalid", "tables[0].counted.penny"),
    ({"counted": {"-1.00": 1}}, "invalid", "tables[0].counted.-1.00"),
    ({"counted": {"0.00": 1}}, "bad_denomination", "tables[0].counted.0.00"),
    ({"counted": {"1.00": 1, "1": 1}}, "bad_denomination", "tables[0].counted.1"),
    ({"counted": {"0.125": 1}}, "bad_money", "tables[0].counted.0.125"),
    ({"counted": {"999999999999": 10_000_000}}, "too_much_money", "tables[0].counted"),
    ({"counted": None}, "invalid", "tables[0].counted"),
    ({"weighed_g": {"1.00": "9999999"}}, "bad_weight", "tables[0].weighed_g.100"),
    ({"weighed_g": {"1.00": 8.1}}, "invalid", "tables[0].weighed_g.1.00"),
    ({"refunds_from_box": "4.005"}, "bad_money", "tables[0].refunds_from_box"),
    ({"refunds_by_venue": "-1.00"}, "invalid", "tables[0].refunds_by_venue"),
    ({"house_money": 5}, "invalid", "tables[0].house_money"),
    ({"test_games": -1}, "invalid", "tables[0].test_games"),
    ({"meters": {"cash": -1}}, "invalid", "tables[0].meters.cash"),
    ({"currency": "EUR"}, "invalid", "tables[0].currency"),
    ({"table_id": ABSENT}, "no_such_table", "tables[0].table_id"),
]
IMPOSSIBLE_COLLECTIONS: list[Case] = [
    ({"collected_at": "2026-11-25T17:06:00Z"}, "invalid", "collected_at"),
    ({"collected_at": "2026-10-10T16:00:00"}, "invalid", "collected_at"),
    ({"id": "17"}, "invalid", "id"),
    ({"tables": []}, "invalid", "tables"),
    ({"seal": ""}, "invalid", "seal"),
    ({"surprise": 1}, "invalid", "surprise"),
]
IMPOSSIBLE_AGREEMENTS: list[Case] = [
    ({}, "exactly_one_share_rule", "body"),
    ({"venue_percent": "101"}, "bad_percent", "venue_percent"),
    ({"venue_percent": "50", "steps": [{"from_week": 1, "venue_percent": "60"}]}, "exactly_one_share_rule", "body"),
    ({"steps": [{"from_week": 2, "venue_percent": "60"}]}, "steps_not_rising", "steps[0].from_week"),
    ({"venue_percent": "-1"}, "invalid", "venue_percent"),
    ({"venue_percent": 50}, "invalid", "venue_percent"),
    ({"venue_percent": None}, "invalid", "venue_percent"),
    ({"venue_percent": "50", "loan_repay_percent": "100.5"}, "bad_percent", "loan_repay_percent"),
    ({"venue_percent": "50", "settles_on": "hope"}, "invalid", "settles_on"),
    (
        {
            "venue_percent": "50",
            "first_money": [{"name": "x", "amount": "1.005", "per": "week", "starts_on": "2026-01-01"}],
        },
        "bad_money",
        "first_money[0].amount",
    ),
]


def test_an_impossible_table_of_a_collection_is_refused(till: Till) -> None:
    till.agree()
    for change, code, where in IMPOSSIBLE_TABLES:
        body = till.body("2026-10-10", 10, **change)
        for path in ("/collections", "/collections/preview"):
            status, found, places = till.refused(body, path)
            assert (status, found, places[0]) == (422, code, where), change
    assert till.client.get("/v1/collections").json()["items"] == []
    assert till.client.get("/v1/ledger/entries").json()["items"] == []


def test_an_impossible_collection_is_refused(till: Till) -> None:
    for change, code, where in IMPOSSIBLE_COLLECTIONS:
        status, found, places = till.refused({**till.body("2026-10-10", 10), **change})
        assert (status, found, places) == (422, code, [where]), change


def test_five_minutes_of_a_fast_clock_are_forgiven(till: Till) -> None:
    told = till.route.post("/collections", {**till.body("2026-11-25", 10), "collected_at": "2026-11-25T17:05:00Z"})
    assert told["status"] == "unsettled"


def test_a_table_of_another_currency_is_refused_at_a_venue_where_it_never_was(till: Till, route: Route) -> None:
    elsewhere = route.venue(name="Elsewhere", currency="EUR", time_zone="Europe/Vienna")["id"]
    body = till.body("2026-10-10", 10, venue_id=elsewhere)
    assert till.refused(body) == (409, "currency_differs", ["tables[0].table_id"])


def test_a_venue_that_is_none_is_not_found(till: Till) -> None:
    assert till.refused(till.body("2026-10-10", 10, venue_id=ABSENT))[:2] == (404, "not_found")


def test_a_table_named_twice_is_refused(till: Till) -> None:
    body = till.body("2026-10-10", 10)
    body["tables"].append(body["tables"][0])
    assert till.refused(body) == (422, "table_named_twice", ["tables[1].table_id"])


def test_refunds_above_the_expectation_are_kept_and_flagged(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=0)
    told = till.collect("2026-10-10", 10, cash=40, refunds_from_box="10.01")
    assert told["expected"] == {"least": "0.00", "most": "0.00"}
    assert "refunds_exceed_expected" in told["cautions"]
    (advice,) = (item for item in told["advice"] if item["code"] == "refunds_exceed_expected")
    assert "10.01 was refunded out of the box" in advice["detail"]


def test_a_box_is_emptied_before_a_collection_not_after_it(till: Till) -> None:
    body = till.body("2026-10-10", 10, emptied_before={"at": "2026-10-10T16:00:00Z", "meters": {"cash": 1}})
    assert till.refused(body) == (422, "not_before", ["tables[0].emptied_before.at"])


def test_all_mistakes_of_a_collection_are_said_at_once(till: Till) -> None:
    body = till.body("2026-10-10", 10, counted={"0.00": 1, "0.125": 1}, house_money="1.999")
    assert till.refused(body)[2] == [
        "tables[0].counted.0.00",
        "tables[0].counted.0.125",
        "tables[0].house_money",
    ]


def test_what_is_not_there_is_not_found(till: Till) -> None:
    for path, body in (
        (f"/collections/{ABSENT}/reversal", {"reason": "no"}),
        (f"/collections/{ABSENT}/disputes", {"by": "a", "claims": "b", "reason": "c"}),
        (f"/venues/{ABSENT}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"}),
    ):
        assert till.refused(body, path)[:2] == (404, "not_found")
    assert till.client.get(f"/v1/collections/{ABSENT}").status_code == 404
    assert till.client.post(f"/v1/collections/{ABSENT}/settle").status_code == 404


def test_an_impossible_agreement_is_refused(till: Till) -> None:
    for terms, code, where in IMPOSSIBLE_AGREEMENTS:
        body = {"effective_on": "2026-01-01", **terms}
        for query in ("", "?preview=true"):
            status, found, places = till.refused(body, f"/venues/{till.venue}/agreements{query}")
            assert (status, found, places[0]) == (422, code, where), terms
    assert till.client.get(f"/v1/venues/{till.venue}/agreements").json()["items"] == []


def test_a_tax_rate_of_100_percent_is_refused(till: Till) -> None:
    for rate in ({"rate_percent": "100"}, {"divisor": "2"}, {"rate_percent": "8", "divisor": "1.08"}):
        area = {"code": "all", "name": "All of it", "rates": [{"from_on": "2026-01-01", **rate}]}
        assert till.refused(area, "/tax-areas")[:2] == (422, "invalid")
