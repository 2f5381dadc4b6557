"""The week: which entry of a schedule, and so which tariff, holds at which wall-clock time of a trading day.

- W1: what holds at an instant is what holds for the venue's wall clock at that instant. In the hour that occurs twice
  both occurrences get the same answer, so one window can hold in two separate spans; the skipped hour never comes up.
  Where the trading day starts inside the hour that occurs twice, what comes after its start and shows an earlier time
  counts as its start, for a day starts only once.
- W2: every day, date and recurrence in a schedule is a trading day.
- W3: a window runs from ``start`` (inclusive) to ``end`` (exclusive) inside one trading day; without ``start`` from the
  day's start, without ``end`` or with the day's start as ``end`` to the day's end. Any other equal pair is refused
  (``empty_window``), and so is one that runs past the day's end (``window_past_day_end``), with the two to write.
- W4: dates beat recurring events, these the weekly list, that the base; within one of these the later entry wins.
- W5: a date without times covers its whole trading day; with times only its span.
"""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import ClassVar, Literal
from zoneinfo import ZoneInfo

from .errors import Fault, PricingError
from .tariff import Tariff
from .trading_day import DAY_US, day_start_us, first_label_us, is_wall_time, offsets_us, time_of_day_us

EntryKind = Literal["base", "weekly", "recurring", "date"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEKDAY_NAMES: dict[str, str] = dict(
    zip(WEEKDAYS, ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"), strict=True)
)
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """An entry of a schedule: a name, a span of the trading day (W3) and the tariff that holds then (None: closed)."""

    kind: ClassVar[EntryKind]
    name: str
    start: time | None = None
    end: time | None = None
    tariff: Tariff | None

    def falls_on(self, on: date) -> bool:
        """Tell whether it has the trading day ``on``."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True, kw_only=True)
class Base(Window):
    """What holds on every day where nothing else does."""

    kind = "base"
    name: str = "Base"

    def falls_on(self, on: date) -> bool:  # noqa: ARG002
        return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Weekly(Window):
    """A window on some days of every week (0 = Monday)."""

    kind = "weekly"
    days: frozenset[int]

    def falls_on(self, on: date) -> bool:
        return on.weekday() in self.days


@dataclass(frozen=True, slots=True, kw_only=True)
class Recurring(Window):
    """A window on the dates of a recurrence, which is expanded outside the engine: any container of dates will do."""

    kind = "recurring"
    occurs_on: Container[date]

    def falls_on(self, on: date) -> bool:
        return on in self.occurs_on


@dataclass(frozen=True, slots=True, kw_only=True)
class OnDate(Window):
    """A window on one trading date; without times it replaces the whole day (W5)."""

    kind = "date"
    on: date

    def falls_on(self, on: date) -> bool:
        return on == self.on


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Schedule:
    """Which tariff holds when, in a week and on particular dates. Two schedules are equal only if they are the same one.

    Refuses (``empty_window``, ``window_past_day_end``, ``bad_days``, ``bad_time``) all faulty windows at once, each by
    its place: ``weekly[1].to``.
    """

    id: str
    base: Tariff | None
    weekly: tuple[Weekly, ...] = ()
    recurring: tuple[Recurring, ...] = ()
    dates: tuple[OnDate, ...] = ()
    day_starts_at: time = time(6)
    entries: tuple[Window, ...] = field(init=False, repr=False)
    """The base and all windows, the one that wins over the others last (W4)."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "entries", (Base(tariff=self.base), *self.weekly, *self.recurring, *self.dates))
        lists = (("weekly", self.weekly), ("recurring", self.recurring), ("dates", self.dates))
        faults = [
            fault.within(f"{name}[{index}]")
            for name, windows in lists
            for index, window in enumerate(windows)
            for fault in _faults(window, self.day_starts_at)
        ]
        if faults:
            raise PricingError(*faults)

    @property
    def is_base_alone(self) -> bool:
        """Tell whether no window takes over from the base, on any day."""
        return len(self.entries) == 1


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A trading day of a schedule, resolved: entry i holds from ``starts_us[i]`` until the next, the last to ``end_us``.

    Neighbours are different entries. A day that the zone skipped has none.
    """

    starts_us: tuple[int, ...]
    entries: tuple[Window, ...]
    end_us: int


def plan_day(schedule: Schedule, zone: ZoneInfo, ordinal: int) -> DayPlan:
    """Resolve the trading day with this ordinal into the entries that win in it, cut at the clock changes in it (W1)."""
    if not schedule.is_base_alone:
        return _plan_day(schedule, zone, ordinal)
    start_us = day_start_us(zone, schedule.day_starts_at, ordinal)
    end_us = day_start_us(zone, schedule.day_starts_at, ordinal + 1)
    return DayPlan((start_us,), schedule.entries, end_us) if start_us < end_us else DayPlan((), (), end_us)


@lru_cache(maxsize=1 << 13)
def _plan_day(schedule: Schedule, zone: ZoneInfo, ordinal: int) -> DayPlan:
    start_us = day_start_us(zone, schedule.day_starts_at, ordinal)
    end_us = day_start_us(zone, schedule.day_starts_at, ordinal + 1)
    winners = _winners(schedule, date.fromordinal(ordinal))
    first_label = first_label_us(schedule.day_starts_at, ordinal)
    offsets = offsets_us(zone, start_us=start_us, end_us=end_us)
    untils = [from_us for from_us, _ in offsets[1:]] + [end_us]
    starts: list[int] = []
    entries: list[Window] = []
    for (from_us, offset), until_us in zip(offsets, untils, strict=True):
        for span_us, stop_us, entry in _on_the_clock(winners, first_label - offset, from_us, until_us):
            if span_us < stop_us and not (entries and entries[-1] is entry):
                starts.append(span_us)
                entries.append(entry)
    return DayPlan(tuple(starts), tuple(entries), end_us)


def _on_the_clock(
    winners: list[tuple[int, Window]], label_zero_us: int, from_us: int, until_us: int
) -> Iterator[tuple[int, int, Window]]:
    """Yield from when until when each winner holds between two clock changes; where it does not, ends before it starts.

    ``label_zero_us`` is the instant at which the clock, with the offset it has here, would show the day's first label.
    """
    cuts = [from_us, *(label_zero_us + label for label, _ in winners[1:]), until_us]
    for (_, entry), (start_us, end_us) in zip(winners, pairwise(cuts), strict=True):
        yield max(start_us, from_us), min(end_us, until_us), entry


def _winners(schedule: Schedule, on: date) -> list[tuple[int, Window]]:
    """Return who wins on a trading day, each with the time on the clock, from the day's start, from which it does (W4)."""
    present = [(*_span(entry, schedule.day_starts_at), entry) for entry in schedule.entries if entry.falls_on(on)]
    cuts = sorted({cut for start, end, _ in present for cut in (start, end)} - {DAY_US})
    return [(cut, [entry for start, end, entry in present if start <= cut < end][-1]) for cut in cuts]


def _span(window: Window, day_starts_at: time) -> tuple[int, int]:
    """Return a window's start and end (W3), counted on the clock from the day's start."""
    day_start = time_of_day_us(day_starts_at)
    start = 0 if window.start is None else (time_of_day_us(window.start) - day_start) % DAY_US
    end = 0 if window.end is None else (time_of_day_us(window.end) - day_start) % DAY_US
    return start, end or DAY_US


def _faults(window: Window, day_starts_at: time) -> Iterator[Fault]:
    """Yield what is wrong with a window (W3)."""
    if isinstance(window, Weekly) and not (window.days and window.days <= frozenset(range(7))):
        yield Fault("bad_days", "days", str(sorted(window.days)), "at least one day, 0 (Monday) to 6")
    odd_times = [
        Fault("bad_time", where, str(wall), "whole minutes, without an offset")
        for where, wall in (("from", window.start), ("to", window.end))
        if wall is not None and not is_wall_time(wall)
    ]
    yield from odd_times
    if odd_times or window.start is None or window.end is None:
        return
    found = f"{window.start:%H:%M}–{window.end:%H:%M}"
    start, end = _span(window, day_starts_at)
    if window.start == window.end != day_starts_at:
        yield Fault("empty_window", "to", found, "an end after its start; without times it is the whole day")
    elif start > end:
        first = f"{window.start:%H:%M}–{day_starts_at:%H:%M} on {_days(window)}"
        second = f"{day_starts_at:%H:%M}–{window.end:%H:%M} on {_days(window, later=1)}"
        yield Fault("window_past_day_end", "to", found, f"two windows, for the day ends in between: {first}; {second}")


def _days(window: Window, *, later: int = 0) -> str:
    """Name a window's trading days, or those so many days later."""
    match window:
        case Weekly(days=days):
            return ", ".join(_DAYS[(day + later) % 7] for day in sorted(days))
        case OnDate(on=on):
            return (on + timedelta(days=later)).isoformat()
        case _:
            return "the days after" if later else "its days"
