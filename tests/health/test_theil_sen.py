"""The robust line: what one wild reading does to it, and what has no line."""

from __future__ import annotations

from fractions import Fraction

import pytest
from baizebook.health.theil_sen import evenly, theil_sen
from baizebook.pricing.errors import DomainError


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
    assert trend.intercept == 100
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
