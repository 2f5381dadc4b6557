"""How long a table was out of order: the time covered by faults with which nobody could play.

- A table is out of order from the report of a fault with which it cannot be played until that job is done.
- Faults that overlap count once.
- Days are exact fractions of 24 hours; what still lasts lasts until the end of the time asked about.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

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


def is_out_of_order(spans: Iterable[OutOfOrder], at: datetime) -> bool:
    """Tell whether a table is out of order at an instant; the instant at which a job is done is in order again."""
    return any(span.from_at <= at and (span.to_at is None or at < span.to_at) for span in spans)


def two_decimals(days: Fraction) -> str:
    """Write days with two decimals, halves up."""
    hundredths = int(days * 100 + Fraction(1, 2))
    return f"{hundredths // 100}.{hundredths % 100:02d}"
