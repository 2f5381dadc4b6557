"""HTTP for schedules, roll-outs, keyings and the resolved week."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from ..store.changes import note_tables, note_venues
from ..store.db import discard
from ..web.auth import OwnerDep, Principal, allow
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.pagination import After, Limit, link_next
from ..web.schema_types import Id
from . import queries, service
from .convert import schedule_out
from .schemas import RolloutIn, RolloutOut, ScheduleIn, ScheduleOut, SchedulePage, TableScheduleIn

router = APIRouter(prefix="/v1", tags=["schedules"], route_class=Route)
CollectorDep = Annotated[Principal, allow("collector")]

ReaderDep = Annotated[Principal, allow("collector", "accountant")]
VenueReaderDep = Annotated[Principal, allow("collector", "accountant", "venue")]
PreviewParam = Annotated[bool, Query(description="Check and answer as if it were stored, but store nothing.")]


@router.post("/venues/{venue_id}/schedules", status_code=201, responses=problems(409))
def publish_schedule(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    venue_id: Id,
    schedule: ScheduleIn,
    response: Response,
    preview: PreviewParam = False,
) -> ScheduleOut:
    """Publish a venue's schedule: it holds from its date, or from now if that is later."""
    _preview(session, response, preview)
    row = service.publish_for_venue(session, venue_id, schedule, now=now)
    note_venues(session, [venue_id])
    return schedule_out(row)


@router.post("/tables/{table_id}/schedules", status_code=201, responses=problems(409))
def publish_table_schedule(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    table_id: Id,
    schedule: TableScheduleIn,
    response: Response,
    preview: PreviewParam = False,
) -> ScheduleOut:
    """Publish a table's own schedule, which beats its venue's, or let it follow the venue again."""
    _preview(session, response, preview)
    row = service.publish_for_table(session, table_id, schedule, now=now)
    note_tables(session, [table_id])
    return schedule_out(row)


@router.get("/venues/{venue_id}/schedules", responses=problems())
def list_schedules(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: ReaderDep,
    venue_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> SchedulePage:
    """List the schedules of a venue and of its tables in the order of their publication."""
    found = queries.page_schedules(session, venue_id, limit=limit, after=after)
    link_next(request, response, found.next)
    return SchedulePage(items=[schedule_out(row) for row in found.rows], next=found.next)


@router.post("/tariffs/{tariff_id}/rollout", status_code=201, responses=problems(409))
def roll_out_tariff(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    tariff_id: Id,
    rollout: RolloutIn,
    response: Response,
    preview: PreviewParam = False,
) -> RolloutOut:
    """Publish new schedules wherever this tariff would be in force from a date on, with another in its place."""
    _preview(session, response, preview)
    rows = service.roll_out(session, tariff_id, rollout, now=now)
    note_venues(session, {row.venue_id for row in rows})
    return RolloutOut(
        tariff=tariff_id,
        replacement=rollout.replacement,
        effective_on=rollout.effective_on,
        schedules=[schedule_out(row) for row in rows],
    )


def _preview(session: SessionDep, response: Response, preview: bool) -> None:
    """Make the request a preview, answered with 200, if it asks for one."""
    if preview:
        discard(session)
        response.status_code = 200
