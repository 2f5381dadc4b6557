"""Days whose money is still in the box: named as such, never 0, with an estimate beside that says it is one (N2)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction

from ..pricing.money import round_half_up


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenBox:
    """A table's box since the trading day on which it was last emptied; ``usual_a_day`` in minor units, if known.

    ``out_of_order`` is the share of each day in which nobody could play: nothing is estimated for it (J2).
    """

    table_id: str
    venue_id: str
    currency: str
    emptied_on: date
    usual_a_day: Fraction | None
    out_of_order: Mapping[date, Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotYetCollected:
    """Days of a table, ``until_on`` exclusive, that no collection covers; the estimate is in minor units."""

    box: OpenBox
    from_on: date
    until_on: date
    estimate: int | None


def not_yet_collected(
    boxes: Iterable[OpenBox], *, from_on: date, until_on: date, today: dict[str, date]
) -> list[NotYetCollected]:
    """Return the days of a period, up to the trading day that it is at each venue, whose money is still in a box."""
    found = []
    for box in boxes:
        first = max(from_on, box.emptied_on + timedelta(days=1))
        end = min(until_on, today[box.venue_id] + timedelta(days=1))
        if first < end:
            usual, days = box.usual_a_day, (end - first).days
            lost = sum((share for day, share in box.out_of_order.items() if first <= day < end), Fraction())
            estimate = None if usual is None else round_half_up(usual * (days - lost))
            found.append(NotYetCollected(box=box, from_on=first, until_on=end, estimate=estimate))
    return found
