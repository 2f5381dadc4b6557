"""Trips in the database: planned, done, cancelled.

- A trip is stored with its stops in their final order, and never changed: another plan is another trip.
- Its sheet is worked out whenever it is read, from the work and the tables as they are then.
"""

from datetime import datetime
from typing import Literal
from uuid import UUID

from sqlmodel import Session

from ..pricing import Fault
from ..store.clock import new_id
from ..store.db import lock
from ..tokens.service import must_work_here
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, must_be_of_the_route
from ..web.auth import Principal
from ..web.errors import Problem, http_problem
from ..web.schema_types import value_or
from ..worklist.rows import WorkRow
from .convert import point_of
from .distance import Coordinates
from .queries import ends_of, get_trip, get_venues, work_by_ids
from .rows import TripEndRow, TripRow, TripStopRow, TripWorkRow
from .schemas import StartIn, TripIn
from .shortest_round import STOPS_MAX
from .stops import in_shortest_order, must_be_once, stops_of


def plan_trip(session: Session, message: TripIn, *, by: Principal, now: datetime) -> TripRow:
    """Store a trip of a person to some venues on a date.

    Refuses a person without a valid token, a venue named twice or that has left by then, work that is not on the list
    or not at a venue, a date gone by, and a shortest round of too many stops or without coordinates.
    """
    named: list[UUID] = value_or(message.stops, [])
    work_ids: list[UUID] = value_or(message.work, [])
    start: StartIn | None = value_or(message.start, None)
    must_be_once(work_ids, name="work")
    if message.person != by.person:
        must_work_here(session, message.person, where="person", now=now)
    get_venues(session, named, where="stops")
    work = work_by_ids(session, work_ids)
    venues = get_venues(session, stops_of(named, _venues_of(work)), where="stops")
    _must_be_possible(message, venues, now=now)
    if message.order == "shortest":
        venues = _in_shortest_order(venues, start=start)
    row = TripRow(
        id=new_id(),
        trip_on=message.on,
        person=message.person,
        ordered=message.order,
        start_latitude=None if start is None else start.latitude,
        start_longitude=None if start is None else start.longitude,
        made_at=now,
        made_by=by.name,
    )
    session.add(row)
    session.flush()
    session.add_all(
        TripStopRow(trip_id=row.id, place=place, venue_id=venue.id, empties_all=venue.id in named)
        for place, venue in enumerate(venues)
    )
    session.add_all(
        TripWorkRow(trip_id=row.id, work_id=one.id, pool_table_id=one.pool_table_id, line=one.reason) for one in work
    )
    session.flush()
    return row


def end_trip(
    session: Session,
    trip_id: UUID,
    *,
    state: Literal["done", "cancelled"],
    words: str,
    person: str | None,
    by: str,
    now: datetime,
) -> TripRow:
    """Say that a trip was made, or that it will not be; refuse (``trip_ended``) one that has ended.

    Locks: the trip. ``person`` is whose trips may be ended; None: anybody's.
    """
    row = get_trip(session, trip_id, person=person)
    lock(session, f"trip:{trip_id}")
    end = ends_of(session, [trip_id]).get(trip_id)
    if end is not None:
        raise http_problem("trip_ended", where="trip_id", found=end.state, expected="a trip that is planned")
    session.add(TripEndRow(trip_id=trip_id, state=state, words=words, ended_at=now, ended_by=by))
    session.flush()
    return row


def _venues_of(work: list[WorkRow]) -> list[UUID]:
    """Return where work is; refuse (``invalid``) work at a table that is at no venue."""
    for place, one in enumerate(work):
        if one.venue_id is None:
            expected = "work at a table that is at a venue"
            raise http_problem("invalid", where=f"work[{place}]", found="a table at no venue", expected=expected)
    return [one.venue_id for one in work if one.venue_id is not None]


def _must_be_possible(message: TripIn, venues: list[VenueRow], *, now: datetime) -> None:
    today = min(calendar_of(venue).trading_day(now) for venue in venues)
    if message.on < today:
        raise http_problem("invalid", where="on", found=message.on, expected=f"{today} or later")
    for place, venue in enumerate(venues):
        must_be_of_the_route(venue, where=f"stops[{place}]", on=message.on)


def _in_shortest_order(venues: list[VenueRow], *, start: StartIn | None) -> list[VenueRow]:
    if len(venues) > STOPS_MAX:
        expected = f"at most {STOPS_MAX}, or the order given"
        raise http_problem("too_many_stops", where="stops", found=len(venues), expected=expected)
    points = [point_of(venue) for venue in venues]
    missing = [
        Fault("no_coordinates", f"stops[{place}]", venue.name, "a venue with latitude and longitude")
        for place, (venue, point) in enumerate(zip(venues, points, strict=True))
        if point is None
    ]
    if missing:
        raise Problem("no_coordinates", errors=missing)
    known = [point for point in points if point is not None]
    order = in_shortest_order(known, start=None if start is None else Coordinates(start.latitude, start.longitude))
    return [venues[place] for place in order]
