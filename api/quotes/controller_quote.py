"""A question answered by what a table really sells, where its controller cannot hold what was keyed.

- W8, S2: a quote of a table answers by the schedule that was keyed. Where the controller has other prices then, the
  caution ``controller_cannot_hold`` says so, and the same question is answered by those too.

What the controller sells is told from outside: it is on the settings sheet, of which quotes know nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from ..pricing import Calendar, Ladder, Schedule, Stretch, Tariff, Timetable
from ..pricing.quote import Offer

_BEFORE_ALL = datetime.fromisoformat("1900-01-01T00:00:00+00:00")


class SheetPrices(Protocol):
    """What the sheet says is sold: ladders, or free play, or nothing; ``words`` are the plain prices."""

    @property
    def games(self) -> Ladder | None:
        """What money buys in games."""

    @property
    def minutes(self) -> Ladder | None:
        """What money buys in minutes."""

    @property
    def free(self) -> bool:
        """Whether play is free."""

    @property
    def words(self) -> str:
        """The plain prices in words."""


Sheet = Callable[[Timetable, datetime], SheetPrices | None]
"""Tells what a table sells at an instant instead of what its timetable says; None where it is the same."""


@dataclass(frozen=True, slots=True)
class Instead:
    """What the controller sells in words, and what it offers for what was asked."""

    words: str
    offers: tuple[Offer, ...]


def always(tariff: Tariff | None, calendar: Calendar) -> Timetable:
    """Return the timetable of a place that has always sold nothing but one tariff."""
    schedule = Schedule(id="", base=tariff, day_starts_at=calendar.day_starts_at)
    return Timetable(calendar, (Stretch(from_at=_BEFORE_ALL, schedule=schedule),))


def timetable_of(prices: SheetPrices, calendar: Calendar, currency: str) -> Timetable:
    """Return a sheet's prices as the timetable of a place that sells nothing else."""
    sells = prices.free or prices.games is not None or prices.minutes is not None
    tariff = Tariff(currency, games=prices.games, minutes=prices.minutes, free=prices.free) if sells else None
    return always(tariff, calendar)
