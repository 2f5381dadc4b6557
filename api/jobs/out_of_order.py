"""How long a table was out of order: the time covered by faults with which nobody could play.

- A table is out of order from the report of a fault with which it cannot be played until that job is done.
- Faults that overlap count once.
- Days are exact fractions of 24 hours; what still lasts lasts until the end of the time asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction

from ..pricing.trading_day import Calendar

_DAY = timedelta(days=1)
_MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class OutOfOrder:
    """A time in which a table could not be played; ``to_at`` None where it still cannot."""

    from_at: datetime
    to_at: datetime | None = None


def within(spans: Iterable[OutOfOrder], *, from_at: datetime, to_at: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """Return the parts of a time in which a table was out of order: in time order, apart from each other."""
    parts: list[tuple[datetime, datetime]] = []
    for span in sorted(spans, key=lambda span: span.from_at):
        start, end = max(span.from_at, from_at), min(span.to_at or to_at, to_at)
        if start >= end:
            continue
        if parts and start <= parts[-1][1]:
            parts[-1] = parts[-1][0], max(parts[-1][1], end)
        else:
            parts.append((start, end))
    return tuple(parts)


def days_out_of_order(spans: Iterable[OutOfOrder], *, from_at: datetime, to_at: datetime) -> Fraction:
    """Return the days of a time in which a table was out of order."""
    covered = sum((end - start for start, end in within(spans, from_at=from_at, to_at=to_at)), timedelta())
    return Fraction(covered // _MICROSECOND, _DAY // _MICROSECOND)


def days_in_order(spans: Iterable[OutOfOrder], *, from_at: datetime, to_at: datetime) -> Fraction:
    """Return the days of a time in which a table could be played."""
    whole = Fraction((to_at - from_at) // _MICROSECOND, _DAY // _MICROSECOND)
    return whole - days_out_of_order(spans, from_at=from_at, to_at=to_at)


def share_of_days(
    spans: Sequence[OutOfOrder], *, calendar: Calendar, from_at: datetime, to_at: datetime
) -> dict[date, Fraction]:
    """Return the trading days on which a table was out of order within a time, each with the share of the day."""
    shares: dict[date, Fraction] = {}
    for start, end in within(spans, from_at=from_at, to_at=to_at):
        day = calendar.trading_day(start)
        while (day_starts := calendar.day_starts(day)) < end:
            next_starts = calendar.day_starts(day + _DAY)
            part = min(end, next_starts) - max(start, day_starts)
            share = Fraction(part // _MICROSECOND, (next_starts - day_starts) // _MICROSECOND)
            shares[day] = shares.get(day, Fraction()) + share
            day += _DAY
    return shares


def after_days_in_order(at: datetime, days: Fraction, spans: Iterable[OutOfOrder]) -> datetime | None:
    """Return when a table has been in order for so many days since an instant; None where it never will, as it is now."""
    left = timedelta(seconds=int(days * 86_400))
    for start, end in _apart(spans):
        if end is not None and end <= at:
            continue
        if start > at:
            if at + left <= start:
                break
            left -= start - at
        if end is None:
            return at if left <= timedelta() else None
        at = end
    return at + left


def _apart(spans: Iterable[OutOfOrder]) -> list[tuple[datetime, datetime | None]]:
    """Return times out of order in time order, those that touch put together."""
    apart: list[tuple[datetime, datetime | None]] = []
    for span in sorted(spans, key=lambda span: span.from_at):
        if apart and ((last := apart[-1][1]) is None or span.from_at <= last):
            if last is not None:
                apart[-1] = apart[-1][0], None if span.to_at is None else max(last, span.to_at)
        else:
            apart.append((span.from_at, span.to_at))
    return apart


def two_decimals(days: Fraction) -> str:
    """Write days with two decimals, halves up."""
    hundredths = int(days * 100 + Fraction(1, 2))
    return f"{hundredths // 100}.{hundredths % 100:02d}"
