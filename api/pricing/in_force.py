"""Which schedule is in force, since when: what was published for a venue and a table, and what a machine holds.

- W6: a schedule holds from the start of the trading day ``effective_on``, or from its publication if that is later, until
  the next one does: the past is never repriced. Only a venue's first published schedule may be dated back. Of two that
  start together the later published holds: listings come in the order of publication. A table's own schedules beat the venue's until ``follow_venue`` (a listing
  without a schedule) or a move: those published before the present stay do not count.
- W8: what is *listed* is what the schedules say; what is *sold* is what is known of the machine, from when it is known,
  whatever date it is meant for; where nothing is known, what is listed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from .timetable import Owner, Stretch, Timetable
from .trading_day import Calendar
from .week import Schedule


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A schedule as published for a venue or a table; without a schedule the table follows its venue again."""

    schedule: Schedule | None
    effective_on: date
    published_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a machine holds since an instant, as a schedule; None: nothing is known of it since."""

    schedule: Schedule | None
    since: datetime
    of: Owner = "venue"


def listed(
    calendar: Calendar,
    venue_listings: Iterable[Listing],
    table_listings: Iterable[Listing] = (),
    *,
    stay_from: datetime | None = None,
) -> Timetable:
    """Return what is listed at a venue, or for a table that has stood there since ``stay_from`` (W6).

    Both sequences of listings are in the order of publication, which no instant decides: clocks go back.
    """
    of_venue = tuple(venue_listings)
    venue = [_stretch(calendar.day_starts(listing.effective_on), listing, "venue") for listing in of_venue[:1]]
    venue += [_stretch(_holds_from(calendar, listing), listing, "venue") for listing in of_venue[1:]]
    own = [
        _stretch(_holds_from(calendar, listing), listing, "table")
        for listing in table_listings
        if stay_from is None or listing.published_at >= stay_from
    ]
    return Timetable(calendar, _tidy(_overlay(below=_tidy(venue), above=_tidy(own))))


def sold(listed: Timetable, known: Iterable[Known]) -> Timetable:
    """Return what a table sells: what is known of its machine, and what is listed where nothing is known (W8).

    The schedules known start their days as ``listed`` does. Of two since one instant the later in the list counts.
    """
    above = [Stretch(from_at=one.since, schedule=one.schedule, of=one.of) for one in known]
    return Timetable(listed.calendar, _tidy(_overlay(below=listed.stretches, above=_tidy(above))))


def _holds_from(calendar: Calendar, listing: Listing) -> datetime:
    return max(calendar.day_starts(listing.effective_on), listing.published_at)


def _stretch(from_at: datetime, listing: Listing, of: Owner) -> Stretch:
    return Stretch(from_at=from_at, schedule=listing.schedule, of=of)


def _overlay(*, below: Iterable[Stretch], above: Iterable[Stretch]) -> list[Stretch]:
    """Lay stretches over others: where those above have a schedule it holds, elsewhere the one below."""
    changes = [(stretch, False) for stretch in below] + [(stretch, True) for stretch in above]
    lower: Stretch | None = None
    upper: Stretch | None = None
    laid: list[Stretch] = []
    for stretch, is_above in sorted(changes, key=lambda change: change[0].from_at):
        lower, upper = (lower, stretch) if is_above else (stretch, upper)
        held = upper if upper is not None and upper.schedule is not None else lower
        laid.append(Stretch(from_at=stretch.from_at) if held is None else replace(held, from_at=stretch.from_at))
    return laid


def _tidy(stretches: Iterable[Stretch]) -> tuple[Stretch, ...]:
    """Put stretches in time order; of those that start together keep the last, of equal neighbours the first."""
    tidy: list[Stretch] = []
    for stretch in sorted(stretches, key=lambda stretch: stretch.from_at):
        if tidy and tidy[-1].from_at == stretch.from_at:
            tidy.pop()
        if not tidy or (tidy[-1].schedule, tidy[-1].of) != (stretch.schedule, stretch.of):
            tidy.append(stretch)
    return tuple(tidy)
