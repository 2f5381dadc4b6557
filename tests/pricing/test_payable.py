"""What a table's coin slots can take."""

from __future__ import annotations

from typing import Any

import pytest
from baizebook.pricing import PricingError, next_payable
from baizebook.pricing.payable import payable
from hypothesis import given
from hypothesis import strategies as st

QUARTERS_AND_NOTES = (25, 100, 500, 2000)


@pytest.mark.parametrize(
    ("accepts", "money", "next_money"),
    [
        (QUARTERS_AND_NOTES, 75, 75),
        (QUARTERS_AND_NOTES, 80, 100),
        (QUARTERS_AND_NOTES, 1, 25),
        (QUARTERS_AND_NOTES, 0, 0),
        ((50,), 75, 100),
        ((200, 500), 300, 400),
        ((200, 500), 100, 200),
        ((3, 5), 7, 8),
        ((3, 5), 4, 5),
        ((6, 9, 20), 43, 44),
        ((6, 9, 20), 44, 44),
        ((25, 100), 100_000_000_000_003, 100_000_000_000_025),
    ],
)
def test_the_next_amount_that_the_denominations_make_up(accepts: tuple[int, ...], money: int, next_money: int) -> None:
    assert next_payable(accepts, money) == next_money
    assert payable(accepts, money) == (money == next_money)


@given(st.lists(st.integers(1, 40), min_size=1, max_size=5), st.integers(0, 400))
def test_it_is_the_one_that_counting_all_sums_finds(accepts: list[int], money: int) -> None:
    sums = {0}
    for amount in range(1, money + 41):
        if any(amount - coin in sums for coin in accepts):
            sums.add(amount)
    assert next_payable(tuple(accepts), money) == min(amount for amount in sums if amount >= money)
    assert payable(tuple(accepts), money) == (money in sums)


def test_the_order_of_the_denominations_does_not_matter() -> None:
    assert next_payable((2000, 25, 500, 25, 100), 80) == next_payable(QUARTERS_AND_NOTES, 80) == 100


@pytest.mark.parametrize(
    ("accepts", "where"),
    [((), "accepts"), ((25, 0), "accepts[1]"), ((-25,), "accepts[0]"), ((0.25,), "accepts[0]"), ((1,) * 51, "accepts")],
)
def test_what_is_no_set_of_denominations_is_refused(accepts: Any, where: str) -> None:
    with pytest.raises(PricingError) as refusal:
        next_payable(accepts, 100)
    assert (refusal.value.code, refusal.value.faults[0].where) == ("bad_denominations", where)


def test_denominations_without_a_common_step_are_refused_where_they_would_take_long() -> None:
    assert next_payable((20_000, 20_001), 40_000) == 40_000
    with pytest.raises(PricingError) as refusal:
        next_payable((20_001, 20_002), 40_000)
    assert refusal.value.code == "denominations_too_complex"
