"""Dates and times as sentences write them: ``22 Oct 2026``, ``23 Nov 2026, 06:00``; always by the venue's clock."""

from __future__ import annotations

from datetime import date, datetime, tzinfo

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def date_in_words(on: date) -> str:
    """Return a date such as ``22 Oct 2026``, whatever the language of the machine."""
    return f"{on.day} {_MONTHS[on.month - 1]} {on.year}"


def day_at(at: datetime, zone: tzinfo) -> str:
    """Return the date of an instant in a zone, such as ``22 Oct 2026``."""
    return date_in_words(at.astimezone(zone).date())


def moment_at(at: datetime, zone: tzinfo) -> str:
    """Return the date and time of an instant in a zone, such as ``23 Nov 2026, 06:00``."""
    return f"{day_at(at, zone)}, {at.astimezone(zone):%H:%M}"


def duration_in_words(seconds: int) -> str:
    """Return a duration in its two largest units, such as ``6 h`` or ``1 d 3 h``; under a minute as such."""
    days, rest = divmod(abs(seconds), 86_400)
    hours, minutes = rest // 3_600, rest % 3_600 // 60
    units = [f"{n} {unit}" for n, unit in ((days, "d"), (hours, "h"), (minutes, "min")) if n]
    return " ".join(units[:2]) or "under a minute"
