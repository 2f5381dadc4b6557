"""Every settlement adds up, never pays below zero and loses no claim, whatever the agreement and the box."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any, get_args

import pytest
from baizebook.settlements.agreement import (
    Agreement,
    AmountTier,
    AmountTiers,
    FirstMoney,
    OperatorMinimum,
    ShareCap,
    ShareTierMode,
    WeekStep,
)
from baizebook.settlements.box_contents import Box
from baizebook.settlements.carried_forward import Claim
from baizebook.settlements.expected_range import Expected
from baizebook.settlements.first_money import first_money_due
from baizebook.settlements.settlement import Settlement, check_settlement, settle
from baizebook.tax_areas.tax_area import TaxRate
from hypothesis import given, settings
from hypothesis import strategies as st

START = date(2026, 1, 1)
AMOUNTS = st.integers(0, 100_00) | st.integers(0, 10**9)
PERCENTS = st.integers(0, 10_000).map(lambda hundredths: Fraction(hundredths, 100))
RISING = st.lists(st.tuples(st.integers(2, 500_00), PERCENTS), max_size=3, unique_by=lambda part: part[0]).map(sorted)
STEPS = st.tuples(PERCENTS, RISING).map(lambda parts: [(1, parts[0]), *parts[1]])
TIERS = st.tuples(PERCENTS, RISING).map(lambda parts: [(0, parts[0]), *parts[1]])
MODES: st.SearchStrategy[ShareTierMode] = st.sampled_from(get_args(ShareTierMode))
SHARES = st.one_of(
    PERCENTS.map(lambda percent: {"venue_percent": percent}),
    STEPS.map(lambda steps: {"steps": tuple(WeekStep(*step) for step in steps)}),
    st.tuples(MODES, TIERS).map(
        lambda tiers: {"amount_tiers": AmountTiers(tiers[0], tuple(AmountTier(*tier) for tier in tiers[1]))}
    ),
)
MINIMA = st.none() | st.builds(OperatorMinimum, AMOUNTS, st.sampled_from(["front", "guarantee"]))
CAPS = st.none() | st.builds(
    ShareCap, st.just("Act 5"), PERCENTS, st.sampled_from(["gross", "returns", "tax", "first_money", "minimum"])
)
EXPECTED = st.none() | st.tuples(AMOUNTS, AMOUNTS).map(lambda ends: Expected(min(ends), max(ends)))
BOXES = st.builds(Box, AMOUNTS, EXPECTED, st.integers(0, 50_00), st.integers(0, 50_00), st.integers(0, 50_00))
TAXES = st.none() | st.integers(0, 9_999).map(lambda rate: TaxRate(START, rate_percent=Fraction(rate, 100)))
FIRST_MONEY = (
    FirstMoney("Licence", 60_00, "year", START),
    FirstMoney("Service", 10_00, "collection", START),
    FirstMoney("Rent", 31_00, "month", START, spread=True),
)
CODES = ("refunds_by_venue", "house_money", "test_money", "expectation", "first_money", "operator_minimum")


def claims(least: int) -> st.SearchStrategy[list[Claim]]:
    days = st.integers(-90, 0).map(lambda day: START + timedelta(days=day))
    names = st.sampled_from(["", "Licence"])
    return st.lists(st.builds(Claim, st.sampled_from(CODES), st.integers(least, 100_00), days, names), max_size=5)


@st.composite
def agreements(draw: st.DrawFn) -> Agreement:
    return Agreement(
        START,
        **draw(SHARES),
        first_money=draw(st.sampled_from([(), FIRST_MONEY])),
        operator_minimum=draw(MINIMA),
        settles_on=draw(st.sampled_from(["counted", "expected", "higher"])),
        pays=draw(st.sampled_from(["at_visit", "monthly"])),
        odd_unit_to=draw(st.sampled_from(["operator", "venue"])),
        loan_repay_percent=draw(PERCENTS),
        cap=draw(CAPS),
    )


@settings(max_examples=150)
@given(
    agreement=agreements(),
    box=BOXES,
    tax=TAXES,
    carried_in=claims(-100_00),
    loan=st.integers(-50_00, 10**6),
    week=st.integers(0, 60),
)
def test_every_settlement_keeps_its_promises(
    agreement: Agreement, box: Box, tax: TaxRate | None, carried_in: list[Claim], loan: int, week: int
) -> None:
    on = START + timedelta(weeks=week)
    due = first_money_due([agreement], after_on=None, until_on=on)
    settlement = settle(
        agreement,
        box,
        currency="USD",
        trading_on=on,
        tax=tax,
        due=due,
        carried_in=carried_in,
        loan_balance=loan,
    )
    check_settlement(settlement)
    assert sum(line.amount for line in settlement.lines[1:]) == settlement.gross
    assert settlement.loan_repaid <= max(loan, 0)
    assert settlement.gross in (box.counted, box.near)
    if agreement.settles_on == "higher":
        assert settlement.gross == max(box.counted, box.near)


@given(
    agreement=agreements(),
    counts=st.lists(st.integers(0, 80_00), min_size=2, max_size=6),
    refunds=st.integers(0, 30_00),
)
def test_no_claim_is_lost_or_taken_twice_from_one_collection_to_the_next(
    agreement: Agreement, counts: list[int], refunds: int
) -> None:
    carried: tuple[Claim, ...] = ()
    after_on, taken, claimed = None, Counter[str](), Counter[str]()
    for index, counted in enumerate(counts):
        on = START + timedelta(days=10 * index)
        due = first_money_due([agreement], after_on=after_on, until_on=on)
        claimed["first_money"] += sum(claim.amount for claim in due)
        claimed["refunds_by_venue"] += refunds
        box = Box(counted, refunds_by_venue=refunds)
        settlement = settle(agreement, box, currency="USD", trading_on=on, due=due, carried_in=carried)
        check_settlement(settlement)
        carried, after_on = settlement.carried_forward, on
        for line in settlement.lines:
            taken[line.code] += line.amount
    for code in ("first_money", "refunds_by_venue"):
        left = sum(claim.amount for claim in carried if claim.code == code)
        assert left >= 0
        assert claimed[code] == taken[code] + left


def settlement_of_100() -> Settlement:
    agreement = Agreement(START, venue_percent=Fraction(50))
    due = [Claim("first_money", 10_00, START, "Service")]
    return settle(agreement, Box(100_00), currency="USD", trading_on=START, due=due)


@pytest.mark.parametrize(
    "change",
    [
        {"gross": 100_01},
        {"tax": 1},
        {"venue_share": 45_01},
        {"operator_share": 44_99},
        {"to_venue_now": 45_01},
        {"to_venue_balance": -1, "to_venue_now": 45_01},
        {"counted": 44_99},
        {"claims": ()},
        {"carried_forward": (Claim("first_money", 1, START),)},
    ],
)
def test_a_settlement_that_does_not_add_up_is_found(change: dict[str, Any]) -> None:
    check_settlement(settlement_of_100())
    with pytest.raises(RuntimeError, match="A settlement of 2026-01-01 breaks: "):
        check_settlement(replace(settlement_of_100(), **change))
