"""When a place changes its clocks: found by asking its time zone, never by a rule of our own.

- K2 A table whose clock nobody changed is off by exactly what the place moved, which need not be an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import lru_cache

_A_DAY = timedelta(days=1)

# Two changes of one place lie less than this apart, where there are any.
_WITHIN = timedelta(days=400)


@dataclass(frozen=True, slots=True)
class ClockChange:
    """The first instant of the new time, and by how many seconds the wall clock went forward (back: negative)."""

    at: datetime
    shift_s: int


def utc_offset_s(zone: tzinfo, at: datetime) -> int:
    """Return how far the wall clock of ``zone`` is ahead of UTC at that instant, in seconds."""
    offset = at.astimezone(zone).utcoffset()
    assert offset is not None  # an aware datetime has one
    return int(offset.total_seconds())


def last_change(zone: tzinfo, *, before: datetime) -> ClockChange | None:
    """Return the change of the clocks that came last at or before an instant; None if none did within 400 days."""
    return _first_found(zone, start=before.astimezone(UTC), step=-_A_DAY)


def next_change(zone: tzinfo, *, after: datetime) -> ClockChange | None:
    """Return the change of the clocks that comes first after an instant; None if none does within 400 days."""
    return _first_found(zone, start=after.astimezone(UTC), step=_A_DAY)


@lru_cache(maxsize=256)  # a sweep asks it at one instant for every table
def _first_found(zone: tzinfo, *, start: datetime, step: timedelta) -> ClockChange | None:
    at, offset_s = start, utc_offset_s(zone, start)
    while abs(at - start) < _WITHIN:
        if utc_offset_s(zone, at + step) != offset_s:
            return _between(zone, *sorted((at, at + step)))
        at += step
    return None


def _between(zone: tzinfo, early: datetime, late: datetime) -> ClockChange:
    """Halve the time between two instants of different offset until the change is found to the second."""
    before_s, after_s = utc_offset_s(zone, early), utc_offset_s(zone, late)
    while late - early > timedelta(seconds=1):
        middle = early + (late - early) / 2
        if utc_offset_s(zone, middle) == before_s:
            early = middle
        else:
            late = middle
    return ClockChange(at=late.replace(microsecond=0), shift_s=after_s - before_s)
