"""HTTP for schedules, roll-outs, keyings and the resolved week."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.access.asking import Asker, OwnerDep, allow
from api.clock import NowDep
from api.db import SessionDep, discard
from api.openapi import problems
from api.paging import After, Limit, ListOut, link_next
from api.pricing import Calendar, Span
from api.routing import Route
from api.schedules import service
from api.schedules.models import (
    Basis,
    KeyingIn,
    KeyingOut,
    RolloutIn,
    RolloutOut,
    ScheduleIn,
    ScheduleOut,
    SpanOut,
    TableScheduleIn,
    TariffRefOut,
    WeekDayOut,
    WeekOut,
)
from api.schedules.translation import schedule_out
from api.venues.service import calendar_of
from api.wire import DAYS, Date, Id
from api.worklist.service import assess, assess_venue, mark_venues

router = APIRouter(prefix="/v1", tags=["schedules"], route_class=Route)

CollectorDep = Annotated[Asker, allow("collector")]
ReaderDep = Annotated[Asker, allow("collector", "accountant")]
VenueReaderDep = Annotated[Asker, allow("collector", "accountant", "venue")]
ValidateOnly = Annotated[bool, Query(description="Check and answer as if it were stored, but store nothing.")]


@router.post("/venues/{venue_id}/schedules", status_code=201, responses=problems(409))
def publish_schedule(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    venue_id: Id,
    schedule: ScheduleIn,
    response: Response,
    validate_only: ValidateOnly = False,
) -> ScheduleOut:
    """Publish a venue's schedule: it holds from its date, or from now if that is later."""
    _preview(session, response, validate_only)
    row = service.publish_for_venue(session, venue_id, schedule, now=now)
    assess_venue(session, venue_id, now=now)
    return schedule_out(row)


@router.post("/tables/{table_id}/schedules", status_code=201, responses=problems(409))
def publish_table_schedule(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    table_id: Id,
    schedule: TableScheduleIn,
    response: Response,
    validate_only: ValidateOnly = False,
) -> ScheduleOut:
    """Publish a table's own schedule, which beats its venue's, or let it follow the venue again."""
    _preview(session, response, validate_only)
    row = service.publish_for_table(session, table_id, schedule, now=now)
    assess(session, [table_id], now=now)
    return schedule_out(row)


@router.get("/venues/{venue_id}/schedules", responses=problems())
def list_schedules(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: ReaderDep,
    venue_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> ListOut[ScheduleOut]:
    """List the schedules of a venue and of its tables in the order of their publication."""
    found = service.page_schedules(session, venue_id, limit=limit, after=after)
    link_next(request, response, found.next)
    return ListOut(items=[schedule_out(row) for row in found.rows], next=found.next)


@router.get("/venues/{venue_id}/week", responses=problems(409))
def get_week(
    session: SessionDep,
    asker: VenueReaderDep,
    now: NowDep,
    venue_id: Id,
    on: Annotated[Date | None, Query(description="A trading date of the week; without it, today's.")] = None,
    table_id: Annotated[Id | None, Query(description="A table at the venue, instead of the venue itself.")] = None,
    basis: Annotated[Basis | None, Query(description="Of a table: what is listed, or what is keyed (default).")] = None,
) -> WeekOut:
    """Resolve the trading week of a date: which entry and which tariff holds when."""
    asker.must_see_venue(venue_id)
    place = service.place_of_venue(session, venue_id)
    calendar = calendar_of(place.venue)
    on = on or calendar.trading_day(now)
    if table_id is not None:
        place = service.place_at_venue(session, place.venue, table_id, at=calendar.day_starts(on + timedelta(days=1)))
    chosen: Basis = basis or ("listed" if table_id is None else "keyed")
    week = service.timetable(session, place, chosen).week(on)
    days = [
        WeekDayOut(on=day, day=DAYS[day.weekday()], spans=[_span_out(span, calendar) for span in spans])
        for day, spans in week.items()
    ]
    return WeekOut(venue_id=venue_id, table_id=table_id, basis=chosen, days=days)


@router.post("/tariffs/{tariff_id}/rollout", status_code=201, responses=problems(409))
def roll_out_tariff(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    tariff_id: Id,
    rollout: RolloutIn,
    response: Response,
    validate_only: ValidateOnly = False,
) -> RolloutOut:
    """Publish new schedules wherever this tariff would be in force from a date on, with another in its place."""
    _preview(session, response, validate_only)
    rows = service.roll_out(session, tariff_id, rollout, now=now)
    mark_venues(session, {row.venue_id for row in rows})
    return RolloutOut(
        tariff=tariff_id,
        replacement=rollout.replacement,
        effective_on=rollout.effective_on,
        schedules=[schedule_out(row) for row in rows],
    )


@router.post("/tables/{table_id}/keyings", status_code=201, responses=problems(409))
def record_keying(session: SessionDep, asker: CollectorDep, now: NowDep, table_id: Id, keying: KeyingIn) -> KeyingOut:
    """Record that a schedule was keyed into a table: the table sells by it from then on."""
    row = service.record_keying(session, table_id, keying, now=now)
    assess(session, [table_id], now=now)
    return service.keying_out(row)


@router.get("/tables/{table_id}/keyings", responses=problems())
def list_keyings(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: ReaderDep,
    table_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> ListOut[KeyingOut]:
    """List what was keyed into a table, by whom and when."""
    found = service.page_keyings(session, table_id, limit=limit, after=after)
    link_next(request, response, found.next)
    return ListOut(items=[service.keying_out(row) for row in found.rows], next=found.next)


def _preview(session: SessionDep, response: Response, validate_only: bool) -> None:
    """Make the request a preview, answered with 200, if it asks for one."""
    if validate_only:
        discard(session)
        response.status_code = 200


def _span_out(span: Span, calendar: Calendar) -> SpanOut:
    """Write a span of a trading day with the venue's wall clock."""
    assert span.from_at is not None
    assert span.to_at is not None
    start, end = calendar.local(span.from_at), calendar.local(span.to_at)
    tariff = span.tariff
    return SpanOut(
        from_at=start,
        to_at=end,
        from_local=start.time(),
        to_local=end.time(),
        name=span.name,
        kind=span.kind,
        of=span.of,
        schedule_id=span.schedule_id,
        tariff=tariff and TariffRefOut(id=tariff.id, code=tariff.code, version=tariff.version),
    )
