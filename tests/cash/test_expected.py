"""Expected cash: what the meters say should be in the box, and how far the count is from it."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from itertools import pairwise

import pytest
from baizebook.collections.cash_by_meter import by_money_meter, by_units_meter, less_refunds
from baizebook.collections.difference import Difference, InAll, difference, in_all
from baizebook.pricing.errors import DomainError
from baizebook.pricing.ladder import WAYS_OF_COUNTING, Counting, Ladder, Rung
from baizebook.settlements.expected_range import Expected
from hypothesis import given
from hypothesis import strategies as st

# 0.75 buys a game, 4.00 six, 7.00 eleven; 4.00 buys 25 minutes, 12.00 84.
GAMES = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
MINUTES = Ladder((Rung(400, 25), Rung(1200, 84)))
DOLLAR = Ladder((Rung(100, 1),))


def test_311_counts_at_1_00_less_six_test_plays_less_4_00_refunded_are_301_00() -> None:
    # Rule (US Navy ship's store manuals): published. The example: invented, rule-true.
    # Test plays clock the games meter without money.
    meter = by_units_meter(10_731 - 10_420, [DOLLAR], accepts=[100, 500], test_games=6)
    assert meter is not None
    assert less_refunds(meter, refunds_from_box=4_00) == Expected(301_00, 301_00)


def test_a_money_meter_is_its_figure_whatever_was_played_without_money() -> None:
    assert by_money_meter(10_731 - 10_420, unit_value=100) == Expected(311_00, 311_00)


@pytest.mark.parametrize(
    ("units", "least", "most"),
    [
        (0, 0, 50),  # 0.50 may be left and buy nothing
        (1, 75, 125),
        (5, 375, 425),
        (6, 400, 500),  # six for 4.00, or one by one for 4.50 and 0.50 left
        (10, 700, 800),  # eleven for 7.00 are cheaper than ten any other way
        (11, 700, 875),
        (110, 7000, 8300),
    ],
)
def test_a_games_meter_gives_the_cheapest_and_the_dearest_way_with_what_can_be_left(
    units: int, least: int, most: int
) -> None:
    assert by_units_meter(units, [GAMES], accepts=[25, 100, 500, 2000]) == Expected(least, most)


def test_without_denominations_every_cent_below_a_game_can_be_left() -> None:
    assert by_units_meter(6, [GAMES]) == Expected(400, 450 + 74)


def test_what_the_denominations_cannot_make_up_is_not_in_the_box() -> None:
    # A table that takes dollars only: 0.75 is paid with 1.00, and 1.49 cannot be in the box.
    assert by_units_meter(1, [GAMES], accepts=[100, 500]) == Expected(100, 100)


def test_minutes_that_no_rungs_make_up_stand_for_the_next_number_that_they_do() -> None:
    assert by_units_meter(30, [MINUTES]) == Expected(800, 800 + 399)  # 50 minutes
    assert by_units_meter(84, [MINUTES]) == Expected(1200, 1200 + 399)
    assert by_units_meter(168, [MINUTES], accepts=[100]) == Expected(2400, 2400 + 300)


def test_two_ladders_in_force_between_the_readings_widen_the_range() -> None:
    cheap = Ladder((Rung(50, 1),))
    assert by_units_meter(10, [DOLLAR, cheap], accepts=[25]) == Expected(500, 1075)


def test_free_play_for_part_of_the_time_can_have_cost_nothing() -> None:
    assert by_units_meter(10, [DOLLAR], accepts=[100], free=True) == Expected(0, 1000)
    assert by_units_meter(10, [], free=True) == Expected(0, 0)


def test_units_without_any_price_leave_nothing_known_to_expect() -> None:
    assert by_units_meter(10, []) is None
    assert by_units_meter(0, []) == by_units_meter(6, [], test_games=6) == Expected(0, 0)


LADDERS = st.lists(
    st.tuples(st.integers(1, 12), st.integers(1, 7)), min_size=1, max_size=3, unique_by=(lambda r: r[0], lambda r: r[1])
).map(lambda rungs: tuple(Rung(*r) for r in zip(sorted(p for p, _ in rungs), sorted(u for _, u in rungs), strict=True)))


def valid_ladder(rungs: tuple[Rung, ...], counting: Counting) -> Ladder | None:
    try:
        return Ladder(rungs, counting)
    except DomainError:
        return None


SOLD = st.lists(st.builds(valid_ladder, LADDERS, st.sampled_from(WAYS_OF_COUNTING)), min_size=1, max_size=3)


@given(
    ladders=SOLD,
    units=st.integers(0, 60),
)
def test_the_range_is_that_of_trying_every_way(ladders: list[Ladder | None], units: int) -> None:
    sold = [ladder for ladder in ladders if ladder is not None] or [DOLLAR]
    rungs = [rung for ladder in sold for rung in ladder.rungs]

    @cache
    def cheapest(wanted: int) -> int:
        return min((rung.price + cheapest(wanted - rung.units) for rung in rungs), default=0) if wanted > 0 else 0

    @cache
    def dearest(wanted: int) -> int | None:
        if wanted == 0:
            return 0
        ways = [(rung.price, dearest(wanted - rung.units)) for rung in rungs if rung.units <= wanted]
        return max((pays + rest for pays, rest in ways if rest is not None), default=None)

    made_up = next(number for number in range(units, units + 8) if dearest(number) is not None)
    left = max(ladder.rungs[0].price for ladder in sold) - 1
    most = dearest(made_up)
    assert most is not None
    assert by_units_meter(units, sold) == Expected(cheapest(units), most + left)


@given(
    ladders=SOLD,
    purchases=st.lists(st.tuples(st.integers(0, 2), st.integers(1, 60)), max_size=8),
)
def test_whatever_was_bought_the_money_is_inside_the_range(
    ladders: list[Ladder | None], purchases: list[tuple[int, int]]
) -> None:
    sold = [ladder for ladder in ladders if ladder is not None] or [DOLLAR]
    units = left = money = 0
    for which, paid in purchases:
        sale = sold[which % len(sold)].sell(left + paid)
        units, left, money = units + sale.units, sale.left, money + paid
    expected = by_units_meter(units, sold)
    assert expected is not None
    assert expected.least <= money <= expected.most


def test_a_range_too_long_to_search_is_bounded_and_never_too_narrow() -> None:
    odd = Ladder((Rung(7_00, 999_983), Rung(13_00, 1_000_000 * 1)))
    expected = by_units_meter(999_999_999, [odd])
    assert expected is not None
    assert expected.least <= 1001 * 7_00 <= expected.most
    exact, bounded = by_units_meter(33_000, [MINUTES]), Fraction(33_000 * 1200, 84)
    assert exact is not None
    assert exact.least >= bounded > exact.least - 1200


@given(st.lists(st.integers(0, 30_000), min_size=2, max_size=5).map(sorted))
def test_more_units_are_never_expected_to_bring_less(units: list[int]) -> None:
    ranges = [by_units_meter(number, [GAMES], accepts=[25]) for number in units]
    ends = [(expected.least, expected.most) for expected in ranges if expected is not None]
    assert all(before <= after for one, other in pairwise(ends) for before, after in zip(one, other, strict=True))


def test_refunds_from_the_box_lower_the_expectation_but_not_below_nothing() -> None:
    assert less_refunds(Expected(3_00, 5_00), refunds_from_box=4_00) == Expected(0, 1_00)
    assert less_refunds(Expected(3_00, 5_00), refunds_from_box=5_01) == Expected(0, 0)


@pytest.mark.parametrize(
    ("counted", "expected", "amount", "percent"),
    [
        (301_00, Expected(301_00, 301_00), 0, Fraction(0)),
        (298_00, Expected(301_00, 301_00), -3_00, Fraction(-300, 301)),
        (310_00, Expected(290_00, 300_00), 10_00, Fraction(10, 3)),
        (295_00, Expected(290_00, 300_00), 0, Fraction(0)),
        (280_00, Expected(290_00, 300_00), -10_00, Fraction(-100, 29)),
        (1_00, Expected(0, 0), 1_00, None),
        (0, Expected(0, 0), 0, None),
    ],
)
def test_the_difference_is_that_to_the_nearer_end_and_per_cent_of_it(
    counted: int, expected: Expected, amount: int, percent: Fraction | None
) -> None:
    assert difference(counted, expected) == Difference(amount, percent)


def test_in_all_a_table_without_an_expectation_stands_at_its_count() -> None:
    tables = [(100_00, Expected(110_00, 110_00)), (55_00, Expected(40_00, 50_00)), (70_00, None)]
    assert in_all(tables) == InAll(
        counted=225_00,
        expected=Expected(150_00, 160_00),
        difference=Difference(0, Fraction(0)),
        settling=Expected(220_00, 230_00),
        compared=2,
        compared_count=155_00,
    )


def test_in_all_nothing_is_expected_where_no_table_has_an_expectation() -> None:
    assert in_all([(70_00, None)]) == InAll(70_00, None, None, None)
    assert in_all([]) == InAll(0, None, None, None)


@pytest.mark.parametrize("bad", [-1, 1.5, True, 10**16])
def test_counts_are_whole_and_never_below_zero(bad: int) -> None:
    with pytest.raises(DomainError):
        by_money_meter(bad, unit_value=100)
    with pytest.raises(DomainError):
        by_units_meter(5, [DOLLAR], test_games=bad)
    with pytest.raises(DomainError):
        less_refunds(Expected(5, 5), refunds_from_box=bad)
