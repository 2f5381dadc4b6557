"""HTTP for venues."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Response
from sqlmodel import Session

from ..store.changes import note_venues
from ..web import preconditions
from ..web.auth import AnybodyButDevicesDep, OwnerDep, Principal
from ..web.dependencies import IfMatch, NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import Id
from . import service
from .convert import venue_out
from .rows import VenueRow
from .schemas import VenueChangeIn, VenueIn, VenueOut, VenuePage

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)


@router.post("/venues", status_code=201, responses=problems(409))
def create_venue(session: SessionDep, principal: OwnerDep, now: NowDep, venue: VenueIn, response: Response) -> VenueOut:
    """Make a venue."""
    row = service.create_venue(session, venue, now=now)
    response.headers["Location"] = f"/v1/venues/{row.id}"
    response.headers["ETag"] = preconditions.etag_of(row)
    return _venues_out(session, [row], principal, now)[0]


@router.get("/venues", responses=problems())
def list_venues(
    asked: PageDep,
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    departed: Annotated[bool, Query(description="List the venues that have left the route instead.")] = False,
) -> VenuePage:
    """List the venues of the route in the order in which they were made; a venue sees itself alone.

    Only owners, collectors and accountants see notes."""
    found = service.page_venues(
        session, departed=departed, limit=asked.limit, after=asked.after, only_venues=principal.only_venues
    )
    return asked.write(VenuePage, found, lambda rows: _venues_out(session, rows, principal, now))


@router.get("/venues/{venue_id}", responses=problems())
def get_venue(
    session: SessionDep, principal: AnybodyButDevicesDep, now: NowDep, venue_id: Id, response: Response
) -> VenueOut:
    """Return a venue; its ETag is needed to change it."""
    principal.must_see_venue(venue_id)
    row = service.get_venue(session, venue_id)
    response.headers["ETag"] = preconditions.etag_of(row)
    return _venues_out(session, [row], principal, now)[0]


@router.patch("/venues/{venue_id}", responses=problems(409, 412, 428))
def change_venue(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    venue_id: Id,
    change: VenueChangeIn,
    response: Response,
    if_match: IfMatch = None,
) -> VenueOut:
    """Change a venue. Time zone, currency and start of the day are fixed once it has a schedule.

    Tax area, legal name, payee and tax number are dated: a change holds from `from_on`, or from today's trading date.
    Earlier dates keep their own, so a correction of an old collection takes the tax area of its own date.
    """
    row = service.change_venue(session, venue_id, change, if_match=if_match, now=now)
    note_venues(session, [venue_id])
    response.headers["ETag"] = preconditions.etag_of(row)
    return _venues_out(session, [row], principal, now)[0]


def _venues_out(session: Session, rows: Sequence[VenueRow], principal: Principal, now: datetime) -> list[VenueOut]:
    """Write venues as they are on today's trading date; tax numbers and notes only for those who may see them."""
    facts = service.dated_facts_of(session, [row.id for row in rows])
    may_see = principal.role in ("owner", "accountant")
    seen = [
        venue_out(row, facts[row.id], on=service.calendar_of(row).trading_day(now), with_tax_number=may_see)
        for row in rows
    ]
    return [one.model_copy(update={"notes": ""}) for one in seen] if principal.role in ("venue", "reader") else seen
