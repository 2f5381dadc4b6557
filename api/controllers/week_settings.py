"""The week in a controller's own days: as a schedule lists it, and as a controller holds it.

- S1: each of a controller's days runs from ``day_turns_at`` to the next, and is named for the date on which it starts.
  A span of the trading day (W2, W3) is cut where a controller's day turns: 20:00-02:00 of a Friday is two pieces for a
  controller whose days turn at midnight.
- W4: a later weekly window beats an earlier one, and all of them beat the base.
- A day is tiled: its windows follow one another from turn to turn without gaps. Closed is a window that sells nothing.
- Windows next to each other in a day that sell the same are one window.

Minutes inside a day count from the turn of that day: 0 to 1440.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import groupby, pairwise

from ..pool_tables.controller_days import A_DAY
from ..pricing.errors import domain_error
from ..pricing.ladder import Ladder
from ..pricing.tariff import Tariff
from ..pricing.week import WEEKDAYS, Schedule
from ..pricing.week import Window as Entry

_Entry = tuple[str, Tariff | None]


@dataclass(frozen=True, slots=True)
class DatedWindow:
    """One date entry, or one occurrence of a recurring event, on the venue's wall clock (naive times)."""

    name: str
    starts_local: datetime
    ends_local: datetime
    tariff: Tariff | None


@dataclass(frozen=True, slots=True)
class ListedWindow:
    """What the schedule lists from ``starts`` to ``ends`` of a controller's day; ``tariff`` None is closed."""

    starts: int
    ends: int
    tariff: Tariff | None
    name: str


@dataclass(frozen=True, slots=True)
class Prices:
    """What a window sells: games, minutes, both, free play, or (all empty) nothing."""

    games: Ladder | None = None
    minutes: Ladder | None = None
    free: bool = False

    def __post_init__(self) -> None:
        if self.free and (self.games or self.minutes):
            raise domain_error(
                "free_with_prices", where="free", found="prices", expected="no prices where play is free"
            )

    def ladder(self, sells: str) -> Ladder | None:
        """Return the ladder of ``games`` or ``minutes``."""
        return self.games if sells == "games" else self.minutes


NOTHING = Prices()


@lru_cache(maxsize=4096)
def plain(prices: Prices) -> Prices:
    """Return prices without what says nothing: ways of counting that so few prices do not tell apart."""
    games, minutes = (
        ladder and replace(ladder, counting=ladder.counts_as) for ladder in (prices.games, prices.minutes)
    )
    return Prices(games, minutes, prices.free)


@dataclass(frozen=True, slots=True)
class SettingsWindow:
    """What the controller sells from ``starts`` to ``ends``, in minutes after its day turns."""

    starts: int
    ends: int
    prices: Prices


@dataclass(frozen=True, slots=True)
class Day:
    """The settings of one day: ``mon`` … ``sun``, or ``YYYY-MM-DD`` where the controller knows dates.

    Refuses (``bad_day``) windows that do not follow one another from 0 to 1440.
    """

    day: str
    windows: tuple[SettingsWindow, ...]

    def __post_init__(self) -> None:
        marks = [0, *(w.ends for w in self.windows)]
        tiled = [w.starts for w in self.windows] == marks[:-1] and marks[-1] == A_DAY
        if not tiled or any(a >= b for a, b in pairwise(marks)):
            found = ", ".join(f"{w.starts}-{w.ends}" for w in self.windows)
            raise domain_error(
                "bad_day", where=self.day, found=found, expected="windows one after another from 0 to 1440"
            )

    def at(self, minute: int) -> Prices:
        """Return what is sold at a minute of this day."""
        return next(w.prices for w in self.windows if minute < w.ends)


@dataclass(frozen=True, slots=True)
class WeekSettings:
    """What a controller holds, Monday first; then days of their own by date, in order, where it knows dates."""

    days: tuple[Day, ...]

    @property
    def price_count(self) -> int:
        """The prices in all its windows."""
        sold = (window.prices for day in self.days for window in day.windows)
        return sum(len(ladder.rungs) for prices in sold for ladder in (prices.games, prices.minutes) if ladder)

    def __post_init__(self) -> None:
        names = [day.day for day in self.days]
        if tuple(names[:7]) != WEEKDAYS or names[7:] != sorted(set(names[7:])):
            raise domain_error("bad_week", where="days", found=names, expected="mon to sun, then dates in order")

    def day(self, name: str) -> Day | None:
        """Return the settings of a day by its name; None for a date that has none of its own."""
        return next((day for day in self.days if day.day == name), None)


ListedWeek = tuple[tuple[ListedWindow, ...], ...]
"""The seven days of a controller, Monday first, as the schedule's base and weekly list have them."""


@lru_cache(maxsize=1024)
def listed_week(schedule: Schedule, *, turns_at: int) -> ListedWeek:
    """Return what base and weekly list say for each of the controller's days, which turn at ``turns_at``.

    ``turns_at`` in minutes after midnight.
    """
    days: list[list[ListedWindow]] = [[] for _ in range(7)]
    for starts, ends, name, tariff in _week_minutes(schedule):
        at, until = starts - turns_at, ends - turns_at
        while at < until:
            day, minute = divmod(at, A_DAY)
            stop = min(until, (day + 1) * A_DAY)
            days[day % 7].append(ListedWindow(minute, minute + stop - at, tariff, name))
            at = stop
    return tuple(_joined(sorted(day, key=lambda window: window.starts)) for day in days)


def _week_minutes(schedule: Schedule) -> Iterator[tuple[int, int, str, Tariff | None]]:
    """Yield which entry of base and weekly list wins from when to when, in minutes after the first Monday's midnight."""
    opens = _minutes(schedule.day_starts_at)
    for day in range(7):
        spans = [(opens, opens + A_DAY, "Base", schedule.base)]
        spans += [(*_span(entry, schedule), entry.name, entry.tariff) for entry in schedule.weekly if day in entry.days]
        cuts = sorted({cut for starts, ends, _, _ in spans for cut in (starts, ends)})
        for starts, ends in pairwise(cuts):
            _, _, name, tariff = next(span for span in reversed(spans) if span[0] <= starts < span[1])
            yield day * A_DAY + starts, day * A_DAY + ends, name, tariff


def _joined(windows: Iterable[ListedWindow]) -> tuple[ListedWindow, ...]:
    """Return a day's windows with neighbours of one name and tariff made one."""
    groups = [list(group) for _, group in groupby(windows, key=lambda window: (window.name, window.tariff))]
    return tuple(ListedWindow(group[0].starts, group[-1].ends, group[0].tariff, group[0].name) for group in groups)


def dated_windows(schedule: Schedule, *, first_on: date, last_on: date) -> tuple[DatedWindow, ...]:
    """Return the dates and recurring events on the trading days from ``first_on`` to ``last_on``, the later winning."""
    found = []
    for entry in (*schedule.recurring, *schedule.dates):
        starts, ends = (timedelta(minutes=minute) for minute in _span(entry, schedule))
        for ahead in range((last_on - first_on).days + 1):
            on = first_on + timedelta(days=ahead)
            if entry.falls_on(on):
                midnight = datetime.combine(on, time())
                found.append(DatedWindow(entry.name, midnight + starts, midnight + ends, entry.tariff))
    return tuple(found)


def overlaid(windows: Iterable[ListedWindow]) -> tuple[ListedWindow, ...]:
    """Return the windows of a day laid over one another, the later over the earlier; what none covers stays out."""
    minutes: list[_Entry | None] = [None] * A_DAY
    for window in windows:
        minutes[window.starts : window.ends] = [(window.name, window.tariff)] * (window.ends - window.starts)
    return _windows(minutes)


def cut_by_day(dated: DatedWindow, *, turns_at: int) -> list[tuple[date, ListedWindow]]:
    """Cut a dated window where the controller's day turns; each piece with the date of the controller's day."""
    turn, cut = timedelta(minutes=turns_at), []
    starts, ends = dated.starts_local - turn, dated.ends_local - turn
    while starts < ends:
        midnight = datetime.combine(starts.date(), time())
        stops = min(ends, midnight + timedelta(days=1))
        first, last = ((at - midnight) // timedelta(minutes=1) for at in (starts, stops))
        cut.append((starts.date(), ListedWindow(first, last, dated.tariff, dated.name)))
        starts = stops
    return cut


def merged_windows(windows: Iterable[SettingsWindow]) -> tuple[SettingsWindow, ...]:
    """Return a day's windows with neighbours that sell the same made one."""
    groups = [list(group) for _, group in groupby(windows, key=lambda window: window.prices)]
    return tuple(SettingsWindow(group[0].starts, group[-1].ends, group[0].prices) for group in groups)


def _windows(minutes: Iterable[_Entry | None]) -> tuple[ListedWindow, ...]:
    windows, at = [], 0
    for entry, group in groupby(minutes):
        length = len(list(group))
        if entry is not None:
            name, tariff = entry
            windows.append(ListedWindow(at, at + length, tariff, name))
        at += length
    return tuple(windows)


def _span(window: Entry, schedule: Schedule) -> tuple[int, int]:
    """Return an entry's start and end (W3) in minutes after the midnight before its trading day starts."""
    opens = _minutes(schedule.day_starts_at)
    starts = (_minutes(window.start) - opens) % A_DAY if window.start is not None else 0
    ends = (_minutes(window.end) - opens) % A_DAY if window.end is not None else 0
    return opens + starts, opens + (ends or A_DAY)


def _minutes(local: time) -> int:
    return local.hour * 60 + local.minute
