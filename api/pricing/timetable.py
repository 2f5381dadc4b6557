"""What a place sells over time: stretches of schedules end to end, and the answers to "what holds then".

- W7: an answer says which entry won, its name and kind, of which schedule, venue's or table's, and the contiguous span
  around the instant in which it wins; the span ends where another entry or another schedule takes over.
- W6: before the first schedule there is no answer: ``no_schedule_yet``.
- P9: where nothing is sold, ``opens_at`` says when something next is.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from .effort import STEPS_OF_A_PIECE, Effort
from .errors import PricingError, pricing_error
from .tariff import Tariff
from .trading_day import Calendar, day_start_us, from_us, to_us, trading_ordinal
from .week import EntryKind, Schedule, Window, plan_day

Owner = Literal["venue", "table"]

_DAY = timedelta(days=1)
_LOOK_AHEAD = timedelta(days=400)
_DAYS_AROUND = 7
_FOREVER_US = 1 << 62


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in which one entry of one schedule wins (W7). Instants are UTC; ``to_at`` is exclusive.

    Only ``Timetable.at`` leaves a bound open (None): the entry holds for more than seven further trading days.
    ``trading_on`` is the trading date of the instant asked for, or of the span's start.
    """

    from_at: datetime | None
    to_at: datetime | None
    trading_on: date
    name: str
    kind: EntryKind
    tariff: Tariff | None
    schedule_id: str
    of: Owner


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The schedule that holds from an instant until the next stretch; None: none yet."""

    from_at: datetime
    schedule: Schedule | None = None
    of: Owner = "venue"


class _Piece(NamedTuple):
    """A part of a trading day in which one entry wins."""

    from_us: int
    to_us: int
    ordinal: int
    entry: Window
    schedule: Schedule
    of: Owner

    def span(self) -> Span:
        return _span(self.schedule, self.ordinal, self.entry, self.of, self.from_us, self.to_us)


@dataclass(frozen=True, slots=True)
class Timetable:
    """What a place sells over time, by the venue's calendar: stretches in time order, each until the next.

    Build it with ``listed`` or ``keyed``. Refuses (``other_day_start``) a schedule made for another start of the day.
    """

    calendar: Calendar
    stretches: tuple[Stretch, ...]
    _starts_us: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        starts_us = tuple(to_us(stretch.from_at) for stretch in self.stretches)
        if any(later <= earlier for earlier, later in pairwise(starts_us)):
            raise ValueError("stretches stand in time order, each starting after the one before")
        for stretch in self.stretches:
            found = stretch.schedule.day_starts_at if stretch.schedule else self.calendar.day_starts_at
            if found != self.calendar.day_starts_at:
                expected = f"{self.calendar.day_starts_at:%H:%M}, as at the venue"
                raise pricing_error("other_day_start", where="day_starts_at", found=f"{found:%H:%M}", expected=expected)
        object.__setattr__(self, "_starts_us", starts_us)

    def at(self, instant: datetime) -> Span:
        """Return what holds at an instant, and the contiguous span around it in which it does (W7).

        The span goes on over trading days and clock changes, and ends where another entry or another schedule takes
        over. A bound more than seven trading days away is None. Refuses (``no_schedule_yet``) an instant before the
        first schedule.
        """
        us = to_us(instant)
        index = bisect_right(self._starts_us, us) - 1
        stretch = self.stretches[index] if index >= 0 else None
        if stretch is None or stretch.schedule is None:
            raise _no_schedule_yet(instant)
        zone = self.calendar.zone
        ordinal = trading_ordinal(zone, self.calendar.day_starts_at, us)
        since_us, until_us = self._starts_us[index], self._end_us(index)
        if stretch.schedule.is_base_alone:
            base_span = _published_base_span if stretch.schedule.id else _base_span
            return base_span(stretch.schedule, stretch.of, zone, ordinal, since_us, until_us)
        place = bisect_right(plan_day(stretch.schedule, zone, ordinal).starts_us, us) - 1
        return _span_around(stretch.schedule, stretch.of, zone, ordinal, place, since_us, until_us)

    def stretch_at(self, instant: datetime) -> Stretch | None:
        """Return the stretch in which an instant lies; None before the first."""
        index = bisect_right(self._starts_us, to_us(instant)) - 1
        return self.stretches[index] if index >= 0 else None

    def day(self, on: date) -> tuple[Span, ...]:
        """Return the spans of a trading day, cut at its start and end: none before the first schedule."""
        start_us, end_us = to_us(self.calendar.day_starts(on)), to_us(self.calendar.day_starts(on + _DAY))
        return tuple(piece.span() for piece in self._pieces(start_us, end_us))

    def week(self, on: date) -> dict[date, tuple[Span, ...]]:
        """Return the spans of the seven trading days, Monday first, of the ISO 8601 week of a trading date.

        Refuses (``no_schedule_yet``) a week that lies wholly before the first schedule.
        """
        monday = on - on.weekday() * _DAY
        days = {day: self.day(day) for day in (monday + later * _DAY for later in range(7))}
        if not any(days.values()):
            raise _no_schedule_yet(on, where="on")
        return days

    def between(self, from_at: datetime, to_at: datetime, *, work: Effort | None = None) -> tuple[Span, ...]:
        """Return the spans, end to end, that cover [from_at, to_at), cut only where another entry or schedule holds.

        Refuses (``no_schedule_yet``) a time that is not covered by schedules from beginning to end; and
        ``too_much_work``.
        """
        work = work or Effort()
        merged: list[_Piece] = []
        end_us = to_us(from_at)
        for piece in self._pieces(end_us, to_us(to_at)):
            work.spend(STEPS_OF_A_PIECE, where="to_at", smaller="ask about a shorter time, or fewer questions at once")
            if piece.from_us != end_us:
                break
            end_us = piece.to_us
            if merged and merged[-1].entry is piece.entry:
                merged[-1] = merged[-1]._replace(to_us=end_us)
            else:
                merged.append(piece)
        if end_us < to_us(to_at):
            raise _no_schedule_yet(from_us(end_us))
        return tuple(piece.span() for piece in merged)

    def opens_at(self, at: datetime, *, work: Effort | None = None) -> datetime | None:
        """Return the first instant, ``at`` or later, at which a tariff holds (P9); None if that is over 400 days away.

        Refuses ``too_much_work``.
        """
        work = work or Effort()
        for piece in self._pieces(to_us(at), to_us(at + _LOOK_AHEAD)):
            work.spend(
                STEPS_OF_A_PIECE, where="at", smaller="ask fewer questions at once about a time when it is closed"
            )
            if piece.entry.tariff is not None:
                return from_us(piece.from_us)
        return None

    def next_change(self, at: datetime) -> datetime | None:
        """Return the first instant after ``at`` at which another tariff holds; None if that is over 400 days away."""
        now, start_us, end_us = self.at(at).tariff, to_us(at), to_us(at + _LOOK_AHEAD)
        while start_us < end_us:
            index = bisect_right(self._starts_us, start_us) - 1
            stop_us = min(end_us, self._end_us(index))
            schedule = self.stretches[index].schedule if index >= 0 else None
            if schedule is not None and any(_another(entry.tariff, now) for entry in schedule.entries):
                pieces = self._pieces(start_us, stop_us)
                changed = next((piece for piece in pieces if _another(piece.entry.tariff, now)), None)
                if changed is not None:
                    return from_us(changed.from_us)
            start_us = stop_us
        return None

    def _end_us(self, index: int) -> int:
        return self._starts_us[index + 1] if index + 1 < len(self._starts_us) else _FOREVER_US

    def _pieces(self, start_us: int, end_us: int) -> Iterator[_Piece]:
        """Yield the pieces between two instants in time order, cut at trading days; time without a schedule has none."""
        while start_us < end_us:
            index = bisect_right(self._starts_us, start_us) - 1
            stop_us = min(end_us, self._end_us(index))
            stretch = self.stretches[index] if index >= 0 else None
            if stretch is not None and stretch.schedule is not None:
                ordinal = trading_ordinal(self.calendar.zone, self.calendar.day_starts_at, start_us)
                plan = plan_day(stretch.schedule, self.calendar.zone, ordinal)
                stop_us = min(stop_us, plan.end_us)
                ends_us = (*plan.starts_us[1:], plan.end_us)
                for entry, from_, to in zip(plan.entries, plan.starts_us, ends_us, strict=True):
                    if from_ < stop_us and to > start_us:
                        piece = max(from_, start_us), min(to, stop_us)
                        yield _Piece(*piece, ordinal, entry, stretch.schedule, stretch.of)
            start_us = stop_us


def _another(tariff: Tariff | None, now: Tariff | None) -> bool:
    """Tell whether a tariff is another; nearly always it is the same object, or differs at once."""
    return tariff is not now and tariff != now


def _base_span(schedule: Schedule, of: Owner, zone: ZoneInfo, ordinal: int, since_us: int, until_us: int) -> Span:
    """Return the span around a day on which a schedule, that has no windows, holds."""
    earliest_us = day_start_us(zone, schedule.day_starts_at, ordinal - _DAYS_AROUND)
    latest_us = day_start_us(zone, schedule.day_starts_at, ordinal + _DAYS_AROUND + 1)
    starts_us = since_us if since_us >= earliest_us else None
    ends_us = until_us if until_us <= latest_us else None
    return _span(schedule, ordinal, schedule.entries[0], of, starts_us, ends_us)


_published_base_span = lru_cache(maxsize=1 << 13)(_base_span)
"""The same, remembered: a published schedule is asked again, a draft (of no id) is not."""


@lru_cache(maxsize=1 << 13)
def _span_around(
    schedule: Schedule, of: Owner, zone: ZoneInfo, ordinal: int, place: int, since_us: int, until_us: int
) -> Span:
    """Return the span around the entry at a place in a day's plan, within the time in which the schedule holds."""
    starts_us = _goes_back_to(schedule, zone, ordinal, place, since_us)
    ends_us = _goes_on_until(schedule, zone, ordinal, place, until_us)
    entry = plan_day(schedule, zone, ordinal).entries[place]
    return _span(schedule, ordinal, entry, of, starts_us, ends_us)


def _goes_back_to(schedule: Schedule, zone: ZoneInfo, ordinal: int, place: int, since_us: int) -> int | None:
    """Return the instant since which the entry has won without a break, None if that is over seven days earlier."""
    plan = plan_day(schedule, zone, ordinal)
    entry, start_us = plan.entries[place], plan.starts_us[place]
    earlier = ordinal
    while start_us > since_us and start_us == day_start_us(zone, schedule.day_starts_at, earlier):
        earlier -= 1
        plan = plan_day(schedule, zone, earlier)
        if plan.entries and plan.entries[-1] is not entry:
            break
        if ordinal - earlier > _DAYS_AROUND:
            return None
        start_us = plan.starts_us[-1] if plan.entries else start_us
    return max(start_us, since_us)


def _goes_on_until(schedule: Schedule, zone: ZoneInfo, ordinal: int, place: int, until_us: int) -> int | None:
    """Return the instant until which the entry goes on winning without a break, None if over seven days later."""
    plan = plan_day(schedule, zone, ordinal)
    entry, later = plan.entries[place], ordinal
    end_us = (*plan.starts_us, plan.end_us)[place + 1]
    while end_us < until_us and end_us == plan.end_us:
        later += 1
        plan = plan_day(schedule, zone, later)
        if plan.entries and plan.entries[0] is not entry:
            break
        if later - ordinal > _DAYS_AROUND:
            return None
        end_us = (*plan.starts_us, plan.end_us)[1] if plan.entries else end_us
    return min(end_us, until_us)


def _span(
    schedule: Schedule, ordinal: int, entry: Window, of: Owner, starts_us: int | None, ends_us: int | None
) -> Span:
    return Span(
        from_at=None if starts_us is None else from_us(starts_us),
        to_at=None if ends_us is None else from_us(ends_us),
        trading_on=date.fromordinal(ordinal),
        name=entry.name,
        kind=entry.kind,
        tariff=entry.tariff,
        schedule_id=schedule.id,
        of=of,
    )


def _no_schedule_yet(found: date, *, where: str = "at") -> PricingError:
    return pricing_error(
        "no_schedule_yet", where=where, found=found.isoformat(), expected="a time that a schedule covers"
    )
