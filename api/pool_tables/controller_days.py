"""Days and times of the day as the sheet counts them: ``mon`` … ``sun``, minutes after midnight, ``HH:MM``."""

from __future__ import annotations

import re
from datetime import date

from ..pricing.errors import domain_error
from ..pricing.week import WEEKDAY_NAMES, WEEKDAYS

A_DAY = 1440
"""Minutes of a day on the wall clock; a clock change does not alter what a controller holds."""
_TIME = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)


def minute_of_day(text: object, *, where: str = "") -> int:
    """Return ``HH:MM`` as minutes after midnight; refuse anything else (``bad_time``)."""
    match = _TIME.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise domain_error("bad_time", where=where, found=repr(text)[:40], expected="a time such as 20:00")
    return int(match[1]) * 60 + int(match[2])


def time_of_day(minute: int) -> str:
    """Return minutes after midnight, taken round the clock, as ``HH:MM``."""
    return "{:02d}:{:02d}".format(*divmod(minute % A_DAY, 60))


def weekday_of(day: object, *, where: str = "day") -> str:
    """Return the weekday, ``mon`` … ``sun``, of a day that is one or a date ``YYYY-MM-DD``; refuse others (``bad_day``)."""
    if day in WEEKDAYS:
        return str(day)
    try:
        return WEEKDAYS[date.fromisoformat(str(day)).weekday()]
    except ValueError:
        expected = "mon to sun, or a date such as 2026-12-24"
        raise domain_error("bad_day", where=where, found=repr(day)[:40], expected=expected) from None


def day_in_words(day: str) -> str:
    """Return ``Monday`` for ``mon``; a date of the form ``YYYY-MM-DD`` with its weekday."""
    return WEEKDAY_NAMES.get(day) or f"{WEEKDAY_NAMES[weekday_of(day)]} {day}"
