"""Settlements, step by step, with the odd cases that a visit brings."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.settlements.agreement import Agreement, CapAfter, OperatorMinimum, ShareCap
from baizebook.settlements.box_contents import Box
from baizebook.settlements.carried_forward import Claim
from baizebook.settlements.expected_range import Expected
from baizebook.settlements.settlement import Settlement, check_settlement, settle
from baizebook.tax_areas.tax_area import NOT_ADVICE, TaxRate

START, TODAY, BEFORE = date(2026, 1, 1), date(2026, 3, 6), date(2026, 2, 6)
TAX = TaxRate(START, rate_percent=Fraction(5))


def agreed(venue_percent: int = 50, **terms: Any) -> Agreement:
    return Agreement(START, venue_percent=Fraction(venue_percent), id="a1", version=2, **terms)


def settled(agreement: Agreement, box: Box, **more: Any) -> Settlement:
    settlement = settle(agreement, box, currency="USD", trading_on=TODAY, **more)
    check_settlement(settlement)
    return settlement


def amounts(settlement: Settlement) -> list[tuple[str, int, int]]:
    return [(line.code, line.basis, line.amount) for line in settlement.lines]


def licence(amount: int, on: date = TODAY) -> Claim:
    return Claim("first_money", amount, on, "Licence")


def test_every_step_takes_from_what_the_one_before_left() -> None:
    agreement = agreed(60, operator_minimum=OperatorMinimum(25_00, "front"), loan_repay_percent=Fraction(25))
    box = Box(1000_00, refunds_by_venue=4_00, house_money=5_00, test_money=1_00)
    settlement = settled(agreement, box, tax=TAX, due=[licence(60_00)], loan_balance=500_00)
    assert amounts(settlement) == [
        ("gross", 1000_00, 1000_00),
        ("refunds_by_venue", 4_00, 4_00),
        ("house_money", 5_00, 5_00),
        ("test_money", 1_00, 1_00),
        ("tax", 990_00, 47_14),
        ("first_money", 60_00, 60_00),
        ("operator_minimum", 25_00, 25_00),
        ("operator_share", 857_86, 343_14),
        ("loan_repayment", 514_72, 128_68),
        ("to_venue_now", 514_72, 386_04),
    ]
    assert (settlement.venue_share, settlement.operator_share) == (514_72, 343_14)
    assert settlement.to_bag == 1000_00 - 9_00 - 386_04
    assert (settlement.agreement_id, settlement.agreement_version) == ("a1", 2)
    assert settlement.notice == NOT_ADVICE


def test_an_empty_box_divides_nothing_and_carries_what_was_due() -> None:
    settlement = settled(agreed(), Box(0), tax=TAX, due=[licence(60_00)])
    assert (settlement.tax, settlement.operator_share, settlement.venue_share) == (0, 0, 0)
    assert settlement.carried_forward == (licence(60_00),)


@pytest.mark.parametrize("bad", [-1, 10**16, True])
def test_a_gross_below_zero_or_beyond_all_money_does_not_exist(bad: int) -> None:
    with pytest.raises(DomainError) as refused:
        Box(bad, house_money=bad)
    assert [fault.where for fault in refused.value.faults] == ["counted", "house_money"]


def test_no_more_is_returned_than_is_there_and_the_rest_is_carried_forward() -> None:
    settlement = settled(agreed(), Box(10_00, refunds_by_venue=7_00, house_money=5_00, test_money=2_00))
    assert amounts(settlement)[1:3] == [("refunds_by_venue", 7_00, 7_00), ("house_money", 5_00, 3_00)]
    assert settlement.carried_forward == (Claim("house_money", 2_00, TODAY), Claim("test_money", 2_00, TODAY))
    assert settlement.to_bag == 0


def test_carried_claims_are_taken_before_new_ones_the_oldest_first() -> None:
    settlement = settled(agreed(), Box(70_00), due=[licence(60_00)], carried_in=[licence(25_00, BEFORE)])
    assert amounts(settlement)[1:3] == [("first_money", 25_00, 25_00), ("first_money", 60_00, 45_00)]
    assert settlement.carried_forward == (licence(15_00),)
    assert settlement.venue_share == 0


def test_carried_money_is_taken_under_an_agreement_that_knows_nothing_of_it() -> None:
    old = [Claim("operator_minimum", 8_00, BEFORE), Claim("first_money", 5_00, BEFORE, "Old charge")]
    settlement = settled(agreed(), Box(100_00), carried_in=old)
    assert amounts(settlement)[1:] == [
        ("first_money", 5_00, 5_00),
        ("operator_minimum", 8_00, 8_00),
        ("operator_share", 87_00, 43_50),
        ("to_venue_now", 43_50, 43_50),
    ]
    assert settlement.carried_forward == ()


def test_a_front_minimum_comes_off_before_the_split() -> None:
    settlement = settled(agreed(operator_minimum=OperatorMinimum(40_00, "front")), Box(100_00))
    assert (settlement.operator_share, settlement.venue_share) == (30_00, 30_00)


def test_a_front_minimum_that_the_box_does_not_hold_is_carried_forward() -> None:
    settlement = settled(agreed(operator_minimum=OperatorMinimum(40_00, "front")), Box(30_00))
    assert settlement.carried_forward == (Claim("operator_minimum", 10_00, TODAY),)


@pytest.mark.parametrize(
    ("counted", "operator", "venue", "carried"),
    [
        (100_00, 50_00, 50_00, 0),  # his share is above the guarantee: it adds nothing
        (80_00, 40_00, 40_00, 0),
        (60_00, 40_00, 20_00, 0),
        (40_00, 40_00, 0, 0),
        (30_00, 30_00, 0, 10_00),
    ],
)
def test_a_guarantee_fills_the_operators_share_up(counted: int, operator: int, venue: int, carried: int) -> None:
    settlement = settled(agreed(operator_minimum=OperatorMinimum(40_00, "guarantee")), Box(counted))
    assert (settlement.operator_share, settlement.venue_share) == (operator, venue)
    assert sum(claim.amount for claim in settlement.carried_forward) == carried


def test_what_a_guarantee_missed_raises_the_next_floor() -> None:
    agreement = agreed(operator_minimum=OperatorMinimum(40_00, "guarantee"))
    missed = [Claim("operator_minimum", 10_00, BEFORE)]
    settlement = settled(agreement, Box(90_00), carried_in=missed)
    assert amounts(settlement)[1:3] == [("operator_share", 90_00, 45_00), ("operator_guarantee", 50_00, 5_00)]
    assert (settlement.operator_share, settlement.carried_forward) == (50_00, ())


@pytest.mark.parametrize(("party", "operator", "venue"), [("operator", 50_01, 50_00), ("venue", 50_00, 50_01)])
def test_the_odd_cent_goes_to_the_party_that_the_agreement_names(party: str, operator: int, venue: int) -> None:
    settlement = settled(agreed(odd_unit_to=party), Box(100_01))
    assert (settlement.operator_share, settlement.venue_share) == (operator, venue)


@pytest.mark.parametrize(("venue_percent", "venue"), [(0, 0), (100, 1)])
def test_a_share_of_nothing_never_gets_the_odd_cent(venue_percent: int, venue: int) -> None:
    party = "venue" if venue_percent == 0 else "operator"
    assert settled(agreed(venue_percent, odd_unit_to=party), Box(1)).venue_share == venue


def test_a_loan_is_repaid_to_its_end_and_no_further() -> None:
    settlement = settled(agreed(loan_repay_percent=Fraction(25)), Box(100_00), loan_balance=3_00)
    assert (settlement.loan_repaid, settlement.to_venue_now) == (3_00, 47_00)
    assert settled(agreed(loan_repay_percent=Fraction(25)), Box(100_00)).loan_repaid == 0


def test_a_loan_repaid_too_much_before_a_correction_is_given_back() -> None:
    settlement = settled(agreed(loan_repay_percent=Fraction(25)), Box(100_00), loan_balance=-2_00)
    assert (settlement.loan_repaid, settlement.to_venue_now) == (-2_00, 52_00)


def test_a_venue_paid_monthly_gets_its_share_on_its_balance_and_its_refunds_at_once() -> None:
    settlement = settled(agreed(pays="monthly"), Box(110_00, refunds_by_venue=10_00))
    assert (settlement.to_venue_now, settlement.to_venue_balance) == (0, 50_00)
    assert amounts(settlement)[-1] == ("to_venue_balance", 50_00, 50_00)
    assert (settlement.returned_to_venue, settlement.to_bag) == (10_00, 100_00)


def test_settled_on_the_count_a_difference_changes_nothing() -> None:
    settlement = settled(agreed(), Box(95_00, Expected(100_00, 100_00)))
    assert (settlement.counted, settlement.gross, settlement.advice) == (95_00, 95_00, ())


@pytest.mark.parametrize(
    ("settles_on", "counted", "gross"),
    [
        ("expected", 95_00, 100_00),
        ("expected", 105_00, 105_00),  # inside the range the count stands
        ("expected", 115_00, 110_00),
        ("higher", 95_00, 100_00),
        ("higher", 115_00, 115_00),
    ],
)
def test_settled_on_the_expectation_the_operator_bears_the_difference(
    settles_on: str, counted: int, gross: int
) -> None:
    settlement = settled(agreed(settles_on=settles_on), Box(counted, Expected(100_00, 110_00)))
    assert (settlement.gross, settlement.venue_share) == (gross, gross // 2)
    assert (settlement.to_venue_now, settlement.to_bag) == (gross // 2, counted - gross // 2)
    assert [advice.code for advice in settlement.advice] == ["settled_on_expectation"] * (counted != gross)


def test_nobody_is_handed_cash_that_was_not_counted() -> None:
    box = Box(30_00, Expected(100_00, 100_00), refunds_by_venue=10_00)
    settlement = settled(agreed(settles_on="expected"), box)
    assert (settlement.venue_share, settlement.to_venue_now, settlement.to_venue_balance) == (45_00, 20_00, 25_00)
    assert settlement.to_bag == 0


def test_without_an_expectation_the_count_is_settled_with_advice() -> None:
    settlement = settled(agreed(settles_on="expected"), Box(95_00))
    assert settlement.gross == 95_00
    assert [advice.code for advice in settlement.advice] == ["nothing_expected"]


@pytest.mark.parametrize(
    ("after", "most"),
    [
        ("gross", "500.00"),
        ("returns", "495.00"),
        ("tax", "471.43"),
        ("first_money", "441.43"),
        ("minimum", "431.43"),
    ],
)
def test_a_cap_is_reckoned_after_the_step_that_it_names(after: CapAfter, most: str) -> None:
    agreement = agreed(
        100, cap=ShareCap("Act 5", Fraction(50), after), operator_minimum=OperatorMinimum(20_00, "front")
    )
    settlement = settled(agreement, Box(1000_00, house_money=10_00), tax=TAX, due=[licence(60_00)])
    (advice,) = settlement.advice
    assert advice.code == "cap_exceeded"
    assert f"Act 5: the venue's share is 862.86, more than {most}, which is 50 %" in advice.detail
    assert NOT_ADVICE in advice.detail


def test_a_share_at_its_cap_brings_no_advice_but_an_odd_cent_over_it_does() -> None:
    cap = ShareCap("Act 5", Fraction(50), "gross")
    assert settled(agreed(cap=cap, odd_unit_to="venue"), Box(100_00)).advice == ()
    assert settled(agreed(cap=cap, odd_unit_to="operator"), Box(100_01)).advice == ()
    assert len(settled(agreed(cap=cap, odd_unit_to="venue"), Box(100_01)).advice) == 1


def test_first_money_taken_twice_before_a_correction_is_given_back_to_the_split() -> None:
    settlement = settled(agreed(), Box(100_00), carried_in=[licence(-20_00, BEFORE)])
    assert amounts(settlement) == [
        ("gross", 100_00, 100_00),
        ("correction", -20_00, -20_00),
        ("operator_share", 120_00, 60_00),
        ("to_venue_now", 60_00, 60_00),
    ]
    assert settlement.carried_forward == ()


def test_what_is_given_back_is_there_for_what_falls_due_now() -> None:
    settlement = settled(agreed(), Box(50_00), due=[licence(60_00)], carried_in=[licence(-20_00, BEFORE)])
    assert amounts(settlement)[1:3] == [("correction", -20_00, -20_00), ("first_money", 60_00, 60_00)]
    assert (settlement.operator_share, settlement.venue_share, settlement.carried_forward) == (5_00, 5_00, ())


def test_refunds_returned_twice_before_a_correction_are_kept_from_the_next_refunds() -> None:
    over = [Claim("refunds_by_venue", -5_00, BEFORE)]
    nothing_new = settled(agreed(), Box(100_00), carried_in=over)
    assert nothing_new.carried_forward == (Claim("refunds_by_venue", -5_00, BEFORE),)
    settlement = settled(agreed(), Box(100_00, refunds_by_venue=8_00), carried_in=over)
    assert (settlement.returned_to_venue, settlement.carried_forward) == (3_00, ())


def test_nothing_is_settled_under_an_agreement_that_has_not_begun() -> None:
    with pytest.raises(DomainError) as refused:
        settle(agreed(), Box(100_00), currency="USD", trading_on=date(2025, 12, 31))
    assert refused.value.code == "not_in_force"


def test_yen_and_dinars_are_divided_in_their_own_units() -> None:
    yen = settle(agreed(), Box(1501), currency="JPY", trading_on=TODAY)
    assert (yen.operator_share, yen.venue_share) == (751, 750)
    cap = ShareCap("Act 5", Fraction(40), "gross")
    dinars = settle(agreed(cap=cap), Box(1_250), currency="KWD", trading_on=TODAY)
    assert "is 0.625, more than 0.500" in dinars.advice[0].detail


def test_a_split_of_nothing_names_no_percentage() -> None:
    settlement = settled(agreed(operator_minimum=OperatorMinimum(40_00, "front")), Box(30_00))
    (line,) = (line for line in settlement.lines if line.code == "operator_share")
    assert line.what == "Operator's share: nothing left to split"


@pytest.mark.parametrize(
    ("owed", "correction", "operator", "venue", "carried"),
    [
        (40_00, 40_00, 30_00, 30_00, 0),
        (-40_00, -40_00, 70_00, 70_00, 0),
        (140_00, 100_00, 0, 0, 40_00),  # never more than is there; the rest waits
    ],
)
def test_a_gross_that_is_judged_otherwise_now_is_corrected_before_tax_and_split(
    owed: int, correction: int, operator: int, venue: int, carried: int
) -> None:
    claim = Claim("expectation", owed, BEFORE)
    settlement = settled(agreed(), Box(100_00), carried_in=[claim])
    assert [line.amount for line in settlement.lines if line.code == "correction"] == [correction]
    assert (settlement.operator_share, settlement.venue_share) == (operator, venue)
    assert sum(claim.amount for claim in settlement.carried_forward) == carried
    assert (settlement.revised, settlement.first_money) == (correction, 0)
