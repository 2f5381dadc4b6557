"""HTTP for the list of all tables."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from ..pool_tables.place import Place
from ..venues import service as venues_service
from ..web.auth import StaffDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import After, Limit, link_next
from ..web.pagination import write_page
from ..web.schema_types import TEXT_PATTERN, Id, Instant
from ..worklist.work import WorkKind
from . import queries
from .schemas import TableStatePage
from .tables_csv import tables_csv

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)


@router.get("/tables", responses={**problems(), 200: {"model": TableStatePage, "content": CSV}})
def list_all_tables(
    request: Request,
    session: SessionDep,
    principal: StaffDep,
    now: NowDep,
    place: Annotated[Place | None, Query(description="Only tables in this kind of place.")] = None,
    venue_id: Annotated[Id | None, Query(description="Only tables at this venue.")] = None,
    work: Annotated[WorkKind | None, Query(description="Only tables at which work of this kind shows now.")] = None,
    controller_version: Annotated[
        str | None,
        Query(
            min_length=1,
            max_length=120,
            pattern=TEXT_PATTERN,
            description="Only controllers whose version was last read as this.",
        ),
    ] = None,
    read_before: Annotated[
        Instant | None, Query(description="Only tables whose last reading is older than this, or that have none.")
    ] = None,
    format: Annotated[Literal["json", "csv"], Query(description="A csv has all tables of the list.")] = "json",
    limit: Limit = 100,
    after: After = None,
) -> Response:
    """List every table of the route: where it is and since when, what it holds, and what it needs.

    Tables that were retired, sold or lost stay on the list; `place` leaves them out. Work is as last assessed: reading
    the worklist brings it up to date.
    """
    if venue_id is not None:
        venues_service.get_venue(session, venue_id)
    wanted = queries.TableFilter(
        place=place, venue_id=venue_id, work=work, controller_version=controller_version, read_before=read_before
    )
    if format == "csv":
        found_all = (table.model_dump() for table in queries.all_states(session, wanted, now=now))
        text = tables_csv(found_all, venues_service.zones(session))
        return CsvAnswer(text, name="tables")
    found = queries.page_states(session, wanted, limit=limit, after=after, now=now)
    page = write_page(found, lambda tables: tables)
    whole = TableStatePage(items=list(page.rows), next=page.next)
    response = Response(whole.model_dump_json(), media_type="application/json")
    link_next(request, response, page.next)
    return response
