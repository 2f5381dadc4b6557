"""Dividing the proceeds, against statutes, court cases and the trade press: each row with its source and mark."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from baizebook.settlements.agreement import Agreement, FirstMoney, ShareCap, WeekStep
from baizebook.settlements.box_contents import Box
from baizebook.settlements.first_money import first_money_due
from baizebook.settlements.settlement import Settlement, check_settlement, settle

START = date(2026, 1, 1)


def settled(agreement: Agreement, counted: int, on: date = START) -> Settlement:
    due = first_money_due([agreement], after_on=on - timedelta(days=1), until_on=on)
    settlement = settle(agreement, Box(counted), currency="USD", trading_on=on, due=due)
    check_settlement(settlement)
    return settlement


def texas(venue_percent: int) -> Agreement:
    return Agreement(
        START,
        venue_percent=Fraction(venue_percent),
        first_money=(FirstMoney("Occupation tax", 60_00, "year", START),),
        cap=ShareCap("Texas Occupations Code 2153.401", Fraction(50), "first_money"),
    )


def test_texas_leaves_the_location_at_most_half_after_this_years_tax() -> None:
    # Texas Occupations Code 2153.205, 2153.401: rule published, 1470.00 derived.
    at_half = settled(texas(50), 3000_00)
    assert at_half.venue_share == 1470_00
    assert at_half.advice == ()


def test_texas_more_than_half_brings_advice_that_names_the_code() -> None:
    # The same: 60 % of what is left must bring advice.
    (advice,) = settled(texas(60), 3000_00).advice
    assert advice.code == "cap_exceeded"
    assert advice.detail.startswith("Texas Occupations Code 2153.401: the venue's share is 1764.00, more than 1470.00")
    assert "no tax or legal advice" in advice.detail


def all_star(week: int) -> int:
    """Return the operator's share of 675.00 in a contract week of All Star Amusement v. Jones."""
    steps = (WeekStep(1, Fraction(60)), WeekStep(27, Fraction(50)))
    agreement = Agreement(START, steps=steps)
    return settled(agreement, 675_00, START + timedelta(weeks=week - 1)).operator_share


def test_all_star_amusement_v_jones_pays_40_per_cent_for_26_weeks_then_half() -> None:
    # All Star Amusement v. Jones, 727 S.W.2d 930 (Mo. App. 1987): 7,020 derived; 337.50 and 39,150 published.
    assert sum(all_star(week) for week in range(1, 27)) == 7_020_00
    assert all_star(27) == 337_50
    assert sum(all_star(week) for week in range(27, 27 + 116)) == 39_150_00


def test_a_service_charge_comes_off_the_top_of_every_collection() -> None:
    # A trade newsletter of June 1978, title not kept: 10.00 off, then a split, seen second-hand; the figures are derived.
    charge = FirstMoney("Service charge", 10_00, "collection", START)
    agreement = Agreement(START, venue_percent=Fraction(50), first_money=(charge,))
    settlement = settled(agreement, 110_00)
    assert [(line.code, line.amount) for line in settlement.lines] == [
        ("gross", 110_00),
        ("first_money", 10_00),
        ("operator_share", 50_00),
        ("to_venue_now", 50_00),
    ]


def test_the_operator_has_55_per_cent_where_it_is_not_half() -> None:
    # A trade survey of 1981, title not kept: 55 % for the operator is the most common other split, seen second-hand; the
    # figures are derived.
    settlement = settled(Agreement(START, venue_percent=Fraction(45)), 200_00)
    assert (settlement.operator_share, settlement.venue_share) == (110_00, 90_00)


def test_the_lines_follow_the_order_of_the_trade() -> None:
    # Common practice: gross; refunds and house money; tax; first money; minimum; split; loan; cash.
    agreement = Agreement(
        START,
        venue_percent=Fraction(50),
        first_money=(FirstMoney("Licence", 60_00, "once", START),),
        loan_repay_percent=Fraction(25),
    )
    due = first_money_due([agreement], after_on=None, until_on=START)
    box = Box(1000_00, refunds_by_venue=5_00, house_money=3_00)
    settlement = settle(agreement, box, currency="USD", trading_on=START, due=due, loan_balance=5000_00)
    codes = [line.code for line in settlement.lines]
    assert codes == [
        "gross",
        "refunds_by_venue",
        "house_money",
        "first_money",
        "operator_share",
        "loan_repayment",
        "to_venue_now",
    ]
