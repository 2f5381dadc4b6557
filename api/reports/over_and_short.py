"""Over and short over time: two charts that tell a lean from chance (X1).

- A point is one collection's difference as a share of its expectation; only money meters make points, since a range
  has no figure to be off from. A collection of which nothing was expected makes none.
- EWMA: z = λx + (1 − λ)z, from the target on; limits at the target ± L·σ·√(λ / (2 − λ)) (NIST/SEMATECH 6.3.2.4).
- Tabular CUSUM: high = max(0, high + x − target − k), low = max(0, low + target − k − x); a sum above h is a signal
  (NIST/SEMATECH 6.3.2.3). The target is zero; k is half and h five standard deviations.
- σ comes from the mean moving range / 1.128, so that a lean does not hide itself by widening its own limits; it is
  never taken below half a per cent, so that a run of exact counts does not make an alarm of a coin.
- With fewer than eight points there is no chart: it says that there are too few.
- A signal names the first collection it points to: the first after its sum last stood at zero, or after its average
  was last on the other side.
- It is a reason to look, never an accusation, and every chart with a signal says so.

Pure statistics of shares: floats, added and multiplied in a fixed order; money never comes in but as a ratio.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise
from math import sqrt
from typing import Literal

FEWEST_POINTS = 8

MIN_SIGMA = 0.005
REASON_TO_LOOK = (
    "A reason to look, not an accusation: meters, prices, refunds, jams and counts can each be the cause of a lean."
)


_MEAN_RANGE_OF_TWO = 1.128
"""d2 for ranges of two: what the mean moving range of normal points is, in standard deviations."""


ChartName = Literal["ewma", "cusum"]
Side = Literal["over", "short"]


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """One collection: its id, and counted less expected as a share of expected."""

    collection_id: str
    share: Fraction


@dataclass(frozen=True, slots=True)
class TabularSums:
    """The two one-sided sums after each point."""

    high: tuple[float, ...]
    low: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Signal:
    """One chart's first crossing on one side: where it was seen, and the first collection it points to."""

    chart: ChartName
    side: Side
    seen_at: str
    points_to: str
    detail: str


@dataclass(frozen=True, slots=True)
class Chart:
    """The charted differences of a table or a collector, as shares; ``limit`` is the EWMA's, ``h`` that of the sums."""

    sigma: float
    ewma: tuple[float, ...]
    limit: float
    sums: TabularSums
    h: float
    signals: tuple[Signal, ...]
    notice: str


def point(collection_id: str, *, counted: int, expected: int) -> ChartPoint | None:
    """Return a collection's point (both in minor units), or None where nothing was expected."""
    return ChartPoint(collection_id, Fraction(counted - expected, expected)) if expected > 0 else None


def ewma(values: Sequence[float], *, weight: float, start: float) -> list[float]:
    """Return the exponentially weighted moving average after each value; ``weight`` is λ, over 0 and at most 1."""
    return list(accumulate(values, lambda z, x: weight * x + (1 - weight) * z, initial=start))[1:]


def ewma_limit(sigma: float, *, weight: float, width: float = 3.0) -> float:
    """Return how far from the target the EWMA's limits stand: ``width``·σ·√(λ / (2 − λ))."""
    return width * sigma * sqrt(weight / (2 - weight))


def tabular_cusum(values: Sequence[float], *, target: float, k: float) -> TabularSums:
    """Return the one-sided sums of what goes past the target by more than ``k``."""
    highs = accumulate(values, lambda high, x: max(0.0, high + x - target - k), initial=0.0)
    lows = accumulate(values, lambda low, x: max(0.0, low + target - k - x), initial=0.0)
    return TabularSums(tuple(highs)[1:], tuple(lows)[1:])


def first_crossing(sums: Sequence[float], limit: float) -> tuple[int, int] | None:
    """Return where sums first exceed a limit, and the first point after they last stood at zero or below; else None."""
    seen = next((index for index, value in enumerate(sums) if value > limit), None)
    if seen is None:
        return None
    return seen, next((index + 1 for index in range(seen, -1, -1) if sums[index] <= 0), 0)


def chart(points: Sequence[ChartPoint], *, weight: float = 0.3) -> Chart | None:
    """Chart differences in the order of their collections, about zero (X1); None where there are too few points."""
    if len(points) < FEWEST_POINTS:
        return None
    shares = [float(point.share) for point in points]
    ranges = [abs(after - before) for before, after in pairwise(shares)]
    sigma = max(sum(ranges) / len(ranges) / _MEAN_RANGE_OF_TWO, MIN_SIGMA)
    average = ewma(shares, weight=weight, start=0.0)
    limit = ewma_limit(sigma, weight=weight)
    sums = tabular_cusum(shares, target=0.0, k=sigma / 2)
    found = (
        _signal("ewma", "over", points, average, limit),
        _signal("ewma", "short", points, [-value for value in average], limit),
        _signal("cusum", "over", points, sums.high, 5 * sigma),
        _signal("cusum", "short", points, sums.low, 5 * sigma),
    )
    signals = tuple(signal for signal in found if signal is not None)
    notice = REASON_TO_LOOK if signals else "No lean beyond chance."
    return Chart(sigma, tuple(average), limit, sums, 5 * sigma, signals, notice)


def _signal(
    name: ChartName,
    side: Side,
    points: Sequence[ChartPoint],
    sums: Sequence[float],
    limit: float,
) -> Signal | None:
    crossing = first_crossing(sums, limit)
    if crossing is None:
        return None
    seen, begun = (points[index].collection_id for index in crossing)
    detail = f"Counts lean {side} from collection {begun} on; seen at {seen}. {REASON_TO_LOOK}"
    return Signal(name, side, seen, begun, detail)
