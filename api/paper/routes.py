"""HTTP for pages made to be printed, and for links that open one without a token."""

from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from ..collections import queries as collections_queries
from ..ledger.export.period import ExportPeriod
from ..store.db import stop_of
from ..trips import queries as trips_queries
from ..trips.convert import trip_out
from ..venues.service import calendar_of, get_venue
from ..web.auth import (
    AccountantOrVenueDep,
    AnybodyButDevicesDep,
    CollectorDep,
    StaffDep,
    StaffOrVenueDep,
)
from ..web.dependencies import NowDep, SessionDep, shows_token
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id, value_or
from ..web.signed_links import PARAMETER, sign
from ..worklist.service import catch_up
from . import service
from .convert import collection_slip, trip_page
from .page import Paper, PrintedPage, render
from .schemas import PageLinkIn, PageLinkOut
from .words import moment_words

router = APIRouter(prefix="/v1", tags=["pages"], route_class=Route)


PaperAsked = Annotated[Paper, Query(description="The size of the paper.")]
_PAGE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/html": {"schema": {"type": "string"}}}, "description": "A page to print."}
}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
}


def _page(request: Request, page: PrintedPage, *, paper: Paper, printed_at: datetime) -> HTMLResponse:
    url = request.url.remove_query_params(PARAMETER)
    text = render(page, address=str(url), paper=paper, printed=moment_words(printed_at))
    return HTMLResponse(text, headers=_HEADERS)


@router.get("/tables/{table_id}/settings-sheet.html", response_class=HTMLResponse, responses={**problems(409), **_PAGE})
def get_settings_sheet_page(
    request: Request,
    session: SessionDep,
    principal: CollectorDep,
    now: NowDep,
    table_id: Id,
    on: Annotated[Date | None, Query(description="A trading date, such as that of a coming price change.")] = None,
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print a table's settings sheet: what to key with boxes to tick, and the old prices beside the new."""
    page = service.settings_page(session, table_id, on=on, now=now)
    return _page(request, page, paper=paper, printed_at=now.astimezone(service.zone_of_table(session, table_id)))


@router.get("/venues/{venue_id}/price-card.html", response_class=HTMLResponse, responses={**problems(409), **_PAGE})
def get_price_card(
    request: Request,
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    venue_id: Id,
    on: Annotated[Date | None, Query(description="A trading date of the week; without it, today's.")] = None,
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print the price card for the wall of a venue: its week, and what each coin or note buys. Prices are as listed.

    The card is of the prices in force at the end of that date, also where others hold on some days of its week.
    """
    principal.must_see_venue(venue_id)
    page = service.price_card(session, venue_id, on=on, now=now)
    printed_at = calendar_of(get_venue(session, venue_id)).local(now)
    return _page(request, page, paper=paper, printed_at=printed_at)


@router.get("/collections/{collection_id}/slip.html", response_class=HTMLResponse, responses={**problems(), **_PAGE})
def get_collection_slip(
    request: Request,
    session: SessionDep,
    principal: StaffOrVenueDep,
    now: NowDep,
    collection_id: Id,
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print the slip of a collection, in two copies with two signatures each."""
    row = collections_queries.get_collection(session, collection_id)
    principal.must_see_venue(row.venue_id, what="collection")
    principal.must_see_cash_of(row.collector)
    venue = get_venue(session, row.venue_id)
    page = collection_slip(collections_queries.read_collections(session, [row])[0], venue)
    return _page(request, page, paper=paper, printed_at=calendar_of(venue).local(now))


@router.get("/venues/{venue_id}/statement.html", response_class=HTMLResponse, responses={**problems(409), **_PAGE})
def get_statement_page(
    request: Request,
    session: SessionDep,
    principal: AccountantOrVenueDep,
    now: NowDep,
    venue_id: Id,
    month: Annotated[str, Query(pattern=r"^20[0-9]{2}-(0[1-9]|1[0-2])$", description="Such as 2026-11.")],
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print a venue's statement of a month."""
    principal.must_see_venue(venue_id)
    venue = get_venue(session, venue_id)
    page = service.statement_page(session, venue, ExportPeriod.of_month(*map(int, month.split("-"))))
    return _page(request, page, paper=paper, printed_at=calendar_of(venue).local(now))


@router.get("/tables/{table_id}/card.html", response_class=HTMLResponse, responses={**problems(), **_PAGE})
def get_table_card(
    request: Request,
    session: SessionDep,
    principal: StaffDep,
    now: NowDep,
    table_id: Id,
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print a table's ledger card: its last collections, room for the next by hand, and where it has been."""
    page = service.table_card(session, table_id)
    return _page(request, page, paper=paper, printed_at=now.astimezone(service.zone_of_table(session, table_id)))


@router.get("/venues/{venue_id}/bag-tags.html", response_class=HTMLResponse, responses={**problems(409), **_PAGE})
def get_bag_tags(
    request: Request,
    session: SessionDep,
    principal: CollectorDep,
    now: NowDep,
    venue_id: Id,
    paper: PaperAsked = "a4",
) -> HTMLResponse:
    """Print tags for the bags of a venue, one for each table there."""
    venue = get_venue(session, venue_id)
    page = service.bag_tags(session, venue, address_of=f"{request.base_url}v1/tables/")
    return _page(request, page, paper=paper, printed_at=calendar_of(venue).local(now))


@router.get("/trips/{trip_id}.html", response_class=HTMLResponse, responses={**problems(), **_PAGE})
def get_trip_page(
    request: Request, session: SessionDep, principal: CollectorDep, now: NowDep, trip_id: Id, paper: PaperAsked = "a4"
) -> HTMLResponse:
    """Print the sheet of a trip: what to bring, and each stop with its work and boxes to tick.

    A collector sees the trips that were given to them.
    """
    session.rollback()  # its snapshot would not show what is assessed now
    catch_up(request.app.state.engine, now=now, stop=stop_of(session))
    person = principal.person if principal.role == "collector" else None
    row = trips_queries.get_trip(session, trip_id, person=person)
    found = trip_out(trips_queries.load_trip(session, row, now=now))
    zone = calendar_of(get_venue(session, found.stops[0].venue_id)).zone if found.stops else UTC
    return _page(request, trip_page(found), paper=paper, printed_at=now.astimezone(zone))


@router.post("/page-links", status_code=201, responses=problems(409))
@shows_token
def create_page_link(
    request: Request, session: SessionDep, principal: AnybodyButDevicesDep, now: NowDep, link: PageLinkIn
) -> PageLinkOut:
    """Make a link that opens a page, picture or calendar without a token, on a phone say, until it expires.

    It shows what your token may see when it is opened, and stops with the token.
    """
    expires_at = now.replace(microsecond=0) + timedelta(hours=value_or(link.hours, 24))
    signed = sign(session, link.address, holder=principal.id, expires_at=expires_at)
    return PageLinkOut(url=f"{str(request.base_url).rstrip('/')}{signed}", expires_at=expires_at)
