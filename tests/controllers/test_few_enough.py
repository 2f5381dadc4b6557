"""Of too many prices the one goes, again and again, without which the units at the tariff's own prices change least."""

from time import process_time

import pytest
from baizebook.controllers.nearest_prices import nearest_prices
from baizebook.pool_tables.controller import Controller, Limits
from baizebook.pricing import Ladder, Rung, Tariff
from baizebook.pricing.errors import DomainError
from baizebook.pricing.ladder import WAYS_OF_COUNTING, Counting
from hypothesis import given
from hypothesis import strategies as st


def ladder_or_none(rungs: tuple[Rung, ...], counting: Counting) -> Ladder | None:
    try:
        return Ladder(rungs, counting)
    except DomainError:
        return None


def fewest_change(wanted: Ladder, most: int) -> Ladder:
    """The rule as it is said: try every ladder without one of its prices, the first aside."""
    held = wanted
    while len(held.rungs) > most:
        tried = []
        for gone in held.rungs[1:]:
            left = ladder_or_none(tuple(rung for rung in held.rungs if rung != gone), wanted.counting)
            if left is not None:
                change = sum(abs(wanted.total(rung.price) - left.total(rung.price)) for rung in wanted.rungs)
                tried.append((change, -gone.price, left))
        held = min(tried, key=lambda one: one[:2])[2]
    return held


@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(1, 6)), min_size=2, max_size=9),
    st.sampled_from(WAYS_OF_COUNTING),
    st.integers(1, 4),
)
def test_the_price_that_changes_least_goes_whatever_the_counting(
    steps: list[tuple[int, int]], counting: Counting, most: int
) -> None:
    rungs, price, units = list[Rung](), 0, 0
    for more_price, more_units in steps:
        price, units = price + more_price, units + more_units
        if ladder_or_none((*rungs, Rung(price, units)), counting):
            rungs.append(Rung(price, units))
    wanted = Ladder(tuple(rungs), counting)
    held, _ = nearest_prices(Tariff("USD", games=wanted), Controller(games=Limits(prices_max=most)))
    assert held.games is not None
    assert held.games.rungs == fewest_change(wanted, most).rungs


@pytest.mark.parametrize("counting", ["climb", "climb_once"])
def test_fifty_prices_on_a_controller_of_two_take_a_moment(counting: Counting) -> None:
    """Each tariff of a schedule took half a second, in every question about a table that holds few prices."""
    wanted = Ladder(tuple(Rung(100 + 37 * n, 1 + 3 * n) for n in range(50)), counting)
    began = process_time()
    nearest_prices(Tariff("USD", games=wanted), Controller(games=Limits(prices_max=2)))
    assert process_time() - began < 0.2
