"""What a table sells at an instant where its controller cannot hold what its schedule says: the prices of its sheet.

- S2: they are those of the week that the sheet has for the schedule, on dates of their own where the controller knows
  dates. A date or recurring event that it cannot hold is keyed by hand, or sells what the week has then.
- Metered time is in no controller; somebody keeps it, whatever is keyed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache

from ..pool_tables.controller import Controller
from ..pricing import Ladder, Schedule, Timetable
from .fit import hold, in_words, prices_of
from .week_settings import Occasion, Prices, WeekSettings, listed_week, occasions

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Instead:
    """What is sold in place of what the schedule says, and in words its plain prices; no ladder and not free: nothing."""

    games: Ladder | None
    minutes: Ladder | None
    free: bool
    words: str


def sold_instead(timetable: Timetable, at: datetime, controller: Controller, *, currency: str) -> Instead | None:
    """Return what a controller sells at an instant instead of what the timetable says; None where it is the same.

    Refuses (``no_schedule_yet``) an instant before the first schedule.
    """
    wanted = prices_of(timetable.at(at).tariff)
    schedule = [stretch for stretch in timetable.stretches if stretch.from_at <= at][-1].schedule
    assert schedule is not None
    turned = timetable.calendar.local(at).replace(tzinfo=None) - timedelta(minutes=controller.day_turns_at)
    on, around = turned.date(), tuple[Occasion, ...]()
    if controller.clock == "date":
        around = occasions(schedule, first_on=on - _DAY, last_on=on + _DAY)
    week = _held(schedule, controller, currency, around)
    day = week.day(on.isoformat()) or week.days[on.weekday()]
    sold = day.at(turned.hour * 60 + turned.minute)
    if _plain(sold) == _plain(wanted):
        return None
    return Instead(sold.games, sold.minutes, sold.free, in_words(sold, currency))


@lru_cache(maxsize=4096)
def _held(schedule: Schedule, controller: Controller, currency: str, around: tuple[Occasion, ...]) -> WeekSettings:
    """Return the week that a controller holds of a schedule, with days of their own for the occasions around a date."""
    listed = listed_week(schedule, turns_at=controller.day_turns_at)
    return hold(listed, controller, currency=currency, occasions=around).week


def _plain(prices: Prices) -> Prices:
    """Return prices without what says nothing: ways of counting that so few prices do not tell apart."""
    games, minutes = (
        ladder and replace(ladder, counting=ladder.counts_as) for ladder in (prices.games, prices.minutes)
    )
    return Prices(games, minutes, prices.free)
