"""Sets of dates, and publishing them onto many venues at once (A6).

- Each schedule that holds on the date, or takes over later, gets a new version that keeps everything else: the
  venue's, and those that its tables have of their own. Where a date is stated already, nothing changes.
- The same call again publishes nothing. Nothing is ever published by itself.
- A calendar is published onto one venue in the same way. Its name and the UIDs of its events are kept in the entries, so
  that the next import replaces what it brought; the same file again publishes nothing.
- Locks: the venues, in the order of their ids; a set by its name.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from pydantic import MISSING
from sqlmodel import Session, col, select

from ..pricing import Fault
from ..pricing.effort import Effort
from ..pricing.trading_day import zone_named
from ..schedules.rows import ScheduleRow
from ..schedules.schemas import ENTRIES_MAX_BY_KIND, ScheduleIn
from ..schedules.service import publish_at, schedules_from, spend_on
from ..store.db import lock, work_of
from ..venues.rows import VenueRow
from ..venues.service import lock_venue, must_be_of_the_route
from ..web.errors import Problem, http_problem, not_found
from ..web.schema_types import value_or
from .added_dates import AddedDates, add_dates
from .calendar_entries import ReadEvent, VenueClock, entries_of, with_calendar
from .calendar_file import read_calendar_file
from .public_holidays import NamedDate, public_holidays
from .rows import DateSetRow
from .schemas import DateSetIn, DatesPublicationIn

_OF_HOLIDAYS = ("region", "from_on", "to_on", "days", "language")


@dataclass(frozen=True, slots=True)
class VenueDates:
    """What became of a venue: its new schedules with what each adds, the dates kept, and whether it has any schedule."""

    venue: VenueRow
    published: tuple[tuple[ScheduleRow, AddedDates], ...]
    kept: tuple[NamedDate, ...]
    has_schedule: bool


def put_date_set(session: Session, message: DateSetIn, *, now: datetime) -> DateSetRow:
    """Store a set of dates in place of the one of this name; published schedules keep their dates."""
    twice = [
        one.on for place, one in enumerate(message.dates) if one.on in {other.on for other in message.dates[:place]}
    ]
    if twice:
        raise Problem("invalid", errors=[Fault("invalid", "dates", f"{on} twice", "each date once") for on in twice])
    lock(session, f"date_set:{message.name}")
    dates = sorted(message.model_dump(mode="json")["dates"], key=lambda one: str(one["on"]))
    row = session.merge(DateSetRow(name=message.name, dates=dates, changed_at=now))
    session.flush()
    return row


def delete_date_set(session: Session, name: str) -> None:
    """Delete a set of dates; schedules published from it keep their dates."""
    lock(session, f"date_set:{name}")
    row = session.get(DateSetRow, name)
    if row is None:
        raise not_found("set of dates")
    session.delete(row)
    session.flush()


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarToImport:
    """A calendar by its name, the tariff that holds during its events, and from which trading date."""

    name: str
    tariff: UUID
    effective_on: date
    lines: bool


@dataclass(frozen=True, slots=True)
class ImportedCalendar:
    """What became of a calendar: its events, what became of each UID, what is gone, the schedules, and whether any is refused."""

    reads: tuple[ReadEvent, ...]
    became: dict[str, str]
    gone: dict[str, str]
    published: tuple[ScheduleRow, ...]
    is_refused: bool


def import_calendar(
    session: Session, venue_id: UUID, content: bytes, asked: CalendarToImport, *, now: datetime
) -> ImportedCalendar:
    """Put a calendar's events onto the schedules of a venue from a trading date on, in place of what it brought before.

    Refuses what is no calendar (``bad_calendar``), a venue without a schedule then (``no_schedule_yet``), and more entries than
    a schedule holds (``too_many_entries``). With a refused event and without ``lines`` the caller must store nothing.
    """
    events = read_calendar_file(content)
    venue = lock_venue(session, venue_id)
    must_be_of_the_route(venue, where="query.effective_on", on=asked.effective_on)
    found = [
        (place, row)
        for place, row in schedules_from(session, [venue], effective_on=asked.effective_on, now=now)
        if not row.follow_venue
    ]
    if not found:
        raise Problem("no_schedule_yet", "The venue has no schedule on that date. Publish one first.")

    clock = VenueClock(zone_named(venue.time_zone), venue.day_starts_at)
    reads = entries_of(events, clock, from_on=asked.effective_on)
    decided = [
        (
            place,
            row,
            *with_calendar(row.terms, asked.name, reads, tariff=str(asked.tariff), day_starts_at=venue.day_starts_at),
        )
        for place, row in found
    ]

    published, work = [], work_of(session)
    for place, row, terms, _ in decided:
        if terms != row.terms:
            schedule = _schedule({**terms, "effective_on": max(row.effective_on, asked.effective_on)})
            spend_on(schedule, work)
            published.append(publish_at(session, place, schedule, now=now))
    _, of_venue, _, became = next((one for one in decided if one[0].table is None), decided[0])
    names = {
        entry["uid"]: entry["name"]
        for kind in ("recurring", "dates")
        for entry in of_venue.terms.get(kind, ())
        if entry.get("calendar") == asked.name and "uid" in entry
    }
    in_file = {event.uid for event in events}
    gone = {uid: name for uid, name in sorted(names.items()) if uid not in in_file}
    is_refused = any(read.outcome == "refused" for read in reads) and not asked.lines
    return ImportedCalendar(reads, became, gone, tuple(published), is_refused)


def _schedule(terms: dict[str, Any]) -> ScheduleIn:
    """Return the message of a schedule's terms; refuse (``too_many_entries``) more than a schedule holds."""
    for kind, most in ENTRIES_MAX_BY_KIND.items():
        if len(terms.get(kind, ())) > most:
            raise http_problem("too_many_entries", where=kind, found=len(terms[kind]), expected=f"at most {most}")
    return ScheduleIn.model_validate(terms)


def list_date_sets(session: Session) -> Sequence[DateSetRow]:
    """Return all sets of dates, by name."""
    return session.exec(select(DateSetRow).order_by(col(DateSetRow.name))).all()


def dates_of(row: DateSetRow) -> tuple[NamedDate, ...]:
    """Return the dates of a set."""
    return tuple(NamedDate(date.fromisoformat(one["on"]), one["name"]) for one in row.dates)


def publish_dates(
    session: Session, message: DatesPublicationIn, *, now: datetime
) -> tuple[tuple[NamedDate, ...], list[VenueDates]]:
    """Add dates to the schedules of some venues from a trading date on; return the dates, and what became of each venue.

    Refuses more schedules than can be stored and judged at once (``too_much_work``, E4).
    """
    dates = _asked(session, message)
    venues = [lock_venue(session, venue_id) for venue_id in sorted(set(message.venue_ids))]
    for venue in venues:
        must_be_of_the_route(venue, where="venue_ids", on=message.effective_on)
    work = work_of(session)
    done = [_publish_at_venue(session, venue, message, dates, now=now, work=work) for venue in venues]
    return dates, done


def _publish_at_venue(
    session: Session,
    venue: VenueRow,
    message: DatesPublicationIn,
    dates: Iterable[NamedDate],
    *,
    now: datetime,
    work: Effort,
) -> VenueDates:
    published: list[tuple[ScheduleRow, AddedDates]] = []
    kept: dict[date, NamedDate] = {}
    found = list(schedules_from(session, [venue], effective_on=message.effective_on, now=now))
    for place, row in found:
        if row.follow_venue:
            continue
        decided = add_dates(
            row.terms,
            [one for one in dates if one.on >= max(row.effective_on, message.effective_on)],
            tariff=None if message.tariff is None else str(message.tariff),
            start=_time(message.from_),
            end=_time(message.to),
        )
        kept |= {one.on: one for one in decided.kept}
        if decided.added:
            from_on = max(row.effective_on, message.effective_on)
            schedule = _schedule({**decided.terms, "effective_on": from_on})
            spend_on(schedule, work)
            published.append((publish_at(session, place, schedule, now=now), decided))
    return VenueDates(venue, tuple(published), tuple(kept[on] for on in sorted(kept)), bool(found))


def _time(at: object) -> str | None:
    return None if at is MISSING else f"{at:%H:%M}"


def _asked(session: Session, message: DatesPublicationIn) -> tuple[NamedDate, ...]:
    """Return the dates that are asked for: of a set, or of a country; refuse both, and neither."""
    name, country = value_or(message.date_set, None), value_or(message.country, None)
    if (name is None) == (country is None):
        found = "both" if name is not None else "neither"
        raise http_problem("invalid", where="date_set", found=found, expected="one of date_set and country")
    if country is not None:
        from_on = value_or(message.from_on, message.effective_on)
        return public_holidays(
            country,
            value_or(message.region, None),
            from_on=from_on,
            to_on=value_or(message.to_on, from_on + timedelta(days=365)),
            days=value_or(message.days, "actual"),
            language=value_or(message.language, None),
        )
    beside = [field for field in _OF_HOLIDAYS if getattr(message, field) is not MISSING]
    if beside:
        raise http_problem("invalid", where=beside[0], found="a value", expected="none beside date_set")
    row = session.get(DateSetRow, name)
    if row is None:
        raise not_found("date set")
    return dates_of(row)
