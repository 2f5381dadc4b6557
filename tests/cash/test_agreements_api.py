"""Agreements through the service: published in versions, never edited, previewed without a trace."""

from tests.cash.conftest import HALF, Till

FULL = {
    "effective_on": "2026-01-01",
    "amount_tiers": {
        "mode": "marginal",
        "tiers": [{"from": "0", "venue_percent": "40"}, {"from": "500.00", "venue_percent": "50.5"}],
    },
    "first_money": [
        {"name": "State licence", "amount": "60.00", "per": "month", "starts_on": "2026-01-01", "spread": True}
    ],
    "operator_minimum": {"amount": "20.00", "kind": "guarantee"},
    "settles_on": "higher",
    "pays": "monthly",
    "odd_unit_to": "venue",
    "loan_repay_percent": "25",
    "cap": {"name": "Code 2153.205", "venue_percent_max": "50"},
}


def test_an_agreement_is_answered_with_every_term_written_out(till: Till) -> None:
    told = till.route.post(f"/venues/{till.venue}/agreements", FULL)
    assert {name: told[name] for name in FULL} == {
        **FULL,
        "amount_tiers": {
            "mode": "marginal",
            "tiers": [{"from": "0.00", "venue_percent": "40"}, {"from": "500.00", "venue_percent": "50.5"}],
        },
        "cap": {"name": "Code 2153.205", "venue_percent_max": "50", "after": "first_money"},
    }
    assert (told["version"], told["currency"], told["venue_percent"], told["steps"]) == (1, "USD", None, [])
    assert "no tax or legal advice" in told["notice"]


def test_what_is_absent_is_counted_paid_at_the_visit_and_odd_to_the_operator(till: Till) -> None:
    told = till.agree()
    assert (told["settles_on"], told["pays"], told["odd_unit_to"]) == ("counted", "at_visit", "operator")
    assert (told["loan_repay_percent"], told["operator_minimum"], told["cap"]) == ("0", None, None)


def test_versions_follow_each_other_per_venue(till: Till) -> None:
    assert [till.agree()["version"] for _ in range(3)] == [1, 2, 3]
    elsewhere = till.route.venue(name="Elsewhere")["id"]
    assert till.route.post(f"/venues/{elsewhere}/agreements", HALF)["version"] == 1
    listed = till.client.get(f"/v1/venues/{till.venue}/agreements?limit=2").json()
    assert [item["version"] for item in listed["items"]] == [1, 2]
    rest = till.client.get(f"/v1/venues/{till.venue}/agreements?after={listed['next']}").json()
    assert [item["version"] for item in rest["items"]] == [3]


def test_validate_only_answers_and_stores_nothing(till: Till) -> None:
    response = till.client.post(f"/v1/venues/{till.venue}/agreements?preview=true", json=FULL)
    assert (response.status_code, response.json()["version"]) == (200, 1)
    assert till.client.get(f"/v1/venues/{till.venue}/agreements").json()["items"] == []


def test_a_settlement_names_the_version_it_used_and_later_versions_leave_it(till: Till) -> None:
    first = till.agree()
    told = till.collect("2026-10-10", 100)
    till.agree(venue_percent="10")
    kept = till.client.get(f"/v1/collections/{told['id']}").json()
    assert (kept["settlement"]["agreement_id"], kept["settlement"]["agreement_version"]) == (first["id"], 1)
    assert kept["settlement"]["venue_share"] == "50.00"
    assert till.collect("2026-10-11", 100)["settlement"]["venue_share"] == "10.00"
