"""What publishing a schedule says: to each controller that it reaches, and about its own windows (S6).

- A schedule reaches the tables for which it is listed, now or from a coming date: those that stand at its venue and have
  no schedule of their own in its place, or its one table.
- Days to key by hand are looked for in the four weeks from the date on which it takes effect, or from today.
- Controllers are judged on a snapshot before anything is written (``judge``); while it is written, only those of which no
  judgement is at hand, because something changed meanwhile.
- Nothing here refuses: a schedule that no controller can hold is published, and says what will be sold in its place.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
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
from ..web.dependencies import judgement_of
from ..web.errors import http_problem
from .schemas import DayKeyingOut, PublishedOut, ScheduleAdviceOut, TableLimitsOut

PUBLICATION_BYTES_MAX = 2_000_000
_STEPS_OF_AN_ENTRY = 2_500
"""Of a schedule that is stored, and again for each controller that it is fitted to."""
_STEPS_OF_AN_EFFECT = 100
"""Of an amount that buys something else, written into the answer."""
_SMALLER = "name fewer venues at once, or list fewer windows and dates"


@dataclass(frozen=True, slots=True)
class ControllerLimits:
    """What a controller cannot hold of a schedule, the days to key by hand, and the bytes that these take in an answer."""

    cannot_hold: tuple[CannotHoldOut, ...]
    key_by_hand: tuple[DayKeyingOut, ...]
    size_bytes: int


@dataclass(frozen=True, slots=True)
class ScheduleJudged:
    """All that the judgement of a schedule rests on, but for a controller: what it says, where, and from which date."""

    terms: str
    day_starts_at: time
    currency: str
    first_on: date


@dataclass(frozen=True, slots=True)
class JudgedBefore:
    """Judgements that are at hand, by what they rest on: what controllers cannot hold, and advice on schedules."""

    limits: dict[tuple[ScheduleJudged, Controller], ControllerLimits | None] = field(default_factory=dict)
    advice: dict[ScheduleJudged, list[ScheduleAdviceOut]] = field(default_factory=dict)


def judge(session: Session, drafts: Sequence[ScheduleRow], *, now: datetime) -> JudgedBefore:
    """Judge on a snapshot what the tables that schedules would reach cannot hold of them.

    Refuses as ``Published`` does.
    """
    published = Published(session, now=now, drafts=drafts)
    for draft in drafts:
        published.out(draft)
    return published.judged


class Published:
    """Writes the schedules that one request publishes, with what the tables that each reaches cannot hold.

    Refuses (``too_much_work``, E4) what takes too long to judge, and what takes more than ``PUBLICATION_BYTES_MAX`` to say.
    """

    def __init__(self, session: Session, *, now: datetime, drafts: Sequence[ScheduleRow] = ()) -> None:
        self._session, self._now = session, now
        self.work, self._size_bytes = work_of(session), 0
        self.judged: JudgedBefore = judgement_of(session) or JudgedBefore()
        self._schedules = cache(lambda venue_id: [*schedules_of(session, [venue_id]), *drafts])

    def out(self, row: ScheduleRow) -> PublishedOut:
        """Return a schedule as published."""
        session, stored = self._session, schedule_out(row)
        self._count_bytes(len(stored.model_dump_json()))
        sent = {name: getattr(stored, name) for name in type(stored).model_fields}
        if row.follow_venue:
            return PublishedOut(**sent, tables=[], advice=[])
        venue = get_venue(session, row.venue_id)
        schedule = compile_schedule(session, row, venue)
        first_on = max(row.effective_on, calendar_of(venue).trading_day(self._now))
        key = ScheduleJudged(json.dumps(row.terms, sort_keys=True), venue.day_starts_at, venue.currency, first_on)
        if key not in self.judged.advice:
            self._spend(schedule)
            self.judged.advice[key] = _advice(schedule)
        advice = self.judged.advice[key]
        tables = []
        for table in self._reached(row, venue):
            controller = controller_of_table(table, venue.currency)
            if (key, controller) not in self.judged.limits:
                self.judged.limits[key, controller] = self._limits(schedule, controller, key)
            if found := self.judged.limits[key, controller]:
                self._count_bytes(found.size_bytes)
                of_table = {"cannot_hold": list(found.cannot_hold), "key_by_hand": list(found.key_by_hand)}
                tables.append(TableLimitsOut(table_id=table.id, label=table.label, **of_table))
        return PublishedOut(**sent, tables=tables, advice=advice)

    def _limits(self, schedule: Schedule, controller: Controller, key: ScheduleJudged) -> ControllerLimits | None:
        self._spend(schedule)
        self._spend_steps(STEPS_OF_A_PRICE * too_many_prices(schedule, controller))
        fitted = wanted(schedule, controller, currency=key.currency, on=key.first_on)
        self._spend_steps(_STEPS_OF_AN_EFFECT * sum(len(found.limitation.effects) for found in fitted.cannot_hold))
        return _limits(fitted, schedule, controller, key.currency, first_on=key.first_on)

    def _reached(self, row: ScheduleRow, venue: VenueRow) -> Iterator[PoolTableRow]:
        """Yield the tables at a venue for which a schedule is listed at some time, by their stay there now."""
        session = self._session
        query = (
            select(PoolTableRow, StayRow)
            .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
            .where(StayRow.venue_id == venue.id, col(StayRow.to_at).is_(None))
            .order_by(col(PoolTableRow.id))
        )
        if row.stay_id is not None:
            query = query.where(StayRow.id == row.stay_id)
        found = session.exec(query).all()
        stays, schedules = [stay for _, stay in found], self._schedules(venue.id)
        listed = listed_during(session, stays, venues={venue.id: venue}, schedules=schedules)
        for table, stay in found:
            stretches = listed[stay.id].stretches
            if any(stretch.schedule is not None and stretch.schedule.id == str(row.id) for stretch in stretches):
                yield table

    def _count_bytes(self, size_bytes: int) -> None:
        self._size_bytes += size_bytes
        if self._size_bytes > PUBLICATION_BYTES_MAX:
            found = f"more than {PUBLICATION_BYTES_MAX} bytes of schedules and of what controllers cannot hold"
            raise http_problem("too_much_work", where="body", found=found, expected=_SMALLER)

    def _spend(self, schedule: Schedule) -> None:
        self._spend_steps(_STEPS_OF_AN_ENTRY * len(schedule.entries))

    def _spend_steps(self, steps: int) -> None:
        self.work.spend(steps, where="body", smaller=_SMALLER)


def _advice(schedule: Schedule) -> list[ScheduleAdviceOut]:
    return [
        ScheduleAdviceOut(code="windows_overlap", detail=found.detail, entries=[f"weekly[{i}]" for i in found.places])
        for found in overlaps(schedule)
    ]


def _limits(
    fitted: Fitted, schedule: Schedule, controller: Controller, currency: str, *, first_on: date
) -> ControllerLimits | None:
    """Return what a controller cannot hold of a schedule, and the days to key by hand; None where it holds everything."""
    days = day_keyings(schedule, controller, currency=currency, first_on=first_on, last_on=first_on + DATES_AHEAD)
    if not (fitted.cannot_hold or days):
        return None
    turns_at = controller.day_turns_at
    cannot_hold = [cannot_hold_out(found, turns_at=turns_at, currency=currency) for found in fitted.cannot_hold]
    by_hand = [DayKeyingOut(on=day.on, key_on=day.key_on, back_on=day.back_on, names=list(day.names)) for day in days]
    size_bytes = sum(len(one.model_dump_json()) for one in (*cannot_hold, *by_hand))
    return ControllerLimits(tuple(cannot_hold), tuple(by_hand), size_bytes)
