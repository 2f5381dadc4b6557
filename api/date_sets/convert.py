"""Between events of a calendar and their message."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from ..schedules.schemas import OnDateOut, RecurringOut
from .calendar_entries import ReadEvent
from .schemas import CalendarEventOut


def event_out(read: ReadEvent, became: Mapping[str, str], *, calendar: str, tariff: UUID) -> CalendarEventOut:
    """Write what became of an event; ``became`` says it by UID."""
    event, outcome = read.event, read.outcome
    word = became.get(event.uid, "stated") if outcome == "taken" else outcome
    origin: dict[str, Any] = {"tariff": tariff, "calendar": calendar, "uid": event.uid}
    blank = {"from": None, "to": None}
    return CalendarEventOut.model_validate(
        {
            "line": event.line,
            "uid": event.uid,
            "name": event.name,
            "outcome": word,
            "why": read.why,
            "recurring": [RecurringOut(**{**blank, "except_on": [], **entry, **origin}) for entry in read.recurring],
            "dates": [OnDateOut(**{**blank, **entry, **origin}) for entry in read.dates],
        }
    )


def gone_out(uid: str, name: str) -> CalendarEventOut:
    """Write an event that a calendar brought before and does not have any more."""
    return CalendarEventOut(line=None, uid=uid, name=name, outcome="gone", why="", recurring=[], dates=[])
