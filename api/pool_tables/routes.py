"""HTTP for pool tables and their moves."""

from fastapi import APIRouter, Response

from ..store.changes import note_tables
from ..web import preconditions
from ..web.auth import AnybodyButDevicesDep, OwnerDep, StaffDep
from ..web.dependencies import IfMatch, NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import Id
from . import service
from .convert import move_out, table_out
from .schemas import MoveIn, MoveOut, MovePage, TableChangeIn, TableIn, TableOut, TablePage
from .service import must_be_a_controller

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)


@router.post("/venues/{venue_id}/tables", status_code=201, responses=problems(409))
def create_table(
    session: SessionDep, principal: OwnerDep, now: NowDep, venue_id: Id, table: TableIn, response: Response
) -> TableOut:
    """Make a table at this venue. Readings count since `placed_at`; without it, from the first one on."""
    row = service.create_table(session, venue_id, table, now=now)
    must_be_a_controller(session, row)
    note_tables(session, [row.id])
    response.headers["Location"] = f"/v1/tables/{row.id}"
    response.headers["ETag"] = preconditions.etag_of(row)
    return table_out(row)


@router.get("/venues/{venue_id}/tables", responses=problems())
def list_tables(asked: PageDep, session: SessionDep, principal: AnybodyButDevicesDep, venue_id: Id) -> TablePage:
    """List the tables at a venue now."""
    principal.must_see_venue(venue_id)
    found = service.page_tables(session, venue_id, limit=asked.limit, after=asked.after)
    return asked.write(TablePage, found, lambda rows: [table_out(row) for row in rows])


@router.get("/tables/{table_id}", responses=problems())
def get_table(session: SessionDep, principal: AnybodyButDevicesDep, table_id: Id, response: Response) -> TableOut:
    """Return a table; its ETag is needed to change it. A venue sees the tables now there."""
    row = service.get_table(session, table_id)
    principal.must_see_venue(row.venue_id, what="table")
    response.headers["ETag"] = preconditions.etag_of(row)
    return table_out(row)


@router.patch("/tables/{table_id}", responses=problems(409, 412, 428))
def change_table(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    table_id: Id,
    change: TableChangeIn,
    response: Response,
    if_match: IfMatch = None,
) -> TableOut:
    """Change a table."""
    row = service.change_table(session, table_id, change, if_match=if_match)
    must_be_a_controller(session, row)
    note_tables(session, [row.id])
    response.headers["ETag"] = preconditions.etag_of(row)
    return table_out(row)


@router.post("/tables/{table_id}/moves", status_code=201, responses=problems(409))
def move_table(session: SessionDep, principal: OwnerDep, now: NowDep, table_id: Id, move: MoveIn) -> MoveOut:
    """Record that a table was moved to another venue, to the workshop or to storage."""
    row = service.move_table(session, table_id, move, now=now)
    note_tables(session, [table_id])
    return move_out(row)


@router.get("/tables/{table_id}/moves", responses=problems())
def list_moves(asked: PageDep, session: SessionDep, principal: StaffDep, table_id: Id) -> MovePage:
    """List where a table has been, its first place first; its way ends where it was retired, sold or lost."""
    found = service.page_moves(session, table_id, limit=asked.limit, after=asked.after)
    return asked.write(MovePage, found, lambda rows: [move_out(row) for row in rows])
