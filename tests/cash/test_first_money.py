"""First money: what falls due, when, and that nothing falls due twice."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from time import process_time

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.settlements.agreement import Agreement, FirstMoney, FirstMoneyPer
from baizebook.settlements.first_money import check_due_at_once, first_money_due
from hypothesis import given
from hypothesis import strategies as st

START = date(2026, 1, 1)


def agreed(*items: FirstMoney, effective_on: date = START, version: int = 1) -> Agreement:
    return Agreement(effective_on, venue_percent=Fraction(50), first_money=items, version=version)


def due(item: FirstMoney, after_on: date | None, until_on: date, effective_on: date = START) -> list[tuple[date, int]]:
    claims = first_money_due([agreed(item, effective_on=effective_on)], after_on=after_on, until_on=until_on)
    return [(claim.due_on, claim.amount) for claim in claims]


def test_weekly_money_falls_due_on_the_first_day_of_each_week() -> None:
    item = FirstMoney("Service", 10_00, "week", START)
    assert due(item, None, date(2026, 1, 14)) == [(START, 10_00), (date(2026, 1, 8), 10_00)]
    assert due(item, date(2026, 1, 14), date(2026, 1, 15)) == [(date(2026, 1, 15), 10_00)]
    assert due(item, date(2026, 1, 8), date(2026, 1, 14)) == []


def test_monthly_money_of_the_31st_falls_due_on_the_last_day_of_a_shorter_month_and_comes_back() -> None:
    item = FirstMoney("Rent", 30_00, "month", date(2026, 1, 31))
    days = [on for on, _ in due(item, None, date(2026, 5, 1))]
    assert days == [date(2026, 1, 31), date(2026, 2, 28), date(2026, 3, 31), date(2026, 4, 30)]


def test_yearly_money_of_a_leap_day_falls_due_on_the_28th_in_other_years() -> None:
    item = FirstMoney("Licence", 60_00, "year", date(2028, 2, 29))
    days = [on for on, _ in due(item, None, date(2032, 3, 1))]
    assert days == [
        date(2028, 2, 29),
        date(2029, 2, 28),
        date(2030, 2, 28),
        date(2031, 2, 28),
        date(2032, 2, 29),
    ]


def test_money_due_once_falls_due_once() -> None:
    item = FirstMoney("Delivery", 75_00, "once", date(2026, 1, 5))
    assert due(item, None, date(2026, 1, 4)) == []
    assert due(item, date(2026, 1, 4), date(2026, 2, 1)) == [(date(2026, 1, 5), 75_00)]
    assert due(item, date(2026, 1, 5), date(2026, 2, 1)) == []


def test_money_per_collection_falls_due_at_each_even_two_on_one_day() -> None:
    item = FirstMoney("Service", 10_00, "collection", date(2026, 1, 3))
    on = date(2026, 1, 9)
    assert due(item, on, on) == due(item, None, on) == [(on, 10_00)]
    assert due(item, None, date(2026, 1, 2)) == []


def test_the_second_collection_of_a_day_and_a_late_one_find_nothing_of_the_periods_money() -> None:
    item = FirstMoney("Service", 10_00, "week", START)
    assert due(item, START, START) == []
    assert due(item, date(2026, 2, 1), date(2026, 1, 20)) == []
    spread = FirstMoney("Rent", 31_00, "month", START, spread=True)
    assert due(spread, date(2026, 2, 1), date(2026, 1, 20)) == []


def test_spread_money_comes_day_by_day_and_the_whole_month_to_its_amount() -> None:
    item = FirstMoney("Rent", 31_00, "month", START, spread=True)
    assert due(item, None, START) == [(START, 1_00)]
    assert due(item, START, date(2026, 1, 31)) == [(date(2026, 1, 31), 30_00)]
    assert due(item, None, date(2026, 2, 14)) == [(date(2026, 2, 14), 31_00 + 15_50)]  # 14 of 28 days


def test_a_start_before_the_agreement_only_fixes_the_rhythm() -> None:
    item = FirstMoney("Licence", 60_00, "year", date(2020, 3, 1))
    assert due(item, None, date(2026, 12, 31)) == [(date(2026, 3, 1), 60_00)]


def test_a_new_version_takes_over_on_its_day_and_nothing_falls_due_under_both() -> None:
    old = agreed(FirstMoney("Service", 10_00, "week", START))
    new = agreed(FirstMoney("Service", 12_00, "week", START), effective_on=date(2026, 1, 15), version=2)
    claims = first_money_due([old, new], after_on=None, until_on=date(2026, 1, 22))
    assert [(claim.due_on.day, claim.amount) for claim in claims] == [(1, 10_00), (8, 10_00), (15, 12_00), (22, 12_00)]


def test_a_version_that_was_mended_on_its_own_day_brings_nothing() -> None:
    slip = agreed(FirstMoney("Service", 1000_00, "week", START))
    mended = agreed(FirstMoney("Service", 10_00, "week", START), version=2)
    (claim,) = first_money_due([slip, mended], after_on=None, until_on=START)
    assert claim.amount == 10_00


@pytest.mark.parametrize("spread", [False, True])
@given(
    per=st.sampled_from(["week", "month", "year", "once"]),
    starts=st.integers(-500, 500),
    cuts=st.lists(st.integers(0, 1500), min_size=1, max_size=6),
    amount=st.integers(1, 10_000),
)
def test_however_often_is_collected_the_same_falls_due(
    spread: bool, per: FirstMoneyPer, starts: int, cuts: list[int], amount: int
) -> None:
    starts_on = START + timedelta(days=abs(starts) if per == "once" else starts)
    item = FirstMoney("Any", amount, per, starts_on, spread=spread and per != "once")
    days = [START + timedelta(days=cut) for cut in sorted(cuts)]
    one_by_one = [due(item, after, until) for after, until in zip([None, *days[:-1]], days, strict=True)]
    at_once = due(item, None, days[-1])
    assert sum(amount for claims in one_by_one for _, amount in claims) == sum(amount for _, amount in at_once)


@pytest.mark.parametrize(
    ("per", "number", "effective_on", "found"),
    [
        ("week", 1, date(1990, 1, 1), None),
        ("week", 10, date(2023, 6, 1), None),
        ("month", 100, date(2025, 6, 1), None),
        ("week", 2, date(1988, 1, 1), "4060 periods"),
        ("week", 100, date(2000, 1, 1), "140300 periods"),
        ("month", 100, date(2000, 1, 1), "32300 periods"),
        ("once", 100, date(1800, 1, 1), None),
        ("collection", 100, date(1800, 1, 1), None),
    ],
)
def test_an_agreement_from_far_back_may_not_claim_thousands_of_periods_at_once(
    per: FirstMoneyPer, number: int, effective_on: date, found: str | None
) -> None:
    starts_on = effective_on if per == "once" else date(1700, 1, 1)
    items = [FirstMoney(f"Item {n}", 1_00, per, starts_on) for n in range(number)]
    agreement, until_on = agreed(*items, effective_on=effective_on), date(2026, 11, 25)
    claims = len(first_money_due([agreement], after_on=None, until_on=until_on))
    if found is None:
        check_due_at_once(agreement, until_on=until_on)
        assert claims <= 2_000
    else:
        with pytest.raises(DomainError, match=found):
            check_due_at_once(agreement, until_on=until_on)
        assert found == f"{claims} periods"


def test_spread_money_is_one_claim_however_long_ago_it_began() -> None:
    items = [FirstMoney(f"Item {n}", 1_00, "week", date(1700, 1, 1), spread=True) for n in range(100)]
    check_due_at_once(agreed(*items, effective_on=date(1800, 1, 1)), until_on=date(2026, 11, 25))


def test_what_began_three_centuries_ago_is_reckoned_from_its_last_period_on() -> None:
    items = [FirstMoney(f"Item {n}", 1_00, "week", date(1, 1, 1), spread=n % 2 == 0) for n in range(100)]
    began = process_time()
    for _ in range(20):
        first_money_due([agreed(*items)], after_on=date(2026, 11, 1), until_on=date(2026, 11, 25))
    assert process_time() - began < 1
