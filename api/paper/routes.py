"""HTTP for pages made to be printed, and for links that open one without a token."""

from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from ..collections import queries as collections_queries
from ..ledger.export.period import ExportPeriod
from ..pool_tables.service import get_table
from ..reports.queries import differences_of_table
from ..store.db import stop_of
from ..trips import queries as trips_queries
from ..trips.convert import trip_out
from ..venues.service import calendar_of, get_venue, zones
from ..web.auth import (
    AccountantDep,
    AccountantOrVenueDep,
    AnybodyButDevicesDep,
    CollectorDep,
    CollectorOrReaderDep,
    CollectorOrVenueDep,
    StaffDep,
    StaffOrVenueDep,
)
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep, shows_token
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import TEXT_PATTERN, Date, Id, value_or
from ..web.signed_links import PARAMETER, sign
from ..web.svg_answer import SVG, SvgAnswer
from ..worklist.queries import WorkFilter
from ..worklist.service import all_work, catch_up
from . import service
from .page import Paper, PrintedPage, render
from .schemas import PageLinkIn, PageLinkOut
from .words import moment_words

router = APIRouter(prefix="/v1", tags=["pages"], route_class=Route)


PaperAsked = Annotated[Paper, Query(description="The size of the paper.")]
_PAGE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/html": {"schema": {"type": "string"}}}, "description": "A page to print."}
}
_CALENDAR: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/calendar": {"schema": {"type": "string"}}}, "description": "A calendar."}
}
PictureFormat = Annotated[Literal["svg", "csv"], Query(description="The picture, or its numbers.")]
_PICTURE: dict[int | str, dict[str, Any]] = {200: {"content": {**SVG, **CSV}, "description": "A picture."}}
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
    """Print the price card for the wall of a venue: its week, and what each coin or note buys. Prices are as listed."""
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
    page = service.collection_slip(collections_queries.read_collections(session, [row])[0], venue)
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
    return _page(request, service.trip_page(found), paper=paper, printed_at=now.astimezone(zone))


@router.get("/venues/{venue_id}/week.ics", response_class=Response, responses={**problems(409), **_CALENDAR})
def get_week_calendar(
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    venue_id: Id,
    on: Annotated[Date | None, Query(description="A trading date of the first week; without it, today's.")] = None,
    weeks: Annotated[int, Query(ge=1, le=8, description="How many weeks.")] = 4,
) -> Response:
    """Return a venue's windows as a calendar to subscribe to: what is listed when, and what each coin or note buys."""
    principal.must_see_venue(venue_id)
    return Response(service.week_calendar(session, venue_id, on=on, weeks=weeks, now=now), media_type="text/calendar")


@router.get("/worklist.ics", response_class=Response, responses={**problems(), **_CALENDAR})
def get_work_calendar(
    request: Request,
    session: SessionDep,
    principal: CollectorOrReaderDep,
    now: NowDep,
    person: Annotated[
        str | None,
        Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Only work given to this person."),
    ] = None,
    venue_id: Annotated[Id | None, Query(description="Only work at this venue.")] = None,
) -> Response:
    """Return the work on the list as a calendar, each piece on the day on which it is due.

    A reader does not see work that shows how much money is in a box.
    """
    session.rollback()  # its snapshot would not show what is assessed now
    catch_up(request.app.state.engine, now=now, stop=stop_of(session))
    wanted = WorkFilter(
        venue_id=venue_id,
        person=person,
        without_money=principal.role == "reader",
        without_persons=principal.role != "owner",
    )
    items = all_work(session, wanted, by_venue=False, now=now)
    return Response(service.work_calendar(items, zones(session), person=person, now=now), media_type="text/calendar")


@router.get("/venues/{venue_id}/week.svg", response_class=Response, responses={**problems(409), **_PICTURE})
def get_week_picture(
    session: SessionDep,
    principal: AnybodyButDevicesDep,
    now: NowDep,
    venue_id: Id,
    on: Annotated[Date | None, Query(description="A trading date of the week; without it, today's.")] = None,
    format: PictureFormat = "svg",
) -> Response:
    """Draw the trading week of a venue as listed: a box for each window, one shade for each price."""
    principal.must_see_venue(venue_id)
    if format == "csv":
        return CsvAnswer(service.week_csv(session, venue_id, on=on, now=now))
    return SvgAnswer(service.week_svg(session, venue_id, on=on, now=now))


@router.get("/tables/{table_id}/battery.svg", response_class=Response, responses={**problems(), **_PICTURE})
def get_battery_picture(
    session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, table_id: Id, format: PictureFormat = "svg"
) -> Response:
    """Draw a table's battery: its voltages, the level that decides, and the forecast with its band."""
    principal.must_see_venue(get_table(session, table_id).venue_id, what="table")
    here_only = principal.role == "venue"
    if format == "csv":
        return CsvAnswer(service.battery_csv(session, table_id, now=now, here_only=here_only))
    return SvgAnswer(service.battery_svg(session, table_id, now=now, here_only=here_only))


@router.get("/tables/{table_id}/clock.svg", response_class=Response, responses={**problems(), **_PICTURE})
def get_clock_picture(
    session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, table_id: Id, format: PictureFormat = "svg"
) -> Response:
    """Draw how far a table's clock was off at each reading, and when the clocks changed at its venue."""
    principal.must_see_venue(get_table(session, table_id).venue_id, what="table")
    here_only = principal.role == "venue"
    if format == "csv":
        return CsvAnswer(service.clock_csv(session, table_id, now=now, here_only=here_only))
    return SvgAnswer(service.clock_svg(session, table_id, now=now, here_only=here_only))


@router.get("/reports/differences.svg", response_class=Response, responses={**problems(), **_PICTURE})
def get_differences_picture(
    session: SessionDep,
    principal: AccountantDep,
    table_id: Annotated[Id, Query(description="The table whose differences are drawn.")],
    format: PictureFormat = "svg",
) -> Response:
    """Draw counted less expected cash of a table over time, with its limits. A reason to look, never an accusation."""
    found = differences_of_table(session, table_id)
    if format == "csv":
        return CsvAnswer(service.differences_csv(found))
    return SvgAnswer(service.differences_svg(found, name=get_table(session, table_id).label))


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
