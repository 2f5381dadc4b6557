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

from api.errors import Problem
from api.pricing import PricingError, Schedule, Stretch, Timetable
from api.readings.service import history
from api.schedules.models import KeyingRow, ScheduleRow
from api.schedules.service import Place, compile_schedule, listed_at, place_of_table
from api.sheets.controller import Controller, controller_of
from api.sheets.holding import Held, hold
from api.sheets.instead import Instead, sold_instead
from api.sheets.models import CautionOut, SheetOut, StartsFrom
from api.sheets.plan import plan
from api.sheets.shape import SheetShape, read_days, sheet, to_json
from api.sheets.standing import standing
from api.sheets.week_settings import Day, WeekSettings, listed_week, occasions
from api.venues.models import PoolTableRow
from api.venues.service import calendar_of, currency_of, get_venue, stays_of

DATES_AHEAD = timedelta(days=28)
_NOT_STATED = Controller(free=True)


@dataclass(frozen=True, slots=True)
class Standing:
    """What a table's controller holds now, where that is known, and how it is known."""

    week: WeekSettings | None
    starts_from: StartsFrom
    schedule_id: UUID | None


def controller_of_table(table: PoolTableRow, currency: str) -> Controller:
    """Return a table's controller as stated; refuse (``bad_limit`` and others) a statement that contradicts itself."""
    stated = table.profile.get("controller")
    if stated is None:
        return _NOT_STATED
    try:
        return controller_of(stated, currency)
    except PricingError as error:
        raise error.within("controller") from None


def must_be_a_controller(session: Session, table: PoolTableRow) -> None:
    """Refuse a table whose controller, as stated, contradicts itself."""
    controller_of_table(table, currency_of(session, table))


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
    except PricingError:
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
