"""Prices of one day to key, on a controller whose clock knows no dates, and to key back afterwards (S6).

- A date or a recurring event that changes prices on a trading day, and that the controller cannot hold, is to be keyed
  the day before. A keying for that day closes the work while it is the newest; the end of that day ends it.
- After a keying for one day the settings are to be keyed back when that day has ended; the next keying closes the work.
- Which days these are, ``controllers.day_keyings`` says; publishing prices asks it too.
- Days are foreseen for four weeks; each comes up a week before it is due.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from ..controllers.day_keyings import day_keyings
from ..pool_tables.controller import Controller
from ..pricing import Schedule, Timetable
from ..venues.dates_in_words import date_in_words
from .work import Danger, Work

AHEAD_DAYS = 28
_LEAD_DAYS = 7
_A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayKeyingFacts:
    """What is listed for a table, its controller, and the day that it was keyed for last (None: for good, or never)."""

    listed: Timetable
    controller: Controller
    currency: str
    newest_for: date | None
    dangers: tuple[Danger, ...]


def day_keying_work(facts: DayKeyingFacts, *, now: datetime) -> tuple[Work, ...]:
    """Return the days to key, and the settings to key back."""
    return (*_to_key(facts, now=now), *_to_key_back(facts))


def _to_key(facts: DayKeyingFacts, *, now: datetime) -> Iterator[Work]:
    calendar = facts.listed.calendar
    today = calendar.trading_day(now)
    for on in (today + ahead * _A_DAY for ahead in range(AHEAD_DAYS + 1)):
        schedule = _in_force(facts.listed, calendar.day_starts(on))
        if schedule is None or on == facts.newest_for:
            continue
        days = day_keyings(schedule, facts.controller, currency=facts.currency, first_on=on, last_on=on)
        for day in days:
            yield Work(
                kind="key_settings",
                code="key_for_the_day",
                subject=f"day:{schedule.id}:{on}",
                due_at=calendar.day_starts(day.key_on),
                lead_days=_LEAD_DAYS,
                ends_at=calendar.day_starts(day.back_on),
                reason=f"{' and '.join(day.names)} on {date_in_words(on)}: the controller knows no dates. Key it for that "
                "day and key it back afterwards.",
                bring=("the settings sheet",),
                needs_key=True,
                dangers=facts.dangers,
                refers_to=UUID(schedule.id),
            )


def _to_key_back(facts: DayKeyingFacts) -> Iterator[Work]:
    on = facts.newest_for
    if on is None:
        return
    yield Work(
        kind="key_settings",
        code="key_back",
        subject=f"back:{on}",
        due_at=facts.listed.calendar.day_starts(on + _A_DAY),
        lead_days=_LEAD_DAYS,
        reason=f"Keyed for {date_in_words(on)} alone: key the usual prices back when that day has ended.",
        bring=("the settings sheet",),
        needs_key=True,
        dangers=facts.dangers,
    )


def _in_force(listed: Timetable, at: datetime) -> Schedule | None:
    begun = [stretch for stretch in listed.stretches if stretch.from_at <= at]
    return begun[-1].schedule if begun else None
