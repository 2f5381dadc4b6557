"""Days to key by hand: dates and events that a controller with a weekday clock cannot know (S6).

- Such a day is keyed the day before, for its date, and keyed back the day after.
- A day on which the controller would sell the same anyway needs nothing. Nor does a free day where there is no setting
  for free play: somebody starts play by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from ..pool_tables.controller import Controller
from ..pricing.week import Schedule
from .sells import Keyed, keyed_week, usual_week
from .week_settings import dated_windows

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


def day_keyings(
    schedule: Schedule, controller: Controller, *, currency: str, first_on: date, last_on: date
) -> tuple[DayKeying, ...]:
    """Return the trading dates from ``first_on`` to ``last_on`` on which the controller must be keyed by hand."""
    if controller.clock == "date":
        return ()
    found = []
    for ahead in range((last_on - first_on).days + 1):
        on = first_on + ahead * _ONE_DAY
        special = [
            dated
            for dated in dated_windows(schedule, first_on=on, last_on=on)
            if controller.free or dated.tariff is None or not dated.tariff.free
        ]
        if special and keyed_week(_keyed_for(schedule, on), controller, currency) != usual_week(schedule, controller):
            names = tuple(dict.fromkeys(dated.name for dated in special))
            found.append(DayKeying(on, on - _ONE_DAY, on + _ONE_DAY, names))
    return tuple(found)


def _keyed_for(schedule: Schedule, on: date) -> Keyed:
    """Return a keying of a schedule for one date; whose it is and when it was keyed say nothing of what is held."""
    return Keyed(at=_EPOCH, schedule=schedule, venue_id=_NOBODY, effective_on=on, for_on=on)
