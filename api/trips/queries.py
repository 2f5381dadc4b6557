"""Reads trips, and all that a trip's sheet is made of: work, tables, boxes, jobs and hours, as of now."""

from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

from sqlalchemy import exists
from sqlmodel import Session, col, select

from ..jobs.queries import jobs_out
from ..jobs.rows import JobDoneRow, JobRow
from ..jobs.schemas import JobOut
from ..pool_tables.rows import PoolTableRow
from ..pricing import DomainError
from ..pricing.timetable import Span
from ..schedules.queries import listed_at, place_of_venue
from ..store.db import is_snapshot
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from ..web.errors import http_problem, not_found
from ..web.pagination import Page, page
from ..worklist.assessment import WorkFacts, box_facts_of
from ..worklist.full_box import content_at
from ..worklist.queries import StoredWork, load_work, work_facts
from ..worklist.rows import WorkRow
from .convert import StoredStop, StoredTableAtStop, StoredTrip
from .rows import TripEndRow, TripRow, TripStopRow, TripWorkRow
from .table_at_stop import first_price, is_done_there, shows_by

_HALF_A_DAY = timedelta(hours=12)
_A_DAY = timedelta(days=1)


def get_trip(session: Session, trip_id: UUID, *, person: str | None) -> TripRow:
    """Return a trip; ``not_found`` where there is none, or where it is not this person's."""
    row = session.get(TripRow, trip_id)
    if row is None or person not in (None, row.person):
        raise not_found("trip")
    return row


def page_trips(
    session: Session, *, person: str | None, on: date | None, limit: int, after: UUID | None
) -> Page[TripRow]:
    """Return trips in the order in which they were made, of one person and one date where asked."""
    query = select(TripRow)
    if person is not None:
        query = query.where(TripRow.person == person)
    if on is not None:
        query = query.where(TripRow.trip_on == on)
    return page(session, query, key=col(TripRow.id), limit=limit, after=after)


def ends_of(session: Session, trip_ids: Collection[UUID]) -> dict[UUID, TripEndRow]:
    """Return how trips ended, those that did."""
    query = select(TripEndRow).where(col(TripEndRow.trip_id).in_(trip_ids))
    return {row.trip_id: row for row in session.exec(query)}


def venue_names(session: Session, trip_ids: Collection[UUID]) -> dict[UUID, list[str]]:
    """Return the names of the venues of trips, in the order of their stops."""
    query = (
        select(TripStopRow.trip_id, VenueRow.name)
        .join(VenueRow, col(VenueRow.id) == col(TripStopRow.venue_id))
        .where(col(TripStopRow.trip_id).in_(trip_ids))
        .order_by(col(TripStopRow.trip_id), col(TripStopRow.place))
    )
    found: dict[UUID, list[str]] = {trip_id: [] for trip_id in trip_ids}
    for trip_id, name in session.exec(query):
        found[trip_id].append(name)
    return found


def get_venues(session: Session, ids: Sequence[UUID], *, where: str) -> list[VenueRow]:
    """Return venues in the order of their ids; refuse (``not_found``) one that does not exist."""
    found = {row.id: row for row in session.exec(select(VenueRow).where(col(VenueRow.id).in_(ids)))}
    for place, id_ in enumerate(ids):
        if id_ not in found:
            raise http_problem("not_found", where=f"{where}[{place}]", found=id_, expected="the id of a venue")
    return [found[id_] for id_ in ids]


def work_by_ids(session: Session, ids: Sequence[UUID]) -> list[WorkRow]:
    """Return work in the order of its ids; refuse (``not_found``) what is not on the list."""
    found = {row.id: row for row in session.exec(select(WorkRow).where(col(WorkRow.id).in_(ids)))}
    for place, id_ in enumerate(ids):
        if id_ not in found:
            raise http_problem("not_found", where=f"work[{place}]", found=id_, expected="work on the list")
    return [found[id_] for id_ in ids]


def load_trip(session: Session, trip: TripRow, *, now: datetime) -> StoredTrip:
    """Return a trip with its sheet; a trip that has ended keeps its stops without tables and work."""
    end = ends_of(session, [trip.id]).get(trip.id)
    query = (
        select(TripStopRow, VenueRow)
        .join(VenueRow, col(VenueRow.id) == col(TripStopRow.venue_id))
        .where(TripStopRow.trip_id == trip.id)
        .order_by(col(TripStopRow.place))
    )
    stops = session.exec(query).all()
    tables: dict[UUID, list[StoredTableAtStop]] = {} if end else _tables_at(session, trip, stops, now=now)
    return StoredTrip(
        trip=trip,
        end=end,
        stops=[
            StoredStop(
                stop=stop, venue=venue, tables=tables.get(venue.id, ()), spans=_spans(session, venue, trip.trip_on)
            )
            for stop, venue in stops
        ],
    )


def _tables_at(
    session: Session, trip: TripRow, stops: Sequence[tuple[TripStopRow, VenueRow]], *, now: datetime
) -> dict[UUID, list[StoredTableAtStop]]:
    """Return the tables at each stop."""
    venues = {venue.id: (stop, venue) for stop, venue in stops}
    query = (
        select(PoolTableRow)
        .where(col(PoolTableRow.venue_id).in_(venues))
        .order_by(col(PoolTableRow.label), col(PoolTableRow.id))
    )
    if not is_snapshot(session):  # no table is deleted between two of these statements
        query = query.with_for_update(read=True, key_share=True)
    rows = session.exec(query).all()
    ids = [row.id for row in rows]
    chosen = set(session.exec(select(TripWorkRow.work_id).where(TripWorkRow.trip_id == trip.id)))
    work, jobs, stored = _work(session, ids), _open_jobs(session, ids), load_work(session, ids, now=now)
    found: dict[UUID, list[StoredTableAtStop]] = {}
    for row in rows:
        stop, venue = venues[row.venue_id]  # type: ignore[index]
        calendar = calendar_of(venue)
        there_at = max(now, calendar.day_starts(trip.trip_on) + _HALF_A_DAY)
        by = max(now, calendar.day_starts(trip.trip_on + _A_DAY))
        at_table = [one for one in work.get(row.id, ()) if is_done_there(one) and shows_by(one, by, now=now)]
        facts = _facts(session, stored[row.id])
        at_work = any(one.kind == "key_settings" for one in at_table) or row.id in jobs
        found.setdefault(venue.id, []).append(
            StoredTableAtStop(
                table=row,
                work=at_table,
                jobs=jobs.get(row.id, ()),
                empty=stop.empties_all
                or any(one.kind == "collect" and one.id in chosen for one in work.get(row.id, ())),
                box=None if facts is None else content_at(box_facts_of(facts), there_at),
                try_minor=_first_price(facts, there_at) if at_work else 0,
                read=_to_read(facts),
            )
        )
    return found


def _facts(session: Session, stored: StoredWork) -> WorkFacts | None:
    """Return what is known of a table; None where what is stored of it contradicts itself."""
    try:
        with session.begin_nested():
            return work_facts(session, stored)
    except DomainError:
        return None


def _first_price(facts: WorkFacts | None, at: datetime) -> int:
    if facts is None or facts.listed is None:
        return 0
    try:
        return first_price(facts.listed.at(at).tariff)
    except DomainError:
        return 0


def _to_read(facts: WorkFacts | None) -> list[str]:
    if facts is None:
        return []
    meters = [f"meter {meter.name}" for meter in facts.health.meters]
    return [*(() if facts.on_mains else ("battery voltage",)), "day and time on its clock", *meters]


def _spans(session: Session, venue: VenueRow, on: date) -> Sequence[Span] | None:
    return listed_at(session, place_of_venue(session, venue.id)).day(on) if venue.has_schedule else None


def _work(session: Session, table_ids: Collection[UUID]) -> dict[UUID, list[WorkRow]]:
    query = (
        select(WorkRow).where(col(WorkRow.pool_table_id).in_(table_ids)).order_by(col(WorkRow.due_at), col(WorkRow.id))
    )
    found: dict[UUID, list[WorkRow]] = {}
    for row in session.exec(query):
        found.setdefault(row.pool_table_id, []).append(row)
    return found


def _open_jobs(session: Session, table_ids: Collection[UUID]) -> dict[UUID, list[JobOut]]:
    query = (
        select(JobRow)
        .where(col(JobRow.pool_table_id).in_(table_ids), ~exists().where(col(JobDoneRow.job_id) == col(JobRow.id)))
        .order_by(col(JobRow.arrival))
    )
    found: dict[UUID, list[JobOut]] = {}
    for job in jobs_out(session, session.exec(query).all(), with_costs=False):
        found.setdefault(job.table_id, []).append(job)
    return found
