"""HTTP for sets of dates, public holidays, and their publication."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Query, Response
from sqlmodel import Session

from ..publications.service import JudgedBefore, Published, judge
from ..schedules.schemas import CalendarName
from ..store.changes import note_venues
from ..store.db import mark_preview
from ..web.auth import OwnerDep, StaffDep
from ..web.dependencies import (
    BYTES_TYPE,
    FileDep,
    NowDep,
    PreviewDep,
    PreviewParam,
    SentFile,
    SessionDep,
    judged_before,
    takes_file,
)
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id, Name
from . import service
from .convert import event_out, gone_out
from .public_holidays import Days, NamedDate, public_holidays
from .rows import DateSetRow
from .schemas import (
    CalendarImportOut,
    CalendarMode,
    DatedScheduleOut,
    DateSetIn,
    DateSetOut,
    DateSetsOut,
    DatesPublicationIn,
    DatesPublicationOut,
    NamedDateOut,
    PublicHolidaysOut,
    VenueDatesOut,
)

router = APIRouter(prefix="/v1", tags=["schedules"], route_class=Route)
CALENDAR = "text/calendar"
_FILE: dict[str, Any] = {
    "required": True,
    "description": "The bytes of an iCalendar file; the content type text/calendar is taken too.",
    "content": {BYTES_TYPE: {"schema": {"type": "string", "format": "binary"}}},
}


@router.get("/public-holidays", responses=problems())
def list_public_holidays(
    principal: StaffDep,
    country: Annotated[str, Query(pattern="^[A-Z]{2}$", description="ISO 3166-1 code, such as US.")],
    from_on: Annotated[Date, Query(description="The first date.")],
    to_on: Annotated[Date, Query(description="The last date, less than five years later.")],
    region: Annotated[
        str | None,
        Query(pattern="^[A-Za-z0-9]{1,6}$", description="The second part of an ISO 3166-2 code, such as TX."),
    ] = None,
    days: Annotated[Days, Query(description="The feasts on their own dates, or the days off for them.")] = "actual",
    language: Annotated[
        str | None, Query(pattern="^[A-Za-z_]{2,10}$", description="Of the names; English where there is any.")
    ] = None,
) -> PublicHolidaysOut:
    """List the public holidays of a country or region, as the library `holidays` has them: check them before you publish."""
    found = public_holidays(country, region, from_on=from_on, to_on=to_on, days=days, language=language)
    return PublicHolidaysOut(country=country, region=region, dates=_dates_out(found))


@router.get("/date-sets", responses=problems())
def list_date_sets(session: SessionDep, principal: StaffDep) -> DateSetsOut:
    """List your own sets of dates."""
    return DateSetsOut(items=[_set_out(row) for row in service.list_date_sets(session)])


@router.post("/date-sets", status_code=201, responses=problems())
def put_date_set(session: SessionDep, principal: OwnerDep, now: NowDep, date_set: DateSetIn) -> DateSetOut:
    """Store a set of dates under a name, in place of the one before; schedules published from it do not change."""
    return _set_out(service.put_date_set(session, date_set, now=now))


@router.delete("/date-sets", status_code=204, response_class=Response, responses=problems())
def delete_date_set(
    session: SessionDep, principal: OwnerDep, name: Annotated[Name, Query(description="The name of the set.")]
) -> None:
    """Delete a set of dates; schedules published from it do not change."""
    service.delete_date_set(session, name)


def _judge_dates(*, session: Session, now: datetime, publication: DatesPublicationIn, **_: Any) -> JudgedBefore:
    venues = service.publish_dates(session, publication, now=now)[1]
    return judge(session, [row for venue in venues for row, _ in venue.published], now=now)


@router.post("/dates-publications", status_code=201, responses=problems(409))
@judged_before(_judge_dates)
def publish_dates(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    publication: DatesPublicationIn,
    preview: PreviewDep,
) -> DatesPublicationOut:
    """Publish public holidays, or a set of your own, onto some venues as date entries; preview first.

    Each venue gets a new version of its schedule that keeps everything else, and so do tables there with a schedule of
    their own. A date that a schedule states already keeps its entry. The answer says, venue by venue, what changes and
    what the controllers cannot hold.
    """
    dates, venues = service.publish_dates(session, publication, now=now)
    note_venues(session, [venue.venue.id for venue in venues if venue.published])
    published = Published(session, now=now)
    return DatesPublicationOut(
        effective_on=publication.effective_on,
        tariff=publication.tariff,
        dates=_dates_out(dates),
        venues=[_venue_out(published, one) for one in venues],
    )


def _judge_calendar(
    *,
    session: Session,
    now: datetime,
    venue_id: UUID,
    file: SentFile,
    calendar: str,
    tariff: UUID,
    effective_on: date,
    mode: str,
    **_: Any,
) -> JudgedBefore:
    asked = service.CalendarToImport(name=calendar, tariff=tariff, effective_on=effective_on, lines=mode == "lines")
    return judge(session, service.import_calendar(session, venue_id, file.content, asked, now=now).published, now=now)


@router.post(
    "/venues/{venue_id}/calendar-imports",
    status_code=201,
    responses=problems(409),
    openapi_extra={"requestBody": _FILE},
)
@takes_file(CALENDAR, BYTES_TYPE)
@judged_before(_judge_calendar)
def import_calendar(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    response: Response,
    file: FileDep,
    venue_id: Id,
    calendar: Annotated[
        CalendarName,
        Query(description="What you call the calendar: the next import under this name replaces this one."),
    ],
    tariff: Annotated[Id, Query(description="The tariff that holds during its events.")],
    effective_on: Annotated[Date, Query(description="The trading date from which the new schedules hold.")],
    mode: Annotated[
        CalendarMode,
        Query(description="`all`: store nothing if an event is refused; `lines`: store each that is not refused."),
    ] = "all",
    preview: PreviewParam = False,
) -> CalendarImportOut:
    """Put the events of a league's calendar (an iCalendar file) onto the schedules of a venue; preview first.

    Events that repeat become recurring entries, single ones date entries, at the venue's own clock. Each schedule that holds
    on the date, or takes over later, gets a new version that keeps everything else. The same file again changes nothing; a
    changed one replaces what the calendar brought before. What an entry cannot say is refused, event by event.
    """
    asked = service.CalendarToImport(name=calendar, tariff=tariff, effective_on=effective_on, lines=mode == "lines")
    done = service.import_calendar(session, venue_id, file.content, asked, now=now)
    note_venues(session, [venue_id] if done.published else [])
    published = Published(session, now=now)
    schedules = [published.out(row) for row in done.published]
    stored = not preview and not done.is_refused
    if not stored:
        mark_preview(session)
        response.status_code = 200
    return CalendarImportOut(
        calendar=calendar,
        venue_id=venue_id,
        effective_on=effective_on,
        tariff=tariff,
        mode=mode,
        stored=stored,
        events=[
            *(event_out(read, done.became, calendar=calendar, tariff=tariff) for read in done.reads),
            *(gone_out(uid, name) for uid, name in done.gone.items()),
        ],
        schedules=schedules,
    )


def _venue_out(published: Published, done: service.VenueDates) -> VenueDatesOut:
    return VenueDatesOut(
        venue_id=done.venue.id,
        name=done.venue.name,
        outcome="published" if done.published else "unchanged" if done.has_schedule else "no_schedule",
        schedules=[
            DatedScheduleOut(schedule=published.out(row), added=_dates_out(added.added), kept=_dates_out(added.kept))
            for row, added in done.published
        ],
        kept=_dates_out(done.kept),
    )


def _dates_out(dates: Iterable[NamedDate]) -> list[NamedDateOut]:
    return [NamedDateOut(on=one.on, name=one.name) for one in dates]


def _set_out(row: DateSetRow) -> DateSetOut:
    return DateSetOut(name=row.name, dates=_dates_out(service.dates_of(row)))
