"""What publishing a schedule says: to each controller that it reaches, and about its own windows (S6).

- A schedule reaches the tables for which it is listed, now or from a coming date: those that stand at its venue and have
  no schedule of their own in its place, or its one table.
- Days to key by hand are looked for in the four weeks from the date on which it takes effect, or from today.
- Nothing here refuses: a schedule that no controller can hold is published, and says what will be sold in its place.
"""

from collections.abc import Iterator
from datetime import date, datetime
from functools import cache

from sqlmodel import Session, col, select

from ..controllers.convert import cannot_hold_out
from ..controllers.day_keyings import day_keyings
from ..controllers.fit import STEPS_OF_A_PRICE, Fitted, too_many_prices
from ..controllers.schemas import CannotHoldOut
from ..controllers.service import DATES_AHEAD, wanted
from ..pool_tables.controller import Controller
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import controller_of_table
from ..pricing import Schedule
from ..schedules.convert import schedule_out
from ..schedules.overlaps import overlaps
from ..schedules.queries import compile_schedule, listed_during, schedules_of
from ..schedules.rows import ScheduleRow
from ..store.db import work_of
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue
from ..web.errors import http_problem
from .schemas import DayKeyingOut, PublishedOut, ScheduleAdviceOut, TableLimitsOut

PUBLICATION_BYTES_MAX = 2_000_000
_STEPS_OF_AN_ENTRY = 2_500
"""Of a schedule that is stored, and again for each controller that it is fitted to."""
_STEPS_OF_AN_EFFECT = 100
"""Of an amount that buys something else, written into the answer."""
_SMALLER = "name fewer venues at once, or list fewer windows and dates"


class Published:
    """Writes the schedules that one request publishes, with what the tables that each reaches cannot hold.

    Refuses (``too_much_work``, E4) what takes too long to judge, and what takes more than ``PUBLICATION_BYTES_MAX`` to say.
    """

    def __init__(self, session: Session, *, now: datetime) -> None:
        self._session, self._now = session, now
        self._work, self._size_bytes = work_of(session), 0

    def out(self, row: ScheduleRow) -> PublishedOut:
        """Return a schedule as published."""
        written = self._write(row)
        self._size_bytes += len(written.model_dump_json())
        if self._size_bytes > PUBLICATION_BYTES_MAX:
            found = f"more than {PUBLICATION_BYTES_MAX} bytes of schedules and of what controllers cannot hold"
            raise http_problem("too_much_work", where="body", found=found, expected=_SMALLER)
        return written

    def _write(self, row: ScheduleRow) -> PublishedOut:
        session, stored = self._session, schedule_out(row)
        sent = {name: getattr(stored, name) for name in type(stored).model_fields}
        if row.follow_venue:
            return PublishedOut(**sent, tables=[], advice=[])
        venue = get_venue(session, row.venue_id)
        schedule = compile_schedule(session, row, venue)
        self._spend(schedule)
        advice = [
            ScheduleAdviceOut(
                code="windows_overlap", detail=found.detail, entries=[f"weekly[{i}]" for i in found.places]
            )
            for found in overlaps(schedule)
        ]
        first_on = max(row.effective_on, calendar_of(venue).trading_day(self._now))

        @cache
        def limits(controller: Controller) -> LimitsAndDays | None:
            self._spend(schedule)
            self._spend_steps(STEPS_OF_A_PRICE * too_many_prices(schedule, controller))
            fitted = wanted(schedule, controller, currency=venue.currency, on=first_on)
            self._spend_steps(_STEPS_OF_AN_EFFECT * sum(len(found.limitation.effects) for found in fitted.cannot_hold))
            return _limits(fitted, schedule, controller, venue.currency, first_on=first_on)

        tables = []
        for table in _reached(session, row, venue):
            if found := limits(controller_of_table(table, venue.currency)):
                cannot_hold, by_hand = list(found[0]), list(found[1])
                tables.append(
                    TableLimitsOut(table_id=table.id, label=table.label, cannot_hold=cannot_hold, key_by_hand=by_hand)
                )
        return PublishedOut(**sent, tables=tables, advice=advice)

    def _spend(self, schedule: Schedule) -> None:
        self._spend_steps(_STEPS_OF_AN_ENTRY * len(schedule.entries))

    def _spend_steps(self, steps: int) -> None:
        self._work.spend(steps, where="body", smaller=_SMALLER)


LimitsAndDays = tuple[tuple[CannotHoldOut, ...], tuple[DayKeyingOut, ...]]


def _limits(
    fitted: Fitted, schedule: Schedule, controller: Controller, currency: str, *, first_on: date
) -> LimitsAndDays | None:
    """Return what a controller cannot hold of a schedule, and the days to key by hand; None where it holds everything."""
    days = day_keyings(schedule, controller, currency=currency, first_on=first_on, last_on=first_on + DATES_AHEAD)
    if not (fitted.cannot_hold or days):
        return None
    turns_at = controller.day_turns_at
    return (
        tuple(cannot_hold_out(found, turns_at=turns_at, currency=currency) for found in fitted.cannot_hold),
        tuple(DayKeyingOut(on=day.on, key_on=day.key_on, back_on=day.back_on, names=list(day.names)) for day in days),
    )


def _reached(session: Session, row: ScheduleRow, venue: VenueRow) -> Iterator[PoolTableRow]:
    """Yield the tables at a venue for which a schedule is listed at some time, by their stay there now."""
    query = (
        select(PoolTableRow, StayRow)
        .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
        .where(StayRow.venue_id == venue.id, col(StayRow.to_at).is_(None))
        .order_by(col(PoolTableRow.id))
    )
    found = session.exec(query).all()
    schedules = schedules_of(session, [venue.id])
    listed = listed_during(session, [stay for _, stay in found], venues={venue.id: venue}, schedules=schedules)
    for table, stay in found:
        stretches = listed[stay.id].stretches
        if any(stretch.schedule is not None and stretch.schedule.id == str(row.id) for stretch in stretches):
            yield table
