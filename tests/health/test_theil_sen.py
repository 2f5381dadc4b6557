"""The robust line: what one wild reading does to it, and what has no line."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from statistics import median

import pytest
from baizebook.health.theil_sen import evenly, theil_sen
from baizebook.pricing.errors import DomainError
from hypothesis import assume, given
from hypothesis import strategies as st


def test_one_wild_reading_does_not_move_the_line() -> None:
    honest = [(day, 12700 - 10 * day) for day in range(10)]
    wild = [*honest[:4], (4, 9000), *honest[5:]]

    assert theil_sen(wild).slope == theil_sen(honest).slope == -10


def test_the_line_is_exact_where_thirds_are_needed() -> None:
    assert theil_sen([(0, 0), (3, 1)]).slope == Fraction(1, 3)


def test_the_line_passes_through_the_medians_and_says_when_it_reaches_a_level() -> None:
    trend = theil_sen([(0, 100), (1, 90), (2, 80)])

    assert trend.middle_x == 1
    assert trend.middle_y == 90
    assert trend.reaches(50) == 5
    assert trend.reaches(50, slope=Fraction(-20)) == 3


def test_a_flat_line_never_reaches_another_level() -> None:
    assert theil_sen([(0, 7), (1, 7), (2, 7)]).reaches(6) is None


def test_the_order_of_the_points_does_not_matter() -> None:
    points: list[tuple[int, int]] = [(0, 5), (4, 9), (1, 2), (9, 30), (3, 3)]

    assert theil_sen(points) == theil_sen(points[::-1])


@pytest.mark.parametrize("points", [[], [(1, 5)], [(1, 5), (1, 9)]], ids=["none", "one", "two at one instant"])
def test_points_without_two_instants_have_no_line(points: list[tuple[int, int]]) -> None:
    with pytest.raises(DomainError) as refused:
        theil_sen(points)
    assert refused.value.code == "no_slope"


def test_of_many_readings_the_first_and_the_newest_are_kept() -> None:
    kept = evenly(range(1000), items_max=60)

    assert (len(kept), kept[0], kept[-1]) == (60, 0, 999)
    assert evenly([3, 1, 2], items_max=60) == [3, 1, 2]


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.one_of(st.integers(-9, 9), st.fractions(-1, 1, max_denominator=7))),
        max_size=25,
    )
)
def test_slopes_are_those_of_all_pairs_in_exact_order(points: list[tuple[int, int | Fraction]]) -> None:
    slopes = sorted(Fraction(y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(points, 2) if x1 != x2)
    assume(slopes)

    trend = theil_sen(points)

    assert trend.slope == median(slopes)
    assert {trend.slope_low, trend.slope_high} <= set(slopes)
    assert slopes.index(trend.slope_low) <= len(slopes) // 2 <= len(slopes) - 1 - slopes[::-1].index(trend.slope_high)


def test_slopes_that_no_float_tells_apart_keep_their_order() -> None:
    great = 10**20
    points = [(0, 0), (great, great + 2), (2 * great, 2 * great + 3)]

    assert theil_sen(points).slope == Fraction(2 * great + 3, 2 * great)
