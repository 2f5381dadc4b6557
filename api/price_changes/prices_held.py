"""Which prices a table sold by from which trading day on, and when it changed to the prices asked about (N3, W8).

- What counts is what a table sells (W8), not what is listed: a table that nobody keyed has not changed.
- Two schedules with the same prices at the same times of the week are one list of prices, whatever their names.
- The trading day on which prices changed belongs to neither side, unless they changed at its start.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import groupby, pairwise

from ..controllers.fit import prices_of
from ..controllers.week_settings import Prices, listed_week, plain
from ..pricing import Schedule, Timetable
from ..pricing.metered import Rate

_A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PricesHeld:
    """Prices by which a table sold on the whole trading days from ``from_on`` up to, not including, ``until_on``.

    ``until_on`` None: still. ``is_asked``: these are the prices asked about.
    """

    from_on: date
    until_on: date | None
    is_asked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The days at which prices changed: old ones up to, not including, ``until_on``; new ones from ``from_on`` on."""

    until_on: date
    from_on: date


def prices_held(
    sold: Timetable, *, is_asked: Callable[[Schedule], bool], from_on: date, until_on: date | None
) -> list[PricesHeld]:
    """Return what a table sold by, in time order, while it was at one venue: from ``from_on``, before ``until_on``."""
    calendar = sold.calendar
    starts: list[tuple[datetime, tuple[Hashable, bool] | None]] = [
        (stretch.from_at, (week_key(stretch.schedule), is_asked(stretch.schedule)) if stretch.schedule else None)
        for stretch in sold.stretches
    ]
    groups = [next(iter(group)) for _, group in groupby(starts, key=lambda start: start[1])]
    if not groups:
        return []
    ends = [calendar.trading_day(later[0]) for later in groups[1:]]
    held = []
    for (from_at, key), end in zip(groups, [*ends, until_on], strict=True):
        day = calendar.trading_day(from_at)
        first = max(from_on, day if calendar.day_starts(day) == from_at else day + _A_DAY)
        last = end if until_on is None or end is None else min(end, until_on)
        if key is not None and (last is None or first < last):
            held.append(PricesHeld(from_on=first, until_on=last, is_asked=key[1]))
    return held


@lru_cache(maxsize=1024)
def week_key(schedule: Schedule) -> Hashable:
    """Return what a schedule sells over a week, apart from dates and names: equal where the prices are equal."""
    days = listed_week(schedule, turns_at=schedule.day_starts_at.hour * 60 + schedule.day_starts_at.minute)
    return tuple(
        tuple(_joined((w.ends, plain(prices_of(w.tariff)), w.tariff.metered if w.tariff else None) for w in day))
        for day in days
    )


def _joined(windows: Iterable[tuple[int, Prices, Rate | None]]) -> list[tuple[int, Prices, Rate | None]]:
    """Return windows with neighbours that sell alike made one."""
    return [list(group)[-1] for _, group in groupby(windows, key=lambda window: window[1:])]


def change_of(held: Iterable[PricesHeld]) -> Change | None:
    """Return the last change to the prices asked about; None where they never took the place of others."""
    found = None
    for old, new in pairwise(held):
        if new.is_asked and not old.is_asked and old.until_on is not None:
            found = Change(until_on=old.until_on, from_on=new.from_on)
    return found


def holds_throughout(held: Iterable[PricesHeld], change: Change, *, weeks: int) -> bool:
    """Tell whether prices stayed the same for some weeks before a change and after it."""
    first, last = change.until_on - 7 * weeks * _A_DAY, change.from_on + 7 * weeks * _A_DAY
    before = [one for one in held if one.from_on <= change.until_on]
    if not before:
        return False
    one = before[-1]
    began = one.from_on <= first or one is before[0]
    return began and (one.until_on is None or one.until_on >= last)
