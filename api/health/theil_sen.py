"""A robust line through few readings: the median of all the slopes between pairs (Theil 1950, Sen 1968).

- One wild reading in four does not move the line far, which a least-squares line would.
- Everything is exact; a float only chooses which two of the sorted slopes are the band's ends.
- Points that share their x give no slope to each other; points that all share it give no line (``no_slope``).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import compress, repeat
from math import sqrt
from operator import sub, truediv
from statistics import NormalDist
from typing import TypeVar

from ..pricing.errors import domain_error

Point = tuple[int | Fraction, int | Fraction]

_Item = TypeVar("_Item")


ENOUGH = 60
"""More points hardly move the line, and its cost grows with their square."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A line through (middle_x, middle_y), with the band in which its slope lies, on ``n`` points."""

    slope: Fraction
    slope_low: Fraction
    slope_high: Fraction
    middle_x: Fraction
    middle_y: Fraction
    n: int

    def reaches(self, y: int | Fraction, *, slope: Fraction | None = None) -> Fraction | None:
        """Return the x at which the line, or one of another ``slope`` through its middle, is at ``y``; None if flat."""
        slope = self.slope if slope is None else slope
        return self.middle_x + (y - self.middle_y) / slope if slope else None


def theil_sen(points: Sequence[Point], *, confidence: float = 0.95) -> Trend:
    """Return the Theil–Sen line through ``points`` (x, y), with Sen's band of that confidence (Sen 1968, equation 2.6).

    The line passes through the medians of x and of y. Time grows with the square of the number of points.
    Refuses (``no_slope``) points that do not have two different x.
    """
    slopes = _slopes(points)
    low, high = _band_places(points, slopes.count, confidence)
    return Trend(
        slope=slopes.median(),
        slope_low=slopes.at(low),
        slope_high=slopes.at(high),
        middle_x=_median(x for x, _ in points),
        middle_y=_median(y for _, y in points),
        n=len(points),
    )


def median_slope(points: Sequence[Point]) -> Fraction:
    """Return the slope of the Theil–Sen line through ``points`` (x, y) alone; refuses (``no_slope``) as ``theil_sen``."""
    return _slopes(points).median()


def _slopes(points: Sequence[Point]) -> _Slopes:
    slopes = _Slopes(points)
    if not slopes.count:
        raise domain_error(
            "no_slope", where="points", found=f"{len(points)} points", expected="two points of different x"
        )
    return slopes


class _Slopes:
    """The slopes between all pairs of points of different x, in order.

    A float settles nearly every comparison, never against the exact order, and far faster: a slope becomes a fraction
    only where it is asked for, with those that have the same float.
    """

    def __init__(self, points: Sequence[Point]) -> None:
        self._rises: list[int | Fraction] = []
        self._runs: list[int | Fraction] = []
        xs, ys = [x for x, _ in points], [y for _, y in points]
        for i, (x, y) in enumerate(points):
            self._runs += map(sub, xs[i + 1 :], repeat(x))
            self._rises += map(sub, ys[i + 1 :], repeat(y))
        if 0 in self._runs:
            self._rises = [rise for rise, run in zip(self._rises, self._runs, strict=True) if run]
            self._runs = [run for run in self._runs if run]
        self._floats = list(map(float, map(truediv, self._rises, self._runs)))
        self._ordered = sorted(self._floats)
        self._exact: dict[float, list[tuple[Fraction, int]]] = {}
        self.count = len(self._ordered)

    def at(self, place: int) -> Fraction:
        """Return the slope at a place of the order, counted from 0."""
        same = self._ordered[place]
        if same not in self._exact:
            self._exact[same] = self._alike(same)
        until = bisect_left(self._ordered, same)
        for slope, times in self._exact[same]:
            until += times
            if place < until:
                return slope
        raise RuntimeError(f"expected a slope at place {place}, found {until}")

    def _alike(self, same: float) -> list[tuple[Fraction, int]]:
        """Return the slopes of one float in order, and how many pairs have each: nearly always all have the same."""
        alike = compress(zip(self._rises, self._runs, strict=True), map(same.__eq__, self._floats))
        (first_rise, first_run), *others = pairs = list(alike)
        if all(rise * first_run == first_rise * run for rise, run in others):
            return [(Fraction(first_rise, first_run), len(pairs))]
        return sorted(Counter(Fraction(rise, run) for rise, run in pairs).items())

    def median(self) -> Fraction:
        """Return the middle slope, or the mean of the two in the middle."""
        return (self.at((self.count - 1) // 2) + self.at(self.count // 2)) / 2


def evenly(items: Sequence[_Item], *, items_max: int = ENOUGH) -> list[_Item]:
    """Return at most ``items_max`` (two or more) of the items, evenly spread, the first and the last among them."""
    if len(items) <= items_max:
        return list(items)
    return [items[i * (len(items) - 1) // (items_max - 1)] for i in range(items_max)]


def _median(values: Iterable[int | Fraction]) -> Fraction:
    ordered = sorted(values)
    return (Fraction(ordered[(len(ordered) - 1) // 2]) + ordered[len(ordered) // 2]) / 2


def _band_places(points: Sequence[Point], slopes: int, confidence: float) -> tuple[int, int]:
    """Return where in the sorted slopes the band begins and ends (Sen 1968, equation 2.6, ties counted)."""
    n = len(points)
    spread = n * (n - 1) * (2 * n + 5) - _tied([x for x, _ in points]) - _tied([y for _, y in points])
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * sqrt(max(spread, 0) / 18)
    return max(round((slopes - reach) / 2) - 1, 0), min(round((slopes + reach) / 2), slopes - 1)


def _tied(values: Sequence[int | Fraction]) -> int:
    return sum(k * (k - 1) * (2 * k + 5) for k in Counter(values).values() if k > 1)
