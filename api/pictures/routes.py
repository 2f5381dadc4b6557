"""HTTP for pictures, and for their numbers."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response

from ..pool_tables.service import get_table
from ..reports.queries import differences_of_table
from ..web.auth import (
    AccountantDep,
    AnybodyButDevicesDep,
    CollectorOrVenueDep,
)
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id
from ..web.svg_answer import SVG, SvgAnswer
from . import service

router = APIRouter(prefix="/v1", tags=["pages"], route_class=Route)
PictureFormat = Annotated[Literal["svg", "csv"], Query(description="The picture, or its numbers.")]
_PICTURE: dict[int | str, dict[str, Any]] = {200: {"content": {**SVG, **CSV}, "description": "A picture."}}


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
