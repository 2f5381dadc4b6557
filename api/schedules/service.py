"""Schedules and keyings in the database, and the timetables that answer what holds when.

- Schedules are published, never changed (W6); compiled once and kept, since they never change.
- A table's own schedule belongs to its present stay; a keying to the stay in which it was made (W6, W8).
- On a snapshot the same functions return drafts: what would be stored, with nothing locked or stored.
- A roll-out publishes new schedules wherever a tariff would otherwise be in force on or after a date.
"""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import Any
from uuid import UUID

from pydantic import MISSING
from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import Fault
from ..pricing.effort import Effort
from ..store.clock import new_id
from ..store.db import is_snapshot, work_of
from ..store.sequence import Recorded, next_number
from ..tariffs.service import get_tariff
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue, lock_venue, must_be_of_the_route
from ..web.errors import Problem, http_problem
from ..web.schema_types import value_or
from .convert import named_tariffs, read_schedule, with_replacement
from .queries import PriceContext, _tariffs, keep_compiled, listed_at, place_of_table
from .rows import ScheduleRow
from .schemas import RolloutIn, ScheduleIn, TableScheduleIn

_STEPS_OF_AN_ENTRY = 3_500
"""Of a schedule that is stored among others, and judged for one controller."""


def publish_for_venue(session: Session, venue_id: UUID, schedule: ScheduleIn, *, now: datetime) -> ScheduleRow:
    """Publish a schedule of a venue; refuse (``venue_left``) one that begins after it has left the route."""
    venue = lock_venue(session, venue_id)
    must_be_of_the_route(venue, where="effective_on", on=schedule.effective_on)
    return publish_at(session, PriceContext(venue), schedule, now=now)


def publish_for_table(session: Session, table_id: UUID, message: TableScheduleIn, *, now: datetime) -> ScheduleRow:
    """Publish a schedule of a table's own, for its present stay, or end it (``follow_venue``)."""
    place = place_of_table(session, table_id, at=now)
    lock_venue(session, place.venue.id)
    if value_or(message.follow_venue, False):
        entries = message.model_dump(exclude={"effective_on", "follow_venue"})
        if entries:
            raise http_problem(
                "invalid", where=next(iter(entries)), found="an entry", expected="no entry beside follow_venue"
            )
        return _store(session, place, terms={}, effective_on=message.effective_on, follow_venue=True, now=now)
    if message.base is MISSING:
        raise http_problem(
            "invalid", where="base", found="nothing", expected="a tariff's id, null, or follow_venue: true"
        )
    values = message.model_dump(by_alias=True, exclude={"follow_venue"})
    return publish_at(session, place, ScheduleIn.model_validate(values), now=now)


def roll_out(session: Session, tariff_id: UUID, rollout: RolloutIn, *, now: datetime) -> list[ScheduleRow]:
    """Publish a replacement of every schedule by which a tariff would be in force on or after a date.

    A schedule that takes over later and names the tariff is replaced from its own date on. Refuses more schedules than can
    be stored and judged at once (``too_much_work``, E4).
    """
    tariff = get_tariff(session, tariff_id)
    replacement = get_tariff(session, rollout.replacement, what="replacement")
    if tariff.currency != replacement.currency:
        raise http_problem(
            "currency_differs", where="replacement", found=replacement.currency, expected=tariff.currency
        )
    if tariff.id == replacement.id:
        raise http_problem("invalid", where="replacement", found=tariff_id, expected="another tariff")
    if rollout.venue_ids is MISSING:
        venues = list(session.exec(select(VenueRow).order_by(col(VenueRow.id))).all())
    else:
        venues = [get_venue(session, venue_id) for venue_id in sorted(set(rollout.venue_ids))]
    for venue in venues:
        lock_venue(session, venue.id)
    published: list[ScheduleRow] = []
    work = work_of(session)
    for place, row in schedules_from(session, venues, effective_on=rollout.effective_on, now=now):
        terms = with_replacement(row.terms, tariff=tariff.id, replacement=replacement.id)
        if terms != row.terms:
            schedule = ScheduleIn.model_validate({**terms, "effective_on": max(row.effective_on, rollout.effective_on)})
            spend_on(schedule, work)
            published.append(publish_at(session, place, schedule, now=now))
    return published


def spend_on(schedule: ScheduleIn, work: Effort) -> None:
    """Count the work of a schedule that is published beside others; refuse too many (``too_much_work``)."""
    entries = 1 + sum(len(value_or(some, [])) for some in (schedule.weekly, schedule.recurring, schedule.dates))
    smaller = "name fewer venues at once, or list fewer windows and dates"
    work.spend(_STEPS_OF_AN_ENTRY * entries, where="venue_ids", smaller=smaller)


def schedules_from(
    session: Session, venues: Iterable[VenueRow], *, effective_on: date, now: datetime
) -> Iterator[tuple[PriceContext, ScheduleRow]]:
    """Yield the schedules of some venues, and of tables there, that hold on a trading date or take over later."""
    for place in _places_with_schedules(session, venues):
        for row in _would_hold(session, place, effective_on, now=now):
            yield place, row


def publish_at(session: Session, place: PriceContext, message: ScheduleIn, *, now: datetime) -> ScheduleRow:
    """Check a schedule against its tariffs, its venue's currency and the rules of the week; store it."""
    named = named_tariffs(message)
    tariffs = _tariffs(session, named.values(), keep=True)
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
    id = new_id()
    keep_compiled(id, read_schedule(message, id=id, tariffs=tariffs, day_starts_at=place.venue.day_starts_at))
    terms = message.model_dump(mode="json", by_alias=True, exclude={"effective_on"})
    return _store(session, place, id=id, terms=terms, effective_on=message.effective_on, follow_venue=False, now=now)


def _store(
    session: Session, place: PriceContext, *, now: datetime, id: UUID | None = None, **values: Any
) -> ScheduleRow:
    is_draft = is_snapshot(session)
    recorded = Recorded(0, now) if is_draft else next_number(session, "schedules", now=now)
    row = ScheduleRow(
        id=id or new_id(),
        sequence=recorded.number,
        venue_id=place.venue.id,
        pool_table_id=place.table.id if place.table else None,
        stay_id=place.stay.id if place.stay else None,
        published_at=recorded.at,
        **values,
    )
    if is_draft:
        return row
    place.venue.has_schedule = True
    session.add(row)
    session.flush()
    return row


def _places_with_schedules(session: Session, venues: Iterable[VenueRow]) -> Iterable[PriceContext]:
    """Yield the venues, and the tables now there that have schedules of their own."""
    for venue in venues:
        yield PriceContext(venue)
        query = (
            select(PoolTableRow, StayRow)
            .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
            .where(StayRow.venue_id == venue.id, col(StayRow.to_at).is_(None))
            .where(col(StayRow.id).in_(select(ScheduleRow.stay_id).where(col(ScheduleRow.stay_id).is_not(None))))
            .order_by(col(PoolTableRow.id))
        )
        for table, stay in session.exec(query).all():
            yield PriceContext(venue, table, stay)


def _would_hold(session: Session, place: PriceContext, effective_on: date, *, now: datetime) -> list[ScheduleRow]:
    """Return the place's own schedules that hold on a trading date, or now if that is later, or take over later."""
    at = max(calendar_of(place.venue).day_starts(effective_on), now)
    owner = "venue" if place.table is None else "table"
    stretches = listed_at(session, place).stretches
    held = [stretch for stretch in stretches if stretch.from_at <= at][-1:]
    later = [stretch for stretch in stretches if stretch.from_at > at]
    ids = dict.fromkeys(UUID(s.schedule.id) for s in held + later if s.schedule is not None and s.of == owner)
    return [session.get_one(ScheduleRow, id_) for id_ in ids]
