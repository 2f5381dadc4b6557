"""Prices of one day to key, on a controller whose clock knows no dates, and to key back afterwards (S6).

- A date or a recurring event that changes prices on a trading day, and that the controller cannot hold, is to be keyed
  the day before; a keying for that day closes the work, and the end of that day ends it.
- After a keying for one day the settings are to be keyed back when that day has ended; the next keying closes the work.
- Days are foreseen for four weeks; each comes up a week before it is due.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from ..controllers.fit import fit
from ..controllers.week_settings import Occasion, listed_week, occasions
from ..pool_tables.controller import Controller
from ..pricing import Schedule, Timetable
from ..venues.dates_in_words import date_in_words
from .work import Danger, Work

AHEAD_DAYS = 28
_LEAD_DAYS = 7
_A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayKeyingFacts:
    """What is listed for a table, its controller, the days keyed for, and the day of the newest keying (None: no day)."""

    listed: Timetable
    controller: Controller
    currency: str
    keyed_for: frozenset[date]
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
        if schedule is None or on in facts.keyed_for:
            continue
        wanted = _not_held(facts, schedule, on)
        if wanted:
            yield Work(
                kind="key_settings",
                code="key_for_the_day",
                subject=f"day:{schedule.id}:{on}",
                due_at=calendar.day_starts(on - _A_DAY),
                lead_days=_LEAD_DAYS,
                ends_at=calendar.day_starts(on + _A_DAY),
                reason=f"On {date_in_words(on)}: {'; '.join(wanted)}. The controller knows no dates: key it for that day "
                "and key it back afterwards.",
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


def _not_held(facts: DayKeyingFacts, schedule: Schedule, on: date) -> list[str]:
    """Return the prices of a trading day that the controller's week does not have, in words."""
    coming: Sequence[Occasion] = occasions(schedule, first_on=on, last_on=on)
    if not coming:
        return []
    week = listed_week(schedule, turns_at=facts.controller.day_turns_at)
    found = fit(week, facts.controller, currency=facts.currency, occasions=coming).cannot_hold
    return list(dict.fromkeys(row.limitation.found for row in found if row.limitation.code == "date_not_held"))
