"""Sets of dates, and publishing them onto many venues at once (A6).

- Each schedule that holds on the date, or takes over later, gets a new version that keeps everything else: the
  venue's, and those that its tables have of their own. Where a date is stated already, nothing changes.
- The same call again publishes nothing. Nothing is ever published by itself.
- Locks: the venues, in the order of their ids; a set by its name.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pydantic import MISSING
from sqlmodel import Session, col, select

from ..pricing import Fault
from ..schedules.rows import ScheduleRow
from ..schedules.schemas import ScheduleIn
from ..schedules.service import publish_at, schedules_from
from ..store.changes import note_venues
from ..store.db import lock
from ..venues.rows import VenueRow
from ..venues.service import lock_venue, must_be_of_the_route
from ..web.errors import Problem, http_problem, not_found
from ..web.schema_types import value_or
from .added_dates import AddedDates, add_dates
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


def list_date_sets(session: Session) -> Sequence[DateSetRow]:
    """Return all sets of dates, by name."""
    return session.exec(select(DateSetRow).order_by(col(DateSetRow.name))).all()


def dates_of(row: DateSetRow) -> tuple[NamedDate, ...]:
    """Return the dates of a set."""
    return tuple(NamedDate(date.fromisoformat(one["on"]), one["name"]) for one in row.dates)


def publish_dates(
    session: Session, message: DatesPublicationIn, *, now: datetime
) -> tuple[tuple[NamedDate, ...], list[VenueDates]]:
    """Add dates to the schedules of some venues from a trading date on; return the dates, and what became of each venue."""
    dates = _asked(session, message)
    venues = [lock_venue(session, venue_id) for venue_id in sorted(set(message.venue_ids))]
    for venue in venues:
        must_be_of_the_route(venue, where="venue_ids", on=message.effective_on)
    done = [_publish_at_venue(session, venue, message, dates, now=now) for venue in venues]
    note_venues(session, [one.venue.id for one in done if one.published])
    return dates, done


def _publish_at_venue(
    session: Session, venue: VenueRow, message: DatesPublicationIn, dates: Iterable[NamedDate], *, now: datetime
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
            schedule = ScheduleIn.model_validate({**decided.terms, "effective_on": from_on})
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
