"""Calendars (RFC 5545, written by ``icalendar``): the windows of a venue's weeks, and work on the day it is due.

- An event keeps its UID as long as it is the same window of the same trading date, or the same work: a calendar that
  is read again changes the event and adds no second one.
- Windows are in the venue's time zone, whose VTIMEZONE is part of the file. Work is an all-day event.
- Nothing here rings: a subscribed calendar sets its own alarms.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event

EVENTS_WRITTEN_MAX = 2_500
"""The events of a calendar: a second of one processor, and a megabyte and a half with eight amounts each."""
_SPACE = UUID("6f0f0e0a-8c1f-5b43-9d63-6f2b6f6a1c55")
_PRODUCT = "-//Baizebook//Baizebook//EN"
_REFRESH = timedelta(hours=6)
_A_YEAR = timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarEvent:
    """One event: ``key`` says which it is, whatever changes about it; dates make it an all-day event."""

    key: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str = ""
    location: str = ""


def calendar_file(name: str, events: Iterable[CalendarEvent], *, stamp: datetime) -> bytes:
    """Return a calendar; ``stamp`` is the instant at which it was written."""
    events = list(events)
    calendar = Calendar.new(name=name, prodid=_PRODUCT, refresh_interval=_REFRESH, uid=uuid5(_SPACE, name))
    for event in events:
        calendar.add_component(
            Event.new(
                uid=f"{uuid5(_SPACE, event.key)}@baizebook",
                start=event.start,
                end=event.end,
                summary=event.summary,
                description=event.description or None,
                location=event.location or None,
                stamp=stamp,
            )
        )
    if events:
        days = [date(at.year, at.month, at.day) for event in events for at in (event.start, event.end)]
        calendar.add_missing_timezones(min(days) - _A_YEAR, max(days) + _A_YEAR)
    written: bytes = calendar.to_ical()
    return written
