"""HTTP for publishing schedules and roll-outs."""

from datetime import datetime
from typing import Any
from uuid import UUID

from fastapi import APIRouter
from sqlmodel import Session

from ..schedules import service as schedules
from ..schedules.schemas import RolloutIn, ScheduleIn, TableScheduleIn
from ..store.changes import note_tables, note_venues
from ..web.auth import OwnerDep
from ..web.dependencies import NowDep, PreviewDep, SessionDep, judged_before
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Id
from . import service
from .schemas import PublishedOut, RolloutOut

router = APIRouter(prefix="/v1", tags=["schedules"], route_class=Route)


def _judge_for_venue(
    *, session: Session, now: datetime, venue_id: UUID, schedule: ScheduleIn, **_: Any
) -> service.JudgedBefore:
    return service.judge(session, [schedules.publish_for_venue(session, venue_id, schedule, now=now)], now=now)


def _judge_for_table(
    *, session: Session, now: datetime, table_id: UUID, schedule: TableScheduleIn, **_: Any
) -> service.JudgedBefore:
    return service.judge(session, [schedules.publish_for_table(session, table_id, schedule, now=now)], now=now)


def _judge_roll_out(
    *, session: Session, now: datetime, tariff_id: UUID, rollout: RolloutIn, **_: Any
) -> service.JudgedBefore:
    return service.judge(session, schedules.roll_out(session, tariff_id, rollout, now=now), now=now)


@router.post("/venues/{venue_id}/schedules", status_code=201, responses=problems(409))
@judged_before(_judge_for_venue)
def publish_schedule(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    venue_id: Id,
    schedule: ScheduleIn,
    preview: PreviewDep,
) -> PublishedOut:
    """Publish a venue's schedule: it holds from its date, or from now if that is later.

    The answer says, table by table, what the controllers there cannot hold, and which days must be keyed by hand.
    """
    row = schedules.publish_for_venue(session, venue_id, schedule, now=now)
    note_venues(session, [venue_id])
    return service.Published(session, now=now).out(row)


@router.post("/tables/{table_id}/schedules", status_code=201, responses=problems(409))
@judged_before(_judge_for_table)
def publish_table_schedule(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    table_id: Id,
    schedule: TableScheduleIn,
    preview: PreviewDep,
) -> PublishedOut:
    """Publish a table's own schedule, which beats its venue's, or let it follow the venue again.

    The answer says what the table's controller cannot hold, and which days must be keyed by hand.
    """
    row = schedules.publish_for_table(session, table_id, schedule, now=now)
    note_tables(session, [table_id])
    return service.Published(session, now=now).out(row)


@router.post("/tariffs/{tariff_id}/rollout", status_code=201, responses=problems(409))
@judged_before(_judge_roll_out)
def roll_out_tariff(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    tariff_id: Id,
    rollout: RolloutIn,
    preview: PreviewDep,
) -> RolloutOut:
    """Publish new schedules wherever this tariff would be in force from a date on, with another in its place.

    The answer says, for each schedule and table by table, what the controllers cannot hold.
    """
    rows = schedules.roll_out(session, tariff_id, rollout, now=now)
    note_venues(session, {row.venue_id for row in rows})
    published = service.Published(session, now=now)
    return RolloutOut(
        tariff=tariff_id,
        replacement=rollout.replacement,
        effective_on=rollout.effective_on,
        schedules=[published.out(row) for row in rows],
    )
