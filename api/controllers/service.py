"""The settings sheet of a table: gathered from its schedules, its controller, what was keyed and what was found.

- The sheet is for the schedule that is listed on a trading date; without a date for the one in force, or, before the
  first, for the one that comes first.
- A table whose operator states nothing of its controller has no limits, and a setting for free play.
- Dates and recurring events are on the sheet for four weeks from its date.
- The plan starts from what was keyed last into the table, with what a reading found since; a new board is blank.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from ..pool_tables.controller import Controller
from ..pool_tables.schemas import CautionOut
from ..pool_tables.service import controller_of_table, get_table, stays_of
from ..pricing import DomainError, Schedule, Stretch, Timetable
from ..pricing.in_force import Keying, keyed
from ..readings.queries import history
from ..schedules.queries import Place, compile_schedule, listed_at, place_of_table
from ..schedules.rows import ScheduleRow
from ..store.clock import FUTURE_ALLOWED, new_id
from ..venues.service import calendar_of, get_venue
from ..web.errors import Problem, refused
from ..web.pagination import Page, page
from ..web.schema_types import given
from .controller_prices import Instead, sold_instead
from .current_settings import standing
from .fit import Held, hold
from .plan import plan
from .rows import KeyingRow
from .schemas import Basis, KeyingIn, KeyingOut, SheetOut, StartsFrom
from .sheet import SheetShape, read_days, sheet, to_json
from .week_settings import Day, WeekSettings, listed_week, occasions


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


DATES_AHEAD = timedelta(days=28)


@dataclass(frozen=True, slots=True)
class Standing:
    """What a table's controller holds now, where that is known, and how it is known."""

    week: WeekSettings | None
    starts_from: StartsFrom
    schedule_id: UUID | None


def sheet_of(place: Place) -> Callable[[Timetable, datetime], Instead | None] | None:
    """Return what tells what a table sells instead of what its timetable says; None where no controller is stated."""
    if place.table is None or place.table.profile.get("controller") is None:
        return None
    currency = place.venue.currency
    return partial(sold_instead, controller=controller_of_table(place.table, currency), currency=currency)


def wanted(schedule: Schedule, controller: Controller, *, currency: str, on: date) -> Held:
    """Return what a controller must hold of a schedule, with the dates of the four weeks from a trading date on."""
    return hold(
        listed_week(schedule, turns_at=controller.day_turns_at),
        controller,
        currency=currency,
        occasions=occasions(schedule, first_on=on, last_on=on + DATES_AHEAD),
    )


def settings_sheet(
    session: Session, table_id: UUID, *, on: date | None, now: datetime, cautions: Sequence[CautionOut]
) -> SheetOut:
    """Return a table's sheet for the schedule listed on a trading date, or now.

    Refuses a table in the workshop (``not_at_a_venue``) and a date before the first schedule (``no_schedule_yet``).
    """
    place = place_of_table(session, table_id, at=now)
    assert place.table is not None
    currency = place.venue.currency
    controller = controller_of_table(place.table, currency)
    stretch = _listed_on(listed_at(session, place), on, now=now)
    assert stretch.schedule is not None
    first_on = on or calendar_of(place.venue).trading_day(max(now, stretch.from_at))
    held = wanted(stretch.schedule, controller, currency=currency, on=first_on)
    stands = _standing(session, place, controller, now=now)
    steps = plan(held.week, controller, currency=currency, current=stands.week)
    shape = sheet(held, steps, controller, currency=currency)
    return _sheet_out(place, stretch, shape, stands, cautions)


def found_days(row: Any, controller: Controller, currency: str) -> tuple[Day, ...]:
    """Return the settings that a reading found; none where they cannot be a controller's."""
    try:
        return read_days(row.settings, turns_at=controller.day_turns_at, currency=currency)
    except DomainError:
        return ()


def _listed_on(timetable: Timetable, on: date | None, *, now: datetime) -> Stretch:
    """Return what is listed when a trading date ends, or now; without a date else what comes first."""
    until = now if on is None else timetable.calendar.day_starts(on + timedelta(days=1)) - timedelta(microseconds=1)
    listed = [stretch for stretch in timetable.stretches if stretch.schedule is not None]
    begun = [stretch for stretch in listed if stretch.from_at <= until]
    if begun:
        return begun[-1]
    if on is None and listed:
        return listed[0]
    raise Problem("no_schedule_yet")


def _standing(session: Session, place: Place, controller: Controller, *, now: datetime) -> Standing:
    assert place.table is not None
    table_id, currency = place.table.id, place.venue.currency
    keying = session.exec(
        select(KeyingRow)
        .where(KeyingRow.pool_table_id == table_id)
        .order_by(col(KeyingRow.keyed_at).desc(), col(KeyingRow.id).desc())
        .limit(1)
    ).first()
    since = keying.keyed_at if keying else stays_of(session, table_id)[0].from_at
    blank_since = _new_board_since(session, table_id, since=since)
    week = None
    if keying is not None and blank_since is None:
        week = _keyed_week(session, keying, controller, currency)
    found = history(session, [table_id], "settings", since=blank_since or since, most=1)[table_id]
    days = found_days(found[-1], controller, currency) if found and found[-1].taken_at <= now else ()
    stands = standing(week, days, controller)
    if stands is None:
        return Standing(None, "blank", None)
    starts_from: StartsFrom = "keyed" if stands == week else "found"
    return Standing(stands, starts_from, keying.schedule_id if keying and week else None)


def _new_board_since(session: Session, table_id: UUID, *, since: datetime) -> datetime | None:
    rows = history(session, [table_id], "done", since=since, most=50)[table_id]
    return next((row.taken_at for row in reversed(rows) if "board_replaced" in row.done), None)


def _keyed_week(session: Session, keying: KeyingRow, controller: Controller, currency: str) -> WeekSettings:
    row = session.get_one(ScheduleRow, keying.schedule_id)
    venue = get_venue(session, row.venue_id)
    keyed_on = calendar_of(venue).trading_day(keying.keyed_at)
    schedule = compile_schedule(session, row, venue)
    return wanted(schedule, controller, currency=currency, on=keyed_on).week


def _sheet_out(
    place: Place, stretch: Stretch, shape: SheetShape, stands: Standing, cautions: Sequence[CautionOut]
) -> SheetOut:
    assert place.table is not None
    assert stretch.schedule is not None
    values = to_json(shape)
    steps = {name: values.pop(name) for name in ("steps", "counts", "shortest")}
    return SheetOut.model_validate(
        {
            **values,
            "table_id": place.table.id,
            "venue_id": place.venue.id,
            "currency": place.venue.currency,
            "schedule_id": UUID(stretch.schedule.id),
            "schedule_of": stretch.of,
            "holds_from": stretch.from_at,
            "plan": {"starts_from": stands.starts_from, "starts_from_schedule_id": stands.schedule_id, **steps},
            "cautions": list(cautions),
        }
    )
