"""Record what was keyed into a table, and write its settings sheet.

- A keying is recorded once, by its sender's id where it has one, and never changed; a wrong one is voided, with a
  reason, and stays on record.
- Who records keyings holds their tables, then the counter ``keyings``: they are numbered in the order of their commits.
- Any schedule of a venue in the table's currency can be keyed, wherever the table stands: in the workshop too, and for
  a venue to which it has not moved yet. Only another table's own schedule cannot.
- The sheet is for the schedule that is listed on a trading date; without a date for the one in force, or, before the
  first, for the one that comes first. Dates and recurring events are on it for four weeks from its date.
- A table whose operator states nothing of its controller has no limits, and a setting for free play.
- The plan starts from what is known of the controller (W8), with the newest days found since.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from sqlmodel import Session

from ..pool_tables.controller import Controller
from ..pool_tables.future_instants import FUTURE_ALLOWED, must_have_come
from ..pool_tables.schemas import CautionOut
from ..pool_tables.service import controller_of_table, currency_of, get_table, must_be_on_the_route, stay_at, stays_of
from ..pricing import Schedule, Stretch, Timetable
from ..readings.queries import history
from ..schedules.queries import PriceContext, listed_at, place_of_table
from ..schedules.rows import ScheduleRow
from ..store.changes import note_tables
from ..store.clock import new_id
from ..store.db import lock, lock_each, work_of
from ..store.feeds import note_changes
from ..store.sequence import next_number
from ..venues.service import calendar_of, get_venue
from ..web.batch import BatchResultsOut, Unreadable, readable, record_each
from ..web.errors import Problem, http_problem, not_found
from ..web.schema_types import value_or
from .convert import cannot_hold_out, content_of, day_out, plan_out, stored_content
from .current_settings import laid_over
from .fit import STEPS_OF_A_PRICE, Fitted, fit, too_many_prices
from .keying_conflicts import conflicts
from .plan import plan
from .queries import days_found, machine_of
from .rows import KeyingRow, KeyingVoidRow
from .schemas import KeyingIn, SentKeyingIn, SheetOut, StartsFrom
from .sells import Machine, known_settings
from .week_settings import WeekSettings, dated_windows, listed_week

DATES_AHEAD = timedelta(days=28)
_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)

SHEET_PRICES_MAX = 5_000
"""The prices on a sheet: a full week of 14 windows a day at 50 prices each."""
SHEET_EFFECTS_MAX = 5_000
"""The amounts on a sheet that buy something else than listed: more than anybody reads."""


def record_keyings(session: Session, items: Sequence[SentKeyingIn | Unreadable], *, now: datetime) -> BatchResultsOut:
    """Record a batch of keyings, each on its own (O3)."""
    sent = readable(items)
    lock_each(session, (f"table:{keying.table_id}" for keying in sent))

    def record(keying: SentKeyingIn) -> bool:
        _, is_new = record_keying(session, keying.table_id, keying, now=now)
        return is_new

    return record_each(session, items, record, key=lambda keying: keying.keyed_at)


def record_keying(session: Session, table_id: UUID, keying: KeyingIn, *, now: datetime) -> tuple[KeyingRow, bool]:
    """Record that a schedule was keyed into a table: from then on the table sells by it (W8).

    Returns the keying, and whether it is new: one sent before under the same id is returned as it is.
    Refuses (``invalid``) an instant that has not come, a schedule that cannot be this table's, a table that has
    left the route by then (``table_gone``), and an id that was sent with other content (``same_id_other_content``).
    Locks: the table, then the counter ``keyings``.
    """
    lock(session, f"table:{table_id}")
    table = get_table(session, table_id)
    id_ = value_or(keying.id, None)
    stored = None if id_ is None else session.get(KeyingRow, id_)
    if stored is not None:
        differing = conflicts(stored=stored_content(stored), sent=content_of(table_id, keying))
        if differing:
            raise Problem("same_id_other_content", errors=differing)
        return stored, False
    must_have_come(keying.keyed_at, now=now, where="keyed_at")
    schedule = session.get(ScheduleRow, keying.schedule_id)
    if schedule is None or schedule.follow_venue or schedule.pool_table_id not in (None, table_id):
        expected = "a schedule of the table's own or of a venue"
        raise http_problem("invalid", where="schedule_id", found=keying.schedule_id, expected=expected)
    currency, asked = currency_of(session, table), get_venue(session, schedule.venue_id).currency
    if asked != currency:
        raise http_problem("currency_differs", where="schedule_id", found=asked, expected=currency)
    stay = stay_at(stays_of(session, table_id), keying.keyed_at)
    if keying.keyed_at > stay.from_at:
        must_be_on_the_route(stay, where="table_id")
    recorded = next_number(session, "keyings", now=now)
    row = KeyingRow(
        id=id_ or new_id(),
        sequence=recorded.number,
        pool_table_id=table_id,
        stay_id=stay.id,
        schedule_id=schedule.id,
        for_on=value_or(keying.for_on, None),
        keyed_at=keying.keyed_at,
        keyed_by=keying.by,
        note=value_or(keying.note, ""),
        recorded_at=recorded.at,
    )
    session.add(row)
    session.flush()
    note_tables(session, [table_id])
    note_changes(session, "keyings", [row.id], now=now)
    return row, True


def void_keying(
    session: Session, keying_id: UUID, *, reason: str, by: str, now: datetime
) -> tuple[KeyingRow, KeyingVoidRow]:
    """Note that a keying does not count; refuse (``already_void``) one that is void."""
    row = session.get(KeyingRow, keying_id)
    if row is None:
        raise not_found("keying")
    lock(session, f"keying:{keying_id}")
    if session.get(KeyingVoidRow, keying_id) is not None:
        raise Problem("already_void")
    voided_at = next_number(session, "voids", now=now).at
    void = KeyingVoidRow(keying_id=keying_id, reason=reason, voided_at=voided_at, voided_by=by)
    session.add(void)
    session.flush()
    note_tables(session, [row.pool_table_id])
    note_changes(session, "keyings", [row.id], now=now)
    return row, void


def wanted(schedule: Schedule, controller: Controller, *, currency: str, on: date) -> Fitted:
    """Return what a controller must hold of a schedule, with the dates of the four weeks from a trading date on."""
    return fit(
        listed_week(schedule, turns_at=controller.day_turns_at),
        controller,
        currency=currency,
        dated_windows=dated_windows(schedule, first_on=on, last_on=on + DATES_AHEAD),
    )


def settings_sheet(
    session: Session, table_id: UUID, *, on: date | None, now: datetime, cautions: Sequence[CautionOut]
) -> SheetOut:
    """Return a table's sheet for the schedule listed on a trading date, or now.

    Refuses a table in the workshop (``not_at_a_venue``), a date before the first schedule (``no_schedule_yet``), and a week
    of more prices, or of more differences from the listed ones, than anybody keys (``too_much_work``, E4).
    """
    place = place_of_table(session, table_id, at=now)
    assert place.table is not None
    currency = place.venue.currency
    controller = controller_of_table(place.table, currency)
    stretch = _listed_on(listed_at(session, place), on, now=now)
    assert stretch.schedule is not None
    first_on = on or calendar_of(place.venue).trading_day(max(now, stretch.from_at))
    current, starts_from = _current(session, machine_of(session, place.table), place, now=now)

    smaller = "state more prices in the table's controller, or list fewer tariffs and prices"
    steps_of_prices = STEPS_OF_A_PRICE * too_many_prices(stretch.schedule, controller)
    work_of(session).spend(steps_of_prices, where="table_id", smaller=smaller)
    fitted = wanted(stretch.schedule, controller, currency=currency, on=first_on)
    effects = sum(len(found.limitation.effects) for found in fitted.cannot_hold)
    if effects > SHEET_EFFECTS_MAX:
        raise http_problem(
            "too_much_work",
            where="table_id",
            found=f"{effects} amounts that buy something else than listed",
            expected=f"at most {SHEET_EFFECTS_MAX} on a sheet: {smaller}",
        )
    if fitted.week.price_count > SHEET_PRICES_MAX:
        raise http_problem(
            "too_much_work",
            where="table_id",
            found=f"{fitted.week.price_count} prices to key",
            expected=f"at most {SHEET_PRICES_MAX} on a sheet: state what the controller holds, or list fewer windows",
        )
    steps = plan(fitted.week, controller, currency=currency, current=current)

    turns_at = controller.day_turns_at
    return SheetOut(
        cannot_hold=[cannot_hold_out(row, turns_at=turns_at, currency=currency) for row in fitted.cannot_hold],
        table_id=place.table.id,
        venue_id=place.venue.id,
        currency=currency,
        schedule_id=UUID(stretch.schedule.id),
        schedule_of=stretch.of,
        holds_from=stretch.from_at,
        days=[day_out(day, turns_at=turns_at, currency=currency) for day in fitted.week.days],
        days_now=None
        if current is None
        else [day_out(day, turns_at=turns_at, currency=currency) for day in current.days],
        plan=plan_out(steps, starts_from, turns_at=turns_at, currency=currency),
        cautions=list(cautions),
    )


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


def _current(
    session: Session, machine: Machine, place: PriceContext, *, now: datetime
) -> tuple[WeekSettings | None, StartsFrom]:
    """Return what the controller holds now, where that is known, and how it is known."""
    assert place.table is not None
    keyed, week, found = known_settings(machine, now + FUTURE_ALLOWED)
    since = found.at if found else keyed.at if keyed else machine.blank_since(now + FUTURE_ALLOWED) or _BEFORE_ALL
    newest = [
        row
        for row in history(session, [place.table.id], "settings", since=since, rows_max=1)[place.table.id]
        if row.taken_at <= now + FUTURE_ALLOWED
    ]
    partial = days_found(newest[0], machine.controller, machine.currency) if newest else ()
    current = laid_over(week, (*(found.week.days if found else ()), *partial), machine.controller)
    if current is None:
        return None, "blank"
    return current, "keyed" if current == week else "found"
