"""Prepaid ladders against values from outside the engine; each row repeats its source and its mark."""

from __future__ import annotations

from fractions import Fraction

import pytest
from baizebook.pricing import Counting, Ladder, Rung, advice
from baizebook.pricing.ladder import WAYS_OF_COUNTING, NextBreak
from baizebook.pricing.lines import Line
from baizebook.pricing.money import round_half_up


def ladder(*rungs: tuple[int, int], counting: Counting = "repeat") -> Ladder:
    return Ladder(tuple(Rung(pays, units) for pays, units in rungs), counting)


# Bathrick v. Murphy, 50 Misc. 2d 14 (N.Y. 1966), coin machines incl. pool tables: 10 cents a play, 3 for 25, 7 for 50.
# The three prices are the court's; every figure below is derived from them.
BATHRICK = ladder((10, 1), (25, 3), (50, 7))


@pytest.mark.parametrize(
    ("plays", "cents"),
    [(1, 10), (2, 20), (3, 25), (4, 35), (5, 45), (6, 50), (7, 50), (8, 60)],  # derived
)
def test_the_least_that_buys_so_many_plays_at_the_machines_of_bathrick_v_murphy(plays: int, cents: int) -> None:
    assert BATHRICK.least(plays) == cents


def test_35_cents_buy_three_plays_and_one(  # derived
) -> None:
    sale = BATHRICK.sell(35)
    assert (sale.units, sale.spends, sale.left) == (4, 35, 0)
    assert sale.lines("games", "USD") == (Line("0.25 buys 3 games", 3, 25), Line("0.10 buys 1 game", 1, 10))


def test_the_seventh_play_is_free() -> None:  # derived
    (only,) = advice(BATHRICK, "games", "USD")
    assert (only.code, only.units, only.instead_units, only.amount) == ("free_unit", 7, 7, 50)
    assert only.detail == "Game 7 is free: 6 games and 7 games both cost 0.50."


@pytest.mark.parametrize(("cents", "hundredths"), [(10, 1000), (25, 833), (50, 714)])  # derived
def test_the_price_of_a_play_at_its_three_prices(cents: int, hundredths: int) -> None:
    sale = BATHRICK.sell(cents)
    assert round_half_up(Fraction(100 * sale.spends, sale.units)) == hundredths


# Single price or bundle, 1.50 each, 4 for 4.00, one purchase: from an exhaustive search, derived.
BUNDLE = ladder((150, 1), (400, 4))


@pytest.mark.parametrize(
    ("dollars", "plays", "left"),
    [(1, 0, 100), (2, 1, 50), (4, 4, 0), (5, 4, 100), (6, 5, 50), (7, 6, 0), (9, 8, 100), (10, 9, 50), (12, 12, 0)],
)
def test_single_price_or_bundle(dollars: int, plays: int, left: int) -> None:  # derived
    sale = BUNDLE.sell(100 * dollars)
    assert (sale.units, sale.left) == (plays, left)


# The worked examples A, B and C of the pricing rules (P1, P2): derived from rule P1. That a larger payment may buy more than
# its share of minutes (4.00 for 25, 12.00 for 84) is common practice.
GAMES = ladder((75, 1), (400, 6), (700, 11))
MINUTES = ladder((400, 25), (1200, 84))


@pytest.mark.parametrize(
    ("cents", "games", "left"),
    [
        (50, 0, 50),
        (300, 4, 0),
        (399, 5, 24),
        (400, 6, 0),
        (475, 7, 0),
        (700, 11, 0),
        (800, 12, 25),
        (1100, 17, 0),
        (1400, 22, 0),
    ],
)
def test_example_a_of_rule_p2(cents: int, games: int, left: int) -> None:
    sale = GAMES.sell(cents)
    assert (sale.units, sale.left) == (games, left)


@pytest.mark.parametrize(
    ("cents", "minutes", "left"),
    [(400, 25, 0), (1199, 50, 399), (1200, 84, 0), (1600, 109, 0), (2400, 168, 0)],
)
def test_example_b_of_rule_p2(cents: int, minutes: int, left: int) -> None:
    sale = MINUTES.sell(cents)
    assert (sale.units, sale.left) == (minutes, left)


def test_example_b_of_rule_p2_where_only_the_first_price_follows_the_top() -> None:
    assert ladder((400, 25), (1200, 84), counting="climb_once").total(2400) == 159


@pytest.mark.parametrize(
    ("counting", "games"),
    [
        ("repeat", [4, 6, 8, 12, 16, 20, 24]),
        ("climb", [4, 6, 7, 10, 16, 20, 23]),
        ("climb_once", [4, 6, 7, 10, 16, 19, 22]),
    ],
)
def test_example_c_of_rule_p1(counting: Counting, games: list[int]) -> None:
    priced = ladder((100, 1), (300, 4), (1000, 16), counting=counting)
    assert [priced.total(100 * dollars) for dollars in (3, 5, 6, 9, 10, 13, 16)] == games


def test_the_next_breaks_of_examples_a_and_b_at_10_00() -> None:
    # The example answer of the contract: derived from rule P7.
    assert GAMES.next_break(1000) == NextBreak(100, 17)
    assert MINUTES.next_break(1000) == NextBreak(200, 84)


@pytest.mark.parametrize("counting", WAYS_OF_COUNTING)
@pytest.mark.parametrize("priced", [BATHRICK, BUNDLE, GAMES, MINUTES])
def test_the_properties_that_every_ladder_keeps(priced: Ladder, counting: Counting) -> None:
    """Units never fall as money grows, money never falls as units grow, price(units(m)) <= m, units(price(n)) >= n."""
    priced = Ladder(priced.rungs, counting)
    totals = [priced.total(money) for money in range(3_000)]
    assert totals == sorted(totals)
    prices = [priced.least(units) for units in range(1, 200)]
    assert prices == sorted(prices)
    assert all(priced.least(units) <= money for money, units in enumerate(totals) if units)
    assert all(priced.total(price) >= units for units, price in enumerate(prices, start=1))
