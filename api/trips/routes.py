"""HTTP for trips."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from ..store.db import stop_of
from ..web.auth import CollectorDep, OwnerDep, Principal
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import TEXT_PATTERN, Date, Id, value_or
from ..worklist.service import catch_up
from . import queries, service
from .convert import trip_line_out, trip_out
from .schemas import TripCancellationIn, TripCompletionIn, TripIn, TripOut, TripPage

router = APIRouter(prefix="/v1", tags=["worklist"], route_class=Route)


@router.post("/trips", status_code=201, responses=problems(409))
def create_trip(response: Response, session: SessionDep, principal: OwnerDep, now: NowDep, trip: TripIn) -> TripOut:
    """Plan a trip to some venues, or to the venues of some work, and return its sheet.

    `order=shortest` goes round by straight lines, exactly, for up to twelve stops with coordinates; roads are longer.
    Work is as last assessed: reading the trip, or the worklist, brings it up to date.
    """
    row = service.plan_trip(session, trip, by=principal, now=now)
    response.headers["Location"] = f"/v1/trips/{row.id}"
    return trip_out(queries.load_trip(session, row, now=now))


@router.get("/trips", responses=problems())
def list_trips(
    asked: PageDep,
    session: SessionDep,
    principal: CollectorDep,
    on: Annotated[Date | None, Query(description="Only trips on this date.")] = None,
    person: Annotated[
        str | None,
        Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Only trips of this person."),
    ] = None,
) -> TripPage:
    """List trips in the order in which they were made; a collector sees those given to them."""
    own = _own(principal)
    found = queries.page_trips(
        session, person=person if own is None else own, on=on, limit=asked.limit, after=asked.after
    )
    ids = [row.id for row in found.rows]
    ends, names = queries.ends_of(session, ids), queries.venue_names(session, ids)
    return asked.write(
        TripPage, found, lambda rows: [trip_line_out(row, ends.get(row.id), names[row.id]) for row in rows]
    )


@router.get("/trips/{trip_id}", responses=problems())
def get_trip(request: Request, session: SessionDep, principal: CollectorDep, now: NowDep, trip_id: Id) -> TripOut:
    """Return a trip with its sheet: stops, work, what to read, key and bring, and what is carried along the way.

    What boxes hold and weigh is an expectation. Cash and coins come with cautions; your insurer and local rules decide.
    """
    session.rollback()  # its snapshot would not show what is assessed now
    catch_up(request.app.state.engine, now=now, stop=stop_of(session))
    row = queries.get_trip(session, trip_id, person=_own(principal))
    return trip_out(queries.load_trip(session, row, now=now))


@router.post("/trips/{trip_id}/completion", status_code=201, responses=problems(409))
def complete_trip(
    session: SessionDep, principal: CollectorDep, now: NowDep, trip_id: Id, completion: TripCompletionIn
) -> TripOut:
    """Note that a trip was made. Its work leaves the list by the records made on the way, not by this."""
    row = service.end_trip(
        session,
        trip_id,
        state="done",
        words=value_or(completion.words, ""),
        person=_own(principal),
        by=principal.name,
        now=now,
    )
    return trip_out(queries.load_trip(session, row, now=now))


@router.post("/trips/{trip_id}/cancellation", status_code=201, responses=problems(409))
def cancel_trip(
    session: SessionDep, principal: OwnerDep, now: NowDep, trip_id: Id, cancellation: TripCancellationIn
) -> TripOut:
    """Cancel a trip, with the reason."""
    row = service.end_trip(
        session, trip_id, state="cancelled", words=cancellation.reason, person=None, by=principal.name, now=now
    )
    return trip_out(queries.load_trip(session, row, now=now))


def _own(principal: Principal) -> str | None:
    """Return whose trips alone somebody sees; None: everybody's."""
    return principal.person if principal.role == "collector" else None
