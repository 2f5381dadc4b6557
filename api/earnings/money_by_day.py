"""Spreads the money of one box over the trading days since the box was last emptied (N2).

- A box emptied on a trading day holds the money of the days after the one on which it was emptied before, up to and
  including that day. Two collections on one day share that day: all of the second box belongs to it.
- Where a money meter was read in between, each stretch between two readings gets the part that the meter counted in it;
  inside a stretch, and where there is no reading, the days get equal parts.
- A table sells nothing while it is out of order (J2): inside a stretch a day counts by the share of it in which the table
  could be played. A stretch without any such day is divided equally all the same: the money came on some day.
- Parts are whole minor units by largest remainder, ties to the earlier day: they add up to the amount, exactly.
- The money left over when a period is cut in two is that of its two halves: each day's part depends on the box alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from ..pricing.money import allot

_A_DAY = timedelta(days=1)
_NEVER: Mapping[date, Fraction] = {}
DAYS_SPREAD_MAX = 40_000
"""No box is spread over more days than this century has."""


@dataclass(frozen=True, slots=True)
class MeterPoint:
    """How far the meter had come by the end of a trading day: a share of the box, from 0 to 1."""

    on: date
    share: Fraction


def days_of(*, emptied_before_on: date | None, emptied_on: date) -> list[date]:
    """Return the trading days whose money a box holds, the earliest first; without an earlier collection its own day."""
    if emptied_before_on is None or emptied_before_on >= emptied_on:
        return [emptied_on]
    count = min((emptied_on - emptied_before_on).days, DAYS_SPREAD_MAX)
    return [emptied_on - _A_DAY * back for back in range(count - 1, -1, -1)]


def weights_of(
    days: Sequence[date], points: Sequence[MeterPoint] = (), out_of_order: Mapping[date, Fraction] = _NEVER
) -> list[Fraction]:
    """Return the part of the box that belongs to each day; the parts add up to 1.

    ``out_of_order`` is the share of a day in which nobody could play. ``points`` may come in any order; those outside the days, and those that would make the meter go down, say nothing.
    """
    weights: list[Fraction] = []
    begun, share = 0, Fraction(0)
    if not points and not out_of_order:
        return [Fraction(1, len(days))] * len(days)
    inside = sorted((point for point in points if days[0] <= point.on < days[-1]), key=lambda point: point.on)
    for point in (*inside, MeterPoint(days[-1], Fraction(1))):
        ended = (point.on - days[0]).days + 1
        if ended <= begun or not share <= point.share <= 1:
            continue
        in_order = [1 - out_of_order.get(day, Fraction()) for day in days[begun:ended]]
        in_order = in_order if any(in_order) else [Fraction(1)] * len(in_order)
        whole = sum(in_order)
        weights += [(point.share - share) * part / whole for part in in_order]
        begun, share = ended, point.share
    return weights


def by_day(amount: int, weights: Sequence[Fraction]) -> list[int]:
    """Return the part of an amount (minor units, of either sign) that belongs to each day of some weights."""
    if weights and weights == [weights[0]] * len(weights) and weights[0]:  # equal parts are the usual case, and quick
        part, odd = divmod(abs(amount), len(weights))
        parts = [part + 1] * odd + [part] * (len(weights) - odd)
        return parts if amount >= 0 else [-part for part in parts]
    return allot(amount, weights)


def spread(
    amount: int,
    days: Sequence[date],
    points: Sequence[MeterPoint] = (),
    out_of_order: Mapping[date, Fraction] = _NEVER,
) -> dict[date, int]:
    """Return the part of an amount (minor units, of either sign) that belongs to each day."""
    return dict(zip(days, by_day(amount, weights_of(days, points, out_of_order)), strict=True))
