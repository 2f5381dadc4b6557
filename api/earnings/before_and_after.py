"""Did a change of prices pay? Tables that changed, before and after, beside those that did not (N3).

- The effect is the difference of differences: the mean change of the changed tables less the mean change of the others
  over the same weeks (Card and Krueger, American Economic Review 84, 1994). A table's change is its mean week after less
  its mean week before, so tables count alike however many weeks each has.
- The interval holds nine effects in ten: a studentized bootstrap (Efron and Tibshirani, An Introduction to the Bootstrap,
  1993, section 12.5) that draws whole tables, for the weeks of one table are alike. The seed is fixed: the same question
  has the same answer.
- Where the interval covers zero, or there are fewer than five tables on either side or fewer than two weeks on either
  side of the change, nobody can tell.
- Shares and intervals are estimates, and floats; no amount of money is reckoned from them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt
from random import Random
from statistics import fmean
from typing import Literal

MIN_TABLES = 5
MIN_WEEKS = 2
RESAMPLES = 2_000
SEED = 1994
CONFIDENCE = 0.90

ChangeVerdict = Literal["more", "less", "cannot_tell"]


@dataclass(frozen=True, slots=True)
class TableWeeks:
    """What one table earned (or how many games it sold) in each whole week before the change, and in each after it."""

    before: Sequence[float]
    after: Sequence[float]

    @property
    def change(self) -> float:
        """The mean week after, less the mean week before."""
        return fmean(self.after) - fmean(self.before)


@dataclass(frozen=True, slots=True)
class Effect:
    """The difference of differences a week and table, its standard error, and the interval that holds it at 90 %.

    ``error`` and ``interval`` are None where there are too few tables to say.
    """

    effect: float
    error: float | None
    interval: tuple[float, float] | None
    verdict: ChangeVerdict


def price_change_effect(changed: Sequence[TableWeeks], others: Sequence[TableWeeks]) -> Effect | None:
    """Return the effect of a change of prices; None where either side has no table with weeks before and after."""
    deltas = [[table.change for table in tables if _has_both(table)] for tables in (changed, others)]
    if not all(deltas):
        return None
    effect = fmean(deltas[0]) - fmean(deltas[1])
    if any(len(side) < MIN_TABLES for side in deltas):
        return Effect(effect, None, None, "cannot_tell")
    error = _error(deltas[0], deltas[1])
    interval = _interval(deltas[0], deltas[1], effect=effect, error=error)
    return Effect(effect, error, interval, _verdict(interval))


def _has_both(table: TableWeeks) -> bool:
    return len(table.before) >= MIN_WEEKS and len(table.after) >= MIN_WEEKS


def _error(changed: Sequence[float], others: Sequence[float]) -> float:
    """Return the standard error of a difference of two means whose variances may differ."""
    return sqrt(sum(_squares(side) / (len(side) - 1) / len(side) for side in (changed, others)))


def _squares(values: Sequence[float]) -> float:
    """Return the sum of squared distances from the mean (``statistics.variance`` is exact, and fifty times slower)."""
    mean = fmean(values)
    return fsum((value - mean) ** 2 for value in values)


def _interval(changed: Sequence[float], others: Sequence[float], *, effect: float, error: float) -> tuple[float, float]:
    chance = Random(SEED)
    distances: list[float] = []
    for _ in range(RESAMPLES):
        drawn = chance.choices(changed, k=len(changed)), chance.choices(others, k=len(others))
        if spread := _error(*drawn):
            distances.append((fmean(drawn[0]) - fmean(drawn[1]) - effect) / spread)
    if not distances:  # every table changed alike
        return effect, effect
    distances.sort()
    tail = (1 - CONFIDENCE) / 2
    low = distances[round(tail * (len(distances) - 1))]
    high = distances[round((1 - tail) * (len(distances) - 1))]
    return effect - high * error, effect - low * error


def _verdict(interval: tuple[float, float]) -> ChangeVerdict:
    low, high = interval
    if low > 0:
        return "more"
    return "less" if high < 0 else "cannot_tell"
