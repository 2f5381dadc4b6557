"""HTTP for calendars to subscribe to."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from ..store.db import stop_of
from ..venues.service import zones
from ..web.auth import (
    AnybodyButDevicesDep,
    CollectorOrReaderDep,
)
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import TEXT_PATTERN, Date, Id
from ..worklist.queries import WorkFilter
from ..worklist.service import all_work, catch_up
from . import service

router = APIRouter(prefix="/v1", tags=["pages"], route_class=Route)
_CALENDAR: dict[int | str, dict[str, Any]] = {
    200: {"content": {"text/calendar": {"schema": {"type": "string"}}}, "description": "A calendar."}
}


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
    catch_up(request.app.state.engine, now=now, venue_id=venue_id, stop=stop_of(session))
    wanted = WorkFilter(
        venue_id=venue_id,
        person=person,
        without_money=principal.role == "reader",
        without_persons=principal.role != "owner",
    )
    items = all_work(session, wanted, by_venue=False, now=now)
    return Response(service.work_calendar(items, zones(session), person=person, now=now), media_type="text/calendar")
