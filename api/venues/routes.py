"""HTTP for venues, tables, moves and tax areas."""

from typing import Annotated

from fastapi import APIRouter, Header, Query, Request, Response

from api.access.asking import Asker, OwnerDep, allow
from api.clock import NowDep
from api.db import SessionDep
from api.openapi import problems
from api.paging import After, Limit, ListOut, link_next
from api.routing import Route
from api.schedules.service import has_schedule, hold_venue
from api.sheets.service import must_be_a_controller
from api.venues import service
from api.venues.models import (
    MoveIn,
    MoveOut,
    TableChangeIn,
    TableIn,
    TableOut,
    TaxAreaCode,
    TaxAreaIn,
    TaxAreaOut,
    TaxAreasOut,
    VenueChangeIn,
    VenueIn,
    VenueOut,
)
from api.venues.writing import move_out, table_out, tax_area_out, venue_out
from api.wire import Id
from api.worklist.service import assess, assess_venue

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)

CollectorDep = Annotated[Asker, allow("collector")]
ReaderDep = Annotated[Asker, allow("collector", "accountant")]
IfMatch = Annotated[str | None, Header(description="The ETag of the last GET.", max_length=200, pattern=r"^[!-~ ]*$")]


@router.post("/venues", status_code=201, responses=problems(409))
def create_venue(session: SessionDep, asker: OwnerDep, now: NowDep, venue: VenueIn, response: Response) -> VenueOut:
    """Make a venue."""
    row = service.create_venue(session, venue, now=now)
    response.headers["Location"] = f"/v1/venues/{row.id}"
    response.headers["ETag"] = service.etag_of(row)
    return venue_out(row)


@router.get("/venues", responses=problems())
def list_venues(
    request: Request, response: Response, session: SessionDep, asker: ReaderDep, limit: Limit = 100, after: After = None
) -> ListOut[VenueOut]:
    """List the venues in the order in which they were made."""
    found = service.page_venues(session, limit=limit, after=after)
    link_next(request, response, found.next)
    return ListOut(items=[venue_out(row) for row in found.rows], next=found.next)


@router.get("/venues/{venue_id}", responses=problems())
def get_venue(session: SessionDep, asker: ReaderDep, venue_id: Id, response: Response) -> VenueOut:
    """Return a venue; its ETag is needed to change it."""
    row = service.get_venue(session, venue_id)
    response.headers["ETag"] = service.etag_of(row)
    return venue_out(row)


@router.patch("/venues/{venue_id}", responses=problems(409, 412, 428))
def change_venue(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    venue_id: Id,
    change: VenueChangeIn,
    response: Response,
    if_match: IfMatch = None,
) -> VenueOut:
    """Change a venue. Time zone, currency and start of the day are fixed once it has a schedule."""
    hold_venue(session, venue_id)
    row = service.change_venue(session, venue_id, change, if_match=if_match, scheduled=has_schedule(session, venue_id))
    assess_venue(session, venue_id, now=now)
    response.headers["ETag"] = service.etag_of(row)
    return venue_out(row)


@router.post("/venues/{venue_id}/tables", status_code=201, responses=problems(409))
def create_table(
    session: SessionDep, asker: OwnerDep, now: NowDep, venue_id: Id, table: TableIn, response: Response
) -> TableOut:
    """Make a table, standing at this venue from now on, or since `placed_at`: readings of it from then on count."""
    row = service.create_table(session, venue_id, table, now=now)
    must_be_a_controller(session, row)
    assess(session, [row.id], now=now)
    response.headers["Location"] = f"/v1/tables/{row.id}"
    response.headers["ETag"] = service.etag_of(row)
    return table_out(row)


@router.get("/venues/{venue_id}/tables", responses=problems())
def list_tables(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: ReaderDep,
    venue_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> ListOut[TableOut]:
    """List the tables that stand at a venue now."""
    found = service.page_tables(session, venue_id, limit=limit, after=after)
    link_next(request, response, found.next)
    return ListOut(items=[table_out(row) for row in found.rows], next=found.next)


@router.get("/tables/{table_id}", responses=problems())
def get_table(session: SessionDep, asker: ReaderDep, table_id: Id, response: Response) -> TableOut:
    """Return a table; its ETag is needed to change it."""
    row = service.get_table(session, table_id)
    response.headers["ETag"] = service.etag_of(row)
    return table_out(row)


@router.patch("/tables/{table_id}", responses=problems(409, 412, 428))
def change_table(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    table_id: Id,
    change: TableChangeIn,
    response: Response,
    if_match: IfMatch = None,
) -> TableOut:
    """Change a table."""
    row = service.change_table(session, table_id, change, if_match=if_match)
    must_be_a_controller(session, row)
    assess(session, [row.id], now=now)
    response.headers["ETag"] = service.etag_of(row)
    return table_out(row)


@router.post("/tables/{table_id}/moves", status_code=201, responses=problems(409))
def move_table(session: SessionDep, asker: OwnerDep, now: NowDep, table_id: Id, move: MoveIn) -> MoveOut:
    """Record that a table was moved to another venue, or to the workshop."""
    row = service.move_table(session, table_id, move, now=now)
    assess(session, [table_id], now=now)
    return move_out(row)


@router.post("/tax-areas", status_code=201, responses=problems(409))
def put_tax_area(session: SessionDep, asker: OwnerDep, now: NowDep, area: TaxAreaIn) -> TaxAreaOut:
    """Make a tax area, or add dated rates to one. Whether a rate applies is for you and your adviser to say."""
    return tax_area_out(service.put_tax_area(session, area, now=now))


@router.get("/tax-areas", responses=problems())
def list_tax_areas(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: ReaderDep,
    limit: Limit = 100,
    after: Annotated[TaxAreaCode | None, Query(description="The `next` of the page before.")] = None,
) -> TaxAreasOut:
    """List the tax areas by code, with their rates by date."""
    found = service.page_tax_areas(session, limit=limit, after=after)
    link_next(request, response, found.next)
    return TaxAreasOut(items=[tax_area_out(row) for row in found.rows], next=found.next)
