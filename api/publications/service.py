"""What publishing a schedule says: to each controller that it reaches, and about its own windows (S6).

- A schedule reaches the tables for which it is listed, now or from a coming date: those that stand at its venue and have
  no schedule of their own in its place, or its one table.
- Days to key by hand are looked for in the four weeks from the date on which it takes effect, or from today.
- Nothing here refuses: a schedule that no controller can hold is published, and says what will be sold in its place.
"""

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session, col, select

from ..controllers.convert import cannot_hold_out
from ..controllers.day_keyings import day_keyings
from ..controllers.service import DATES_AHEAD, wanted
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import controller_of_table
from ..schedules.convert import schedule_out
from ..schedules.overlaps import overlaps
from ..schedules.queries import Place, compile_schedule, listed_at
from ..schedules.rows import ScheduleRow
from ..venues.service import calendar_of, get_venue
from .schemas import DayKeyingOut, PublishedOut, ScheduleAdviceOut, TableLimitsOut


def published(session: Session, row: ScheduleRow, *, now: datetime) -> PublishedOut:
    """Return a schedule as published, with what the tables that it reaches cannot hold."""
    sent = {name: getattr(schedule_out(row), name) for name in type(schedule_out(row)).model_fields}
    if row.follow_venue:
        return PublishedOut(**sent, tables=[], advice=[])
    schedule = compile_schedule(session, row, get_venue(session, row.venue_id))
    advice = [
        ScheduleAdviceOut(code="windows_overlap", detail=found.detail, entries=[f"weekly[{i}]" for i in found.places])
        for found in overlaps(schedule)
    ]
    limits = (_limits(session, place, row, now=now) for place in _reached(session, row))
    return PublishedOut(**sent, tables=[found for found in limits if found is not None], advice=advice)


def _limits(session: Session, place: Place, row: ScheduleRow, *, now: datetime) -> TableLimitsOut | None:
    """Return what a table's controller cannot hold of a schedule; None where it holds everything."""
    assert place.table is not None
    currency = place.venue.currency
    controller = controller_of_table(place.table, currency)
    schedule = compile_schedule(session, row, place.venue)
    first_on = max(row.effective_on, calendar_of(place.venue).trading_day(now))

    fitted = wanted(schedule, controller, currency=currency, on=first_on)
    days = day_keyings(schedule, controller, currency=currency, first_on=first_on, last_on=first_on + DATES_AHEAD)

    if not (fitted.cannot_hold or days):
        return None
    turns_at = controller.day_turns_at
    return TableLimitsOut(
        table_id=place.table.id,
        label=place.table.label,
        cannot_hold=[cannot_hold_out(found, turns_at=turns_at, currency=currency) for found in fitted.cannot_hold],
        key_by_hand=[
            DayKeyingOut(on=day.on, key_on=day.key_on, back_on=day.back_on, names=list(day.names)) for day in days
        ],
    )


def _reached(session: Session, row: ScheduleRow) -> Iterator[Place]:
    """Yield the tables for which a schedule is listed at some time, by their stay there now."""
    venue = get_venue(session, row.venue_id)
    query = (
        select(PoolTableRow, StayRow)
        .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
        .where(StayRow.venue_id == venue.id, col(StayRow.to_at).is_(None))
        .order_by(col(PoolTableRow.id))
    )
    for table, stay in session.exec(query).all():
        place = Place(venue, table, stay)
        stretches = listed_at(session, place).stretches
        if any(stretch.schedule is not None and stretch.schedule.id == str(row.id) for stretch in stretches):
            yield place
