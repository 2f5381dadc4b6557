"""Days to key by hand: dates and events that a controller with a weekday clock cannot know (S6).

- Such a day is keyed the day before, for its date, and keyed back the day after.
- A day on which the controller would sell the same anyway needs nothing. Nor does a free day where there is no setting
  for free play: somebody starts play by hand.
- The day is done when it was keyed for its date; keying back is done by any later keying.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal
from uuid import UUID

from ..pool_tables.controller import Controller
from ..pricing.week import Schedule
from .fit import held_week
from .sells import Keyed, Machine, StayAt, keyed_week
from .week_settings import dated_windows, listed_week

_ONE_DAY = timedelta(days=1)
_EPOCH = datetime.fromisoformat("2000-01-01T00:00:00+00:00")
_NOBODY = UUID(int=0)


@dataclass(frozen=True, slots=True)
class DayKeying:
    """A trading date to key by hand: when to key it, when to key it back, and the names of what is on then."""

    on: date
    key_on: date
    back_on: date
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayWork:
    """What is to be done at a table about a day: key it by ``due_on``, or key it back then; of which schedule."""

    kind: Literal["key_for_the_day", "key_back"]
    on: date
    due_on: date
    names: tuple[str, ...]
    schedule_id: str


def day_keyings(
    schedule: Schedule, controller: Controller, *, currency: str, first_on: date, last_on: date
) -> tuple[DayKeying, ...]:
    """Return the trading dates from ``first_on`` to ``last_on`` on which the controller must be keyed by hand."""
    if controller.clock == "date":
        return ()
    week = None
    found = []
    for ahead in range((last_on - first_on).days + 1):
        on = first_on + ahead * _ONE_DAY
        special = [
            dated
            for dated in dated_windows(schedule, first_on=on, last_on=on)
            if controller.free or dated.tariff is None or not dated.tariff.free
        ]
        if not special:
            continue
        week = week or held_week(listed_week(schedule, turns_at=controller.day_turns_at), controller)
        if keyed_week(_keyed_for(schedule, on), controller, currency) != week:
            names = tuple(dict.fromkeys(dated.name for dated in special))
            found.append(DayKeying(on, on - _ONE_DAY, on + _ONE_DAY, names))
    return tuple(found)


def day_work(machine: Machine, stay: StayAt, *, now: datetime, days_ahead: int = 28) -> tuple[DayWork, ...]:
    """Return the days to key at a table within so many days, and the one to key back, earliest due first.

    ``stay`` is where the table stands; none in the workshop.
    """
    if stay.listed is None:
        return ()
    calendar = stay.listed.calendar
    today, last = calendar.trading_day(now), machine.keyed(now)
    work = []
    if last is not None and last.for_on is not None and last.for_on <= today:
        work.append(DayWork("key_back", last.for_on, last.for_on + _ONE_DAY, (), last.schedule.id))
    for ahead in range(days_ahead + 1):
        on = today + ahead * _ONE_DAY
        until = calendar.day_starts(on + _ONE_DAY) - timedelta(microseconds=1)
        begun = [stretch.schedule for stretch in stay.listed.stretches if stretch.from_at <= until]
        schedule = begun[-1] if begun else None
        if schedule is None or (last is not None and last.for_on == on and last.schedule.id == schedule.id):
            continue
        for day in day_keyings(schedule, machine.controller, currency=machine.currency, first_on=on, last_on=on):
            work.append(DayWork("key_for_the_day", day.on, day.key_on, day.names, schedule.id))
    return tuple(sorted(work, key=lambda item: (item.due_on, item.kind)))


def _keyed_for(schedule: Schedule, on: date) -> Keyed:
    """Return a keying of a schedule for one date; whose it is and when it was keyed say nothing of what is held."""
    return Keyed(at=_EPOCH, schedule=schedule, venue_id=_NOBODY, effective_on=on, for_on=on)
