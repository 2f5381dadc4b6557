"""What an intake buys, break-even and elasticity (N4); coins to handle against brute force."""

from fractions import Fraction
from itertools import product

import pytest
from baizebook.pricing import DomainError, Ladder, Rung
from baizebook.pricing.effort import Effort
from baizebook.what_if.intake_bought import IntakeUnits, at_elasticity, bought, break_even_share, fewest_pieces
from hypothesis import given
from hypothesis import strategies as st

QUARTERS = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))


def test_notes_are_purchases_of_their_own_and_what_they_leave_is_put_together() -> None:
    # A 5.00 note buys 6 + 1 games and leaves 0.25; three quarters buy one: 0.75 of quarters and 2 × 0.25 left buy 1.
    assert bought(QUARTERS, {25: 3, 500: 2}) == IntakeUnits(2 * 7 + 1, 16)
    assert bought(QUARTERS, {}) == IntakeUnits(0, 0)


@given(st.dictionaries(st.sampled_from([25, 100, 500, 1000]), st.integers(0, 40)))
def test_nobody_gets_more_than_the_most_or_less_than_the_first_price_sells(counts: dict[int, int]) -> None:
    found = bought(QUARTERS, counts)
    whole = sum(value * count for value, count in counts.items())
    assert whole // 75 <= found.units <= found.most
    assert found.most >= QUARTERS.total(whole)


@pytest.mark.parametrize(
    ("old", "new", "share"),
    [(200, 250, Fraction(1, 5)), (75, 100, Fraction(1, 4)), (100, 100, Fraction(0)), (150, 125, Fraction(-1, 5))],
)
def test_break_even_of_one_price_is_one_less_old_by_new(old: int, new: int, share: Fraction) -> None:
    # 2.00 to 2.50 may lose 20 % of play, 0.75 to 1.00 25 %. Derived.
    assert break_even_share(Fraction(1, old), Fraction(1, new)) == share


def arc_elasticity(*, prices: tuple[int, int], quantities: tuple[int, int]) -> Fraction:
    """Return the change of the quantity per change of the price, both against their midpoints."""
    (price, new_price), (quantity, new_quantity) = prices, quantities
    by_quantity = Fraction(new_quantity - quantity, new_quantity + quantity)
    return by_quantity / Fraction(new_price - price, new_price + price)


@pytest.mark.parametrize(
    ("prices", "quantities", "printed"),
    [
        ((50, 60), (4000, 2500), -2.538),  # textbook exercise, seen second-hand (printed 2.5)
        ((70, 60), (2800, 3000), -0.448),  # OpenStax Economics 5.1, from memory (printed -0.45)
    ],
)
def test_at_a_printed_elasticity_play_changes_as_the_textbook_has_it(
    prices: tuple[int, int], quantities: tuple[int, int], printed: float
) -> None:
    elasticity = arc_elasticity(prices=prices, quantities=quantities)
    assert round(float(elasticity), 3) == printed
    found = at_elasticity(Fraction(1, prices[0]), Fraction(1, prices[1]), elasticity)
    assert found is not None
    assert found.play == Fraction(quantities[1], quantities[0])


@given(st.integers(50, 400), st.integers(50, 400), st.fractions(-4, 0, max_denominator=100))
def test_play_at_an_elasticity_has_that_arc_elasticity(old: int, new: int, elasticity: Fraction) -> None:
    found = at_elasticity(Fraction(1, old), Fraction(1, new), elasticity)
    if found is None or not found.play or old == new:
        return
    quantities = (found.play.denominator, found.play.numerator)
    assert arc_elasticity(prices=(old, new), quantities=quantities) == elasticity
    assert found.takings == found.play * new / old


def test_takings_stay_the_same_at_an_elasticity_of_one_and_play_never_grows_without_bound() -> None:
    found = at_elasticity(Fraction(10), Fraction(8), Fraction(-1))
    assert found is not None
    assert found.takings == 1
    assert at_elasticity(Fraction(10), Fraction(30), Fraction(-2)) is None


@pytest.mark.parametrize("accepts", [(25, 100, 500), (50, 75, 200), (30, 70)])
def test_the_fewest_coins_are_those_of_all_ways_to_pay(accepts: tuple[int, ...]) -> None:
    for price in range(5, 1005, 5):
        ways = [
            sum(counts)
            for counts in product(*(range(min(14, price // value) + 1) for value in accepts[1:]))
            for rest in [price - sum(c * v for c, v in zip(counts, accepts[1:], strict=True))]
            if rest >= 0 and rest % accepts[0] == 0
            for counts in [(*counts, rest // accepts[0])]
        ]
        found = fewest_pieces(accepts, price, work=Effort())
        assert (None if found is None else sum(found.values())) == min(ways, default=None)
        assert found is None or sum(value * count for value, count in found.items()) == price


def test_prices_too_large_to_make_up_are_refused() -> None:
    with pytest.raises(DomainError) as refused:
        fewest_pieces((1, 100), 100_000_00, work=Effort())
    assert refused.value.code == "denominations_too_complex"
