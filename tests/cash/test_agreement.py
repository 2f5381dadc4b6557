"""Agreements: what they say of a venue's share, and what they refuse to be."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.settlements.agreement import Agreement, AmountTier, AmountTiers, ShareTierMode, WeekStep, in_force
from baizebook.settlements.convert import read_agreement

START = date(2026, 1, 1)
HALF = Fraction(50)

FULL: dict[str, Any] = {
    "effective_on": "2026-01-01",
    "steps": [{"from_week": 1, "venue_percent": "60"}, {"from_week": 27, "venue_percent": "50"}],
    "first_money": [
        {"name": "State licence", "amount": "60.00", "per": "year", "starts_on": "2026-01-01", "spread": False}
    ],
    "operator_minimum": {"amount": "25.00", "kind": "guarantee"},
    "settles_on": "higher",
    "pays": "monthly",
    "odd_unit_to": "venue",
    "loan_repay_percent": "12.5",
    "cap": {"name": "Act 5", "venue_percent_max": "50", "after": "tax"},
}


def faults_of(body: dict[str, Any]) -> list[tuple[str, str]]:
    with pytest.raises(DomainError) as refused:
        read_agreement(body, currency="USD")
    return [(fault.code, fault.where) for fault in refused.value.faults]


def simple(**more: Any) -> dict[str, Any]:
    return {"effective_on": "2026-01-01", "venue_percent": "50", **more}


def test_a_full_body_is_read_as_it_is_written() -> None:
    agreement = read_agreement(FULL, currency="USD", id="a1", version=3)
    assert agreement.steps == (WeekStep(1, Fraction(60)), WeekStep(27, HALF))
    assert agreement.first_money[0].amount == 60_00
    assert agreement.operator_minimum is not None
    assert agreement.operator_minimum.amount == 25_00
    assert agreement.loan_repay_percent == Fraction(25, 2)
    assert agreement.cap is not None
    assert agreement.cap.after == "tax"
    terms = (agreement.settles_on, agreement.pays, agreement.odd_unit_to, agreement.id, agreement.version)
    assert terms == ("higher", "monthly", "venue", "a1", 3)


def test_what_a_body_leaves_out_is_counted_at_the_visit_and_the_odd_cent_is_the_operators() -> None:
    agreement = read_agreement(simple(), currency="USD")
    assert (agreement.settles_on, agreement.pays, agreement.odd_unit_to) == ("counted", "at_visit", "operator")
    assert agreement.loan_repay_percent == 0


def test_week_one_is_the_first_seven_trading_days() -> None:
    agreement = Agreement(START, venue_percent=HALF)
    assert [agreement.week_on(date(2026, 1, day)) for day in (1, 7, 8, 14, 15)] == [1, 1, 2, 2, 3]


def test_nothing_is_settled_before_an_agreement_begins() -> None:
    with pytest.raises(DomainError) as refused:
        Agreement(START, venue_percent=HALF).week_on(date(2025, 12, 31))
    assert refused.value.code == "not_in_force"


def test_the_share_steps_down_on_the_first_day_of_week_27() -> None:
    agreement = read_agreement(FULL, currency="USD")
    assert agreement.venue_part(100_00, on=date(2026, 7, 1)) == 60_00
    assert agreement.venue_part(100_00, on=date(2026, 7, 2)) == 50_00


@pytest.mark.parametrize(
    ("mode", "amount", "venue"),
    [
        ("marginal", 499_99, Fraction("199.996") * 100),
        ("marginal", 500_00, 200_00),
        ("marginal", 700_00, 300_00),  # 500.00 at 40 % and 200.00 at 50 %
        ("whole", 499_99, Fraction("199.996") * 100),
        ("whole", 500_00, 250_00),  # the tier is reached at its own amount
        ("whole", 700_00, 350_00),
        ("whole", 0, 0),
    ],
)
def test_tiers_by_amount_are_marginal_or_whole(mode: ShareTierMode, amount: int, venue: Fraction) -> None:
    tiers = AmountTiers(mode, (AmountTier(0, Fraction(40)), AmountTier(500_00, HALF)))
    assert Agreement(START, amount_tiers=tiers).venue_part(amount, on=START) == venue


def test_the_version_in_force_is_the_last_published_of_the_latest_date() -> None:
    first, second = Agreement(START, venue_percent=HALF), Agreement(date(2026, 6, 1), venue_percent=HALF, version=2)
    mended = Agreement(date(2026, 6, 1), venue_percent=Fraction(45), version=3)
    versions = [mended, first, second]
    assert in_force(versions, on=date(2026, 5, 31)) is first
    assert in_force(versions, on=date(2026, 6, 1)) is mended
    assert in_force(versions, on=date(2025, 12, 31)) is None


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        (simple(venue_percent="100.01"), [("bad_percent", "venue_percent")]),
        (simple(venue_percent="-1"), [("bad_percent", "venue_percent")]),
        (simple(venue_percent="1e1"), [("bad_percent", "venue_percent")]),
        (simple(venue_percent="NaN"), [("bad_percent", "venue_percent")]),
        (simple(venue_percent="50.12345"), [("bad_percent", "venue_percent")]),
        (simple(steps=FULL["steps"]), [("exactly_one_share_rule", "")]),
        ({"effective_on": "2026-01-01"}, [("exactly_one_share_rule", "")]),
        ({"effective_on": "2026-13-01", "venue_percent": "50"}, [("bad_date", "effective_on")]),
        (
            {"effective_on": "2026-01-01", "steps": [{"from_week": 2, "venue_percent": "60"}]},
            [("steps_not_rising", "steps[0].from_week")],
        ),
        (
            {"effective_on": "2026-01-01", "steps": [FULL["steps"][0], FULL["steps"][0]]},
            [("steps_not_rising", "steps[1].from_week")],
        ),
        (
            {
                "effective_on": "2026-01-01",
                "amount_tiers": {"mode": "whole", "tiers": [{"from": "5.00", "venue_percent": "40"}]},
            },
            [("tiers_not_rising", "amount_tiers.tiers[0].from")],
        ),
        (
            {"effective_on": "2026-01-01", "amount_tiers": {"mode": "half", "tiers": []}},
            [("bad_choice", "amount_tiers.mode"), ("tiers_not_rising", "amount_tiers.tiers[0].from")],
        ),
        (simple(first_money=[FULL["first_money"][0]] * 2), [("name_used_twice", "first_money[1].name")]),
        (
            simple(first_money=[{"name": "x", "amount": "0.00", "per": "once", "starts_on": "2026-01-01"}]),
            [("bad_count", "first_money[0].amount")],
        ),
        (
            simple(first_money=[{"name": "x", "amount": "1.00", "per": "once", "starts_on": "2025-12-31"}]),
            [("never_due", "first_money[0].starts_on")],
        ),
        (
            simple(
                first_money=[
                    {"name": " ", "amount": "1.00", "per": "collection", "starts_on": "2026-01-01", "spread": True}
                ]
            ),
            [("no_name", "first_money[0].name"), ("nothing_to_spread", "first_money[0].spread")],
        ),
        (simple(operator_minimum={"amount": "-1.00", "kind": "front"}), [("bad_count", "operator_minimum.amount")]),
        (simple(cap={"name": "x", "venue_percent_max": "500"}), [("bad_percent", "cap.venue_percent_max")]),
        (simple(pays="never", settles_on="hope"), [("bad_choice", "settles_on"), ("bad_choice", "pays")]),
    ],
)
def test_an_agreement_that_is_not_valid_does_not_exist(body: dict[str, Any], faults: list[tuple[str, str]]) -> None:
    assert faults_of(body) == faults


def test_a_wrong_amount_is_said_as_money() -> None:
    def told(**terms: Any) -> list[tuple[str, str]]:
        with pytest.raises(DomainError) as raised:
            read_agreement({"effective_on": "2026-01-01", **terms}, currency="USD")
        return [(fault.found, fault.expected) for fault in raised.value.faults]

    def tiers(*froms: str) -> dict[str, Any]:
        return {"mode": "whole", "tiers": [{"from": amount, "venue_percent": "40"} for amount in froms]}

    assert told(amount_tiers=tiers("5.00")) == [("5.00", "0.00, so that every case is settled")]
    assert told(amount_tiers=tiers("0.00", "500.00", "400.00")) == [("400.00", "more than the 500.00 before it")]
    nothing = {"name": "x", "amount": "0.00", "per": "week", "starts_on": "2026-01-01"}
    assert told(venue_percent="50", first_money=[nothing]) == [("0.00", "more than 0.00")]


def test_all_mistakes_are_reported_at_once_each_with_its_place() -> None:
    body = simple(
        venue_percent="lots",
        loan_repay_percent="101",
        first_money=[{"name": "Licence", "amount": "1.005", "per": "year", "starts_on": "2026-01-01"}],
        amount_tiers={"mode": "whole", "tiers": [{"from": "0.00", "venue_percent": "x"}]},
    )
    assert faults_of(body) == [
        ("bad_percent", "venue_percent"),
        ("bad_percent", "amount_tiers.tiers[0].venue_percent"),
        ("bad_money", "first_money[0].amount"),
        ("bad_percent", "loan_repay_percent"),
    ]
