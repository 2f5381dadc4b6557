"""Reads schedules: what is listed at a venue or a table (W6)."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from uuid import UUID

from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import get_table, stay_at, stays_of
from ..pricing import Schedule, Tariff, Timetable
from ..pricing.in_force import Listing, listed
from ..store.db import is_snapshot
from ..store.kept_by_id import KeptById
from ..store.long_lists import OfMany, among
from ..tariffs.rows import TariffRow
from ..tariffs.service import compile_tariff
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue
from ..web.errors import Problem, not_found
from ..web.pagination import Page, page
from .convert import named_tariffs, read_schedule
from .rows import ScheduleRow
from .schemas import ScheduleIn

_compiled: KeptById[Schedule] = KeptById()


@dataclass(frozen=True, slots=True)
class PriceContext:
    """Where a question is asked: a venue, or a table during a stay at one."""

    venue: VenueRow
    table: PoolTableRow | None = None
    stay: StayRow | None = None


def page_schedules(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[ScheduleRow]:
    """Return the schedules of a venue and of its tables in the order of their publication."""
    get_venue(session, venue_id)
    query = select(ScheduleRow).where(ScheduleRow.venue_id == venue_id)
    return page(session, query, key=col(ScheduleRow.id), order=col(ScheduleRow.sequence), limit=limit, after=after)


def place_of_venue(session: Session, venue_id: UUID) -> PriceContext:
    """Return a venue as the place of a question."""
    return PriceContext(get_venue(session, venue_id))


def place_of_table(session: Session, table_id: UUID, *, at: datetime) -> PriceContext:
    """Return a table, and its venue at an instant; refuse (``not_at_a_venue``) the workshop."""
    return place_of_stay(session, stay_at(stays_of(session, table_id), at))


def place_at_venue(session: Session, venue: VenueRow, table_id: UUID, *, at: datetime) -> PriceContext:
    """Return a table at a venue; ``not_found`` where it was elsewhere just before an instant."""
    stay = stay_at(stays_of(session, table_id), at - timedelta(microseconds=1))
    if stay.venue_id != venue.id:
        raise not_found("table")
    return place_of_stay(session, stay)


def place_of_stay(session: Session, stay: StayRow) -> PriceContext:
    """Return a table during a stay; refuse (``not_at_a_venue``) one in the workshop."""
    if stay.venue_id is None:
        raise Problem("not_at_a_venue")
    return PriceContext(get_venue(session, stay.venue_id), get_table(session, stay.pool_table_id), stay)


def listed_at(session: Session, place: PriceContext) -> Timetable:
    """Return what is listed at a place (W6)."""
    return _listed(session, place, schedules_of(session, [place.venue.id]))


def listed_during(
    session: Session, stays: Collection[StayRow], *, venues: Mapping[UUID, VenueRow], schedules: Sequence[ScheduleRow]
) -> dict[UUID, Timetable]:
    """Return what is listed for a table during each of its stays at a venue, by stay (W6).

    ``schedules`` are those of these venues, as ``schedules_of`` returns them.
    """
    have_own = {row.stay_id for row in schedules}
    of_venue = cache(lambda venue_id: _listed(session, PriceContext(venues[venue_id]), schedules))
    return {
        stay.id: _listed(session, PriceContext(venues[stay.venue_id], None, stay), schedules)
        if stay.id in have_own
        else of_venue(stay.venue_id)
        for stay in stays
        if stay.venue_id is not None
    }


_SCHEDULES = OfMany(
    col(ScheduleRow.venue_id),
    lambda of_venues: select(ScheduleRow).where(of_venues).order_by(col(ScheduleRow.sequence)),
)


def schedules_of(session: Session, venue_ids: Collection[UUID]) -> Sequence[ScheduleRow]:
    """Return the schedules of some venues and of their tables, in the order of their publication."""
    query, values = _SCHEDULES(venue_ids)
    return session.exec(query, params=values).all()


def _listed(session: Session, place: PriceContext, rows: Iterable[ScheduleRow]) -> Timetable:
    here = [row for row in rows if row.venue_id == place.venue.id]
    own = [row for row in here if place.stay is not None and row.stay_id == place.stay.id]
    return listed(
        calendar_of(place.venue),
        _listings(session, place, [row for row in here if row.stay_id is None]),
        _listings(session, place, own),
    )


def compile_schedule(session: Session, row: ScheduleRow, venue: VenueRow) -> Schedule:
    """Return the engine's value of a published schedule; it never changes, so it is kept by its id."""
    schedule = _compiled.get(row.id)
    if schedule is None:
        message = ScheduleIn.model_validate({**row.terms, "effective_on": row.effective_on})
        tariffs = _tariffs(session, named_tariffs(message).values())
        schedule = read_schedule(message, id=row.id, tariffs=tariffs, day_starts_at=venue.day_starts_at)
        keep_compiled(row.id, schedule)
    return schedule


def keep_compiled(id: UUID, schedule: Schedule) -> None:
    """Keep the engine's value of a schedule by its id, which no other schedule ever has."""
    _compiled.keep(id, schedule)


def _listings(session: Session, place: PriceContext, rows: Iterable[ScheduleRow]) -> list[Listing]:
    return [
        Listing(
            schedule=None if row.follow_venue else compile_schedule(session, row, place.venue),
            effective_on=row.effective_on,
            published_at=row.published_at,
        )
        for row in rows
    ]


def _tariffs(session: Session, ids: Iterable[UUID], *, keep: bool = False) -> dict[UUID, Tariff]:
    """Return the tariffs that exist, by id; ``keep``: nobody deletes one before this transaction ends."""
    named = select(TariffRow).where(among(col(TariffRow.id), set(ids))).order_by(col(TariffRow.id))
    locks = keep and not is_snapshot(session)
    rows = session.exec(named.with_for_update(read=True, key_share=True) if locks else named).all()
    return {row.id: compile_tariff(row) for row in rows}
