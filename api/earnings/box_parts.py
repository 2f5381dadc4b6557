"""The part of a box that belongs to each week of each month: what sums over weeks, months and years add up.

- The parts of a box add up to it, amount by amount, for each day of it lies in one part.
- A box emptied on the day on which it was emptied before shares that day: it adds money, and no table day.
- Of a table that was out of order on some of its days there are no parts: its days count by the share in order.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from .earned_totals import BOX_AMOUNTS, Earned, shares_its_day
from .money_by_day import by_day, days_of, weights_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The days of a box in one week of one month, and their amounts by name (minor units, games, minutes)."""

    first_on: date
    week_on: date
    month: str
    days: int
    amounts: dict[str, Any]


def parts_of(box: Earned) -> list[Part]:
    """Return a box week by week, cut where a month ends; the earliest first."""
    days = days_of(emptied_before_on=box.emptied_before_on, emptied_on=box.emptied_on)
    weights = weights_of(days, box.points, box.out_of_order)
    spread = {name: by_day(getattr(box, name), weights) for name in BOX_AMOUNTS}
    places: dict[tuple[date, str], list[int]] = {}
    for place, day in enumerate(days):
        places.setdefault((day - timedelta(days=day.weekday()), day.isoformat()[:7]), []).append(place)
    return [
        Part(
            first_on=days[at[0]],
            week_on=week_on,
            month=month,
            days=0 if shares_its_day(box) else len(at),
            amounts={name: sum(amounts[place] for place in at) for name, amounts in spread.items()},
        )
        for (week_on, month), at in places.items()
    ]
