"""Schedules and keyings in the database, and the timetables that answer what holds when.

- Schedules are published, never changed (W6); compiled once and kept, since they never change.
- A table's own schedule belongs to its present stay; a keying to the stay in which it was made (W6, W8).
- A roll-out publishes new schedules wherever a tariff would otherwise be in force on or after a date.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from pydantic import MISSING
from sqlmodel import Session, col, select

from api.clock import new_id
from api.db import hold
from api.errors import Problem, not_found, refused
from api.paging import Page, page
from api.pricing import Fault, Keying, Listing, Schedule, Tariff, Timetable, keyed, listed
from api.schedules.models import (
    Basis,
    KeyingIn,
    KeyingOut,
    KeyingRow,
    RolloutIn,
    ScheduleIn,
    ScheduleRow,
    TableScheduleIn,
)
from api.schedules.translation import named_tariffs, read_schedule, with_replacement
from api.tariffs.models import TariffRow
from api.tariffs.service import compile_tariff, get_tariff
from api.venues.models import PoolTableRow, StayRow, VenueRow
from api.venues.service import FUTURE_ALLOWED, calendar_of, get_table, get_venue, stay_at, stays_of
from api.wire import given

_COMPILED_MAX = 10_000
_compiled: dict[UUID, Schedule] = {}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a question is asked: a venue, or a table during a stay at one."""

    venue: VenueRow
    table: PoolTableRow | None = None
    stay: StayRow | None = None


def hold_venue(session: Session, venue_id: UUID) -> None:
    """Let nobody else publish for a venue or change what its schedules fix until this transaction ends."""
    hold(session, f"schedules:{venue_id}")


def has_schedule(session: Session, venue_id: UUID) -> bool:
    """Tell whether a venue, or a table there, has ever had a schedule."""
    return session.exec(select(ScheduleRow.id).where(ScheduleRow.venue_id == venue_id).limit(1)).first() is not None


def publish_for_venue(session: Session, venue_id: UUID, schedule: ScheduleIn, *, now: datetime) -> ScheduleRow:
    """Publish a schedule of a venue."""
    hold_venue(session, venue_id)
    return _publish(session, Place(get_venue(session, venue_id)), schedule, now=now)


def publish_for_table(session: Session, table_id: UUID, message: TableScheduleIn, *, now: datetime) -> ScheduleRow:
    """Publish a schedule of a table's own, for its present stay, or end it (``follow_venue``)."""
    place = place_of_table(session, table_id, at=now)
    hold_venue(session, place.venue.id)
    if given(message.follow_venue, False):
        entries = message.model_dump(exclude={"effective_on", "follow_venue"})
        if entries:
            raise refused("invalid", where=next(iter(entries)), found="an entry", expected="none beside follow_venue")
        return _store(session, place, terms={}, effective_on=message.effective_on, follow_venue=True, now=now)
    if message.base is MISSING:
        raise refused("invalid", where="base", found="nothing", expected="a tariff's id, null, or follow_venue: true")
    values = message.model_dump(by_alias=True, exclude={"follow_venue"})
    return _publish(session, place, ScheduleIn.model_validate(values), now=now)


def page_schedules(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[ScheduleRow]:
    """Return the schedules of a venue and of its tables in the order of their publication."""
    get_venue(session, venue_id)
    query = select(ScheduleRow).where(ScheduleRow.venue_id == venue_id)
    return page(session, query, key=col(ScheduleRow.id), limit=limit, after=after)


def place_of_venue(session: Session, venue_id: UUID) -> Place:
    """Return a venue as the place of a question."""
    return Place(get_venue(session, venue_id))


def place_of_table(session: Session, table_id: UUID, *, at: datetime) -> Place:
    """Return a table, and the venue where it stood at an instant; refuse (``not_at_a_venue``) the workshop."""
    return place_of_stay(session, stay_at(stays_of(session, table_id), at))


def place_at_venue(session: Session, venue: VenueRow, table_id: UUID, *, at: datetime) -> Place:
    """Return a table at a venue; ``not_found`` where it stood elsewhere just before an instant."""
    stay = stay_at(stays_of(session, table_id), at - timedelta(microseconds=1))
    if stay.venue_id != venue.id:
        raise not_found("table")
    return place_of_stay(session, stay)


def place_of_stay(session: Session, stay: StayRow) -> Place:
    """Return a table during a stay; refuse (``not_at_a_venue``) one in the workshop."""
    if stay.venue_id is None:
        raise Problem("not_at_a_venue")
    return Place(get_venue(session, stay.venue_id), get_table(session, stay.pool_table_id), stay)


def listed_at(session: Session, place: Place) -> Timetable:
    """Return what is listed at a place (W6)."""
    rows = session.exec(
        select(ScheduleRow).where(ScheduleRow.venue_id == place.venue.id).order_by(col(ScheduleRow.id))
    ).all()
    own = [row for row in rows if place.stay is not None and row.stay_id == place.stay.id]
    return listed(
        calendar_of(place.venue),
        _listings(session, place, [row for row in rows if row.stay_id is None]),
        _listings(session, place, own),
    )


def keyed_at(session: Session, place: Place, *, listed: Timetable) -> Timetable:
    """Return what the table at a place sells: what was last keyed during its stay, before that what is listed (W8)."""
    if place.stay is None:
        return listed
    query = (
        select(KeyingRow, ScheduleRow)
        .join(ScheduleRow, col(ScheduleRow.id) == col(KeyingRow.schedule_id))
        .where(KeyingRow.stay_id == place.stay.id)
        .order_by(col(KeyingRow.keyed_at), col(KeyingRow.id))
    )
    keyings = [
        Keying(
            schedule=compile_schedule(session, row, place.venue),
            keyed_at=keying.keyed_at,
            of="venue" if row.pool_table_id is None else "table",
        )
        for keying, row in session.exec(query).all()
    ]
    return keyed(listed, keyings)


def timetable(session: Session, place: Place, basis: Basis) -> Timetable:
    """Return what is listed at a place, or what its table sells."""
    at_venue = listed_at(session, place)
    return at_venue if basis == "listed" else keyed_at(session, place, listed=at_venue)


def record_keying(session: Session, table_id: UUID, keying: KeyingIn, *, now: datetime) -> KeyingRow:
    """Record that a schedule was keyed into a table: from then on the table sells by it (W8)."""
    if keying.keyed_at > now + FUTURE_ALLOWED:
        raise refused(
            "invalid", where="keyed_at", found=keying.keyed_at.isoformat(), expected="an instant that has come"
        )
    place = place_of_table(session, table_id, at=keying.keyed_at)
    schedule = session.get(ScheduleRow, keying.schedule_id)
    fits = schedule is not None and schedule.venue_id == place.venue.id and not schedule.follow_venue
    if schedule is None or not fits or schedule.pool_table_id not in (None, table_id):
        expected = "a schedule of the table's own or of the venue where it stood then"
        raise refused("invalid", where="schedule_id", found=keying.schedule_id, expected=expected)
    assert place.stay is not None
    row = KeyingRow(
        id=new_id(),
        pool_table_id=table_id,
        stay_id=place.stay.id,
        schedule_id=schedule.id,
        keyed_at=keying.keyed_at,
        keyed_by=keying.by,
        note=given(keying.note, ""),
        recorded_at=now,
    )
    session.add(row)
    session.flush()
    return row


def page_keyings(session: Session, table_id: UUID, *, limit: int, after: UUID | None) -> Page[KeyingRow]:
    """Return a table's keyings in the order in which they were recorded."""
    get_table(session, table_id)
    query = select(KeyingRow).where(KeyingRow.pool_table_id == table_id)
    return page(session, query, key=col(KeyingRow.id), limit=limit, after=after)


def keying_out(row: KeyingRow) -> KeyingOut:
    """Write a keying as its message."""
    return KeyingOut(
        id=row.id,
        table_id=row.pool_table_id,
        schedule_id=row.schedule_id,
        keyed_at=row.keyed_at,
        by=row.keyed_by,
        note=row.note,
    )


def roll_out(session: Session, tariff_id: UUID, rollout: RolloutIn, *, now: datetime) -> list[ScheduleRow]:
    """Publish a replacement of every schedule by which a tariff would be in force on or after a date.

    A schedule that takes over later and names the tariff is replaced from its own date on.
    """
    tariff = get_tariff(session, tariff_id)
    replacement = get_tariff(session, rollout.replacement, what="replacement")
    if tariff.currency != replacement.currency:
        raise refused("currency_differs", where="replacement", found=replacement.currency, expected=tariff.currency)
    if tariff.id == replacement.id:
        raise refused("invalid", where="replacement", found=tariff_id, expected="another tariff")
    if rollout.venue_ids is MISSING:
        venues = list(session.exec(select(VenueRow).order_by(col(VenueRow.id))).all())
    else:
        venues = [get_venue(session, venue_id) for venue_id in sorted(set(rollout.venue_ids))]
    for venue in venues:
        hold_venue(session, venue.id)
    published: list[ScheduleRow] = []
    for place in _places_with_schedules(session, venues):
        for row in _would_hold(session, place, rollout, now=now):
            terms = with_replacement(row.terms, tariff=tariff.id, replacement=replacement.id)
            if terms != row.terms:
                schedule = ScheduleIn.model_validate(
                    {**terms, "effective_on": max(row.effective_on, rollout.effective_on)}
                )
                published.append(_publish(session, place, schedule, now=now))
    return published


def compile_schedule(session: Session, row: ScheduleRow, venue: VenueRow) -> Schedule:
    """Return the engine's value of a published schedule; it never changes, so it is kept by its id."""
    schedule = _compiled.get(row.id)
    if schedule is None:
        if len(_compiled) >= _COMPILED_MAX:
            _compiled.clear()
        message = ScheduleIn.model_validate({**row.terms, "effective_on": row.effective_on})
        tariffs = _tariffs(session, named_tariffs(message).values())
        schedule = read_schedule(message, id=row.id, tariffs=tariffs, day_starts_at=venue.day_starts_at)
        _compiled[row.id] = schedule
    return schedule


def _listings(session: Session, place: Place, rows: Iterable[ScheduleRow]) -> list[Listing]:
    return [
        Listing(
            schedule=None if row.follow_venue else compile_schedule(session, row, place.venue),
            effective_on=row.effective_on,
            published_at=row.published_at,
        )
        for row in rows
    ]


def _tariffs(session: Session, ids: Iterable[UUID]) -> dict[UUID, Tariff]:
    rows = session.exec(select(TariffRow).where(col(TariffRow.id).in_(set(ids)))).all()
    return {row.id: compile_tariff(row) for row in rows}


def _publish(session: Session, place: Place, message: ScheduleIn, *, now: datetime) -> ScheduleRow:
    """Check a schedule against its tariffs, its venue's currency and the rules of the week; store it."""
    named = named_tariffs(message)
    tariffs = _tariffs(session, named.values())
    unknown = [
        Fault("invalid", at, str(id_), "the id of a published tariff")
        for at, id_ in named.items()
        if id_ not in tariffs
    ]
    if unknown:
        raise Problem("invalid", "The schedule names a tariff that is not published.", errors=unknown)
    currency = place.venue.currency
    foreign = [
        Fault("currency_differs", at, tariffs[id_].currency, currency)
        for at, id_ in named.items()
        if tariffs[id_].currency != currency
    ]
    if foreign:
        raise Problem("currency_differs", f"The venue sells in {currency}.", errors=foreign)
    read_schedule(message, id=new_id(), tariffs=tariffs, day_starts_at=place.venue.day_starts_at)
    terms = message.model_dump(mode="json", by_alias=True, exclude={"effective_on"})
    return _store(session, place, terms=terms, effective_on=message.effective_on, follow_venue=False, now=now)


def _store(session: Session, place: Place, *, now: datetime, **values: Any) -> ScheduleRow:
    row = ScheduleRow(
        id=new_id(),
        venue_id=place.venue.id,
        pool_table_id=place.table.id if place.table else None,
        stay_id=place.stay.id if place.stay else None,
        published_at=now,
        **values,
    )
    session.add(row)
    session.flush()
    return row


def _places_with_schedules(session: Session, venues: Iterable[VenueRow]) -> Iterable[Place]:
    """Yield the venues, and the tables that now stand there with schedules of their own."""
    for venue in venues:
        yield Place(venue)
        query = (
            select(PoolTableRow, StayRow)
            .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
            .where(StayRow.venue_id == venue.id, col(StayRow.to_at).is_(None))
            .where(col(StayRow.id).in_(select(ScheduleRow.stay_id).where(col(ScheduleRow.stay_id).is_not(None))))
            .order_by(col(PoolTableRow.id))
        )
        for table, stay in session.exec(query).all():
            yield Place(venue, table, stay)


def _would_hold(session: Session, place: Place, rollout: RolloutIn, *, now: datetime) -> list[ScheduleRow]:
    """Return the place's own schedules that hold at the roll-out's date or take over later."""
    at = max(calendar_of(place.venue).day_starts(rollout.effective_on), now)
    owner = "venue" if place.table is None else "table"
    stretches = listed_at(session, place).stretches
    held = [stretch for stretch in stretches if stretch.from_at <= at][-1:]
    later = [stretch for stretch in stretches if stretch.from_at > at]
    ids = dict.fromkeys(UUID(s.schedule.id) for s in held + later if s.schedule is not None and s.of == owner)
    return [session.get_one(ScheduleRow, id_) for id_ in ids]
