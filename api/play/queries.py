"""Reads what tables are played by: readings, collections, moves and jobs in a period, and what each table sold."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, case, exists, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, or_, select

from ..collections.rows import CollectedTableRow, CollectionRow
from ..controllers.fit import STEPS_OF_A_PRICE
from ..controllers.queries import StoredMachine, load_machines, machine_from
from ..controllers.sells import Machine, prices_to_drop, sold_between
from ..jobs.queries import done_at_tables
from ..jobs.rows import JobDoneRow
from ..pool_tables.place import counts_since
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import DomainError, parse_money
from ..pricing.effort import Effort
from ..pricing.timetable import Span
from ..pricing.trading_day import LONGEST_DAY
from ..readings.convert import meter_of
from ..readings.meter_history import MeterHistory, MetersRead, one_history
from ..readings.meters import RESETTING, Meter
from ..readings.queries import counts
from ..readings.rows import READING
from ..settlements.rows import ReversalRow
from ..store.db import work_of
from ..store.long_lists import among
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .meter_steps import BoxEmptied

_SMALLER = "ask about fewer days, one venue or one table"
_STEPS_OF_A_TABLE = 5_500
"""To load what is known of it, and to write its row: a thousand bytes."""
_STEPS_OF_A_READING = 300
_STEPS_OF_A_DAY = 20
_STEPS_OF_A_SPAN = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class TableThere:
    """A table while it stood at one venue in the period: its meters' history, its boxes, and its controller."""

    table: PoolTableRow
    venue: VenueRow
    meters: Sequence[Meter]
    accepts: Sequence[int]
    history: MeterHistory
    boxes: Sequence[BoxEmptied]
    reset_at: Sequence[datetime]
    machine: Machine | None
    work: Effort

    def sold_between(self, from_at: datetime, to_at: datetime) -> Sequence[Span]:
        """Return what the table sold between two instants; nothing where what is stored of it is contradictory."""
        if self.machine is None:
            return ()
        steps_of_prices = STEPS_OF_A_PRICE * prices_to_drop(self.machine)
        self.work.spend(steps_of_prices, where="query.table_id", smaller=_SMALLER)
        try:
            spans = sold_between(self.machine, from_at=from_at, to_at=to_at).spans
        except DomainError:
            return ()
        self.work.spend(_STEPS_OF_A_SPAN * len(spans), where="query.to", smaller=_SMALLER)
        return spans


def tables_there(
    session: Session, *, from_on: date, until_on: date, venue_id: UUID | None = None, table_id: UUID | None = None
) -> Iterator[TableThere]:
    """Yield each stay of a table at a venue that touches the trading days of a period, by label and time.

    Refuses (``too_much_work``) more tables, days and readings than one answer can take.
    """
    first_at, last_at = (_midnight(from_on) - LONGEST_DAY, _midnight(until_on) + LONGEST_DAY)
    tables = _tables(session, first_at, venue_id=venue_id, table_id=table_id)
    ids = [table.id for table in tables]
    work = work_of(session)
    _must_be_bounded(session, work, ids, first_at, last_at)
    read, boxes = _readings(session, ids, first_at, last_at), _boxes(session, ids, first_at, last_at)
    jobs = done_at_tables(session, ids, since=first_at)
    for stored in load_machines(session, tables).values():
        table, machine = stored.table, _machine(session, stored)
        collected = boxes[table.id]
        for stay in stored.stays:
            if stay.venue_id is None or venue_id not in (None, stay.venue_id):
                continue
            venue = stored.venues[stay.venue_id]
            calendar = calendar_of(venue)
            came_at = counts_since(stay.from_at, made_at=table.made_at, void_placed_at=stay.void_placed_at)
            start = max(calendar.day_starts(from_on), came_at)
            end = min(calendar.day_starts(until_on), stay.to_at or last_at)
            if start >= end:
                continue
            history = _history(stored.stays, read[table.id], collected, jobs.get(table.id, ()), start, end)
            yield TableThere(
                table=table,
                venue=venue,
                meters=tuple(_meters(table, venue.currency)),
                accepts=tuple(_accepts(table, venue.currency)),
                history=history,
                boxes=tuple(_emptied(collected, history, venue_id=venue.id)),
                reset_at=[row.taken_at for row in stored.done if not RESETTING.isdisjoint(row.done)],
                machine=machine,
                work=work,
            )


def _midnight(on: date) -> datetime:
    return datetime.fromisoformat(f"{on}T00:00:00+00:00")


def _tables(
    session: Session, first_at: datetime, *, venue_id: UUID | None, table_id: UUID | None
) -> Sequence[PoolTableRow]:
    """Return the tables that were at a venue since an instant, by label."""
    stay = select(StayRow.pool_table_id).where(
        col(StayRow.voided_at).is_(None),
        col(StayRow.venue_id).is_not(None),
        or_(col(StayRow.to_at).is_(None), col(StayRow.to_at) > first_at),
    )
    if venue_id is not None:
        stay = stay.where(StayRow.venue_id == venue_id)
    query = select(PoolTableRow).where(col(PoolTableRow.id).in_(stay))
    if table_id is not None:
        query = query.where(PoolTableRow.id == table_id)
    return session.exec(query.order_by(col(PoolTableRow.label), col(PoolTableRow.id))).all()


def _must_be_bounded(
    session: Session, work: Effort, ids: Collection[UUID], first_at: datetime, last_at: datetime
) -> None:
    """Refuse more work than one answer may take, before it is done."""
    work.spend(_STEPS_OF_A_TABLE * len(ids), where="query.venue_id", smaller=_SMALLER)
    work.spend(_STEPS_OF_A_DAY * len(ids) * (last_at - first_at).days, where="query.to", smaller=_SMALLER)
    readings = session.connection().scalar(
        select_columns(func.count()).select_from(READING).where(*_read_in(ids, first_at, last_at))
    )
    work.spend(_STEPS_OF_A_READING * (readings or 0), where="query.to", smaller=_SMALLER)


def _read_in(ids: Collection[UUID], first_at: datetime, last_at: datetime) -> tuple[ColumnElement[bool], ...]:
    columns = READING.c
    return (
        among(columns.pool_table_id, ids),
        columns.taken_at >= first_at,
        columns.taken_at <= last_at,
        counts(columns),
        columns.meters.is_not(None),
    )


def _readings(
    session: Session, ids: Collection[UUID], first_at: datetime, last_at: datetime
) -> dict[UUID, list[MetersRead]]:
    """Return the meters as read, in time order; of one instant, a reading with work done comes last."""
    columns = READING.c
    with_work = case((columns.done.is_not(None), 1), else_=0)
    query = select_columns(columns.pool_table_id, columns.taken_at, columns.meters).where(
        *_read_in(ids, first_at, last_at)
    )
    found: dict[UUID, list[MetersRead]] = defaultdict(list)
    for row in session.connection().execute(query.order_by(columns.taken_at, with_work, columns.id)):
        found[row.pool_table_id].append(MetersRead(row.taken_at, row.meters))
    return found


def _boxes(
    session: Session, ids: Collection[UUID], first_at: datetime, last_at: datetime
) -> dict[UUID, list[Row[Any]]]:
    """Return each table's collections that were not reversed, in time order."""
    columns = (
        col(CollectedTableRow.pool_table_id),
        col(CollectedTableRow.meters),
        col(CollectedTableRow.counted_minor),
        col(CollectedTableRow.refunds_from_box_minor),
        col(CollectedTableRow.test_games),
        col(CollectedTableRow.emptied_before_at),
        col(CollectedTableRow.emptied_before_meters),
        col(CollectionRow.id),
        col(CollectionRow.venue_id),
        col(CollectionRow.collected_at),
    )
    query = (
        select_columns(*columns)
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(
            among(col(CollectedTableRow.pool_table_id), ids),
            col(CollectionRow.collected_at) >= first_at,
            col(CollectionRow.collected_at) <= last_at,
            ~exists().where(col(ReversalRow.collection_id) == col(CollectionRow.id)),
        )
        .order_by(col(CollectionRow.collected_at), col(CollectionRow.id))
    )
    found: dict[UUID, list[Row[Any]]] = defaultdict(list)
    for row in session.execute(query):
        found[row.pool_table_id].append(row)
    return found


def _history(
    stays: Sequence[StayRow],
    read: Sequence[MetersRead],
    collected: Sequence[Row[Any]],
    jobs: Sequence[JobDoneRow],
    start: datetime,
    end: datetime,
) -> MeterHistory:
    """Return the one history of a table's meters (G4) from an instant to another, both included."""

    stated = (
        MetersRead(row.emptied_before_at, row.emptied_before_meters or {})
        for row in collected
        if row.emptied_before_at is not None
    )
    return one_history(
        readings=read,
        jobs=(MetersRead(job.done_at, shown) for job in jobs for shown in (job.meters_before, job.meters_after)),
        collections=(*(MetersRead(row.collected_at, row.meters) for row in collected), *stated),
        stays=stays,
        from_at=start,
        to_at=end,
    )


def _emptied(collected: Sequence[Row[Any]], history: MeterHistory, *, venue_id: UUID) -> Iterator[BoxEmptied]:
    """Yield the boxes of a venue that were emptied before in the same time; of one instant, only the first is a box."""
    for row in collected:
        before = [at for at in history.emptied_at if at < row.collected_at]
        if row.venue_id != venue_id or not before or row.collected_at not in history.emptied_at:
            continue
        yield BoxEmptied(
            collection_id=str(row.id),
            from_at=before[-1],
            to_at=row.collected_at,
            money=row.counted_minor + row.refunds_from_box_minor,
            test_games=row.test_games,
        )


def _meters(table: PoolTableRow, currency: str) -> Iterator[Meter]:
    """Yield a table's meters; leave out one whose value is no amount in this currency."""
    for stated in table.profile.get("meters", ()):
        with suppress(DomainError):
            yield meter_of(stated, currency=currency)


def _accepts(table: PoolTableRow, currency: str) -> Iterator[int]:
    for text in table.profile.get("accepts", ()):
        with suppress(DomainError):
            yield parse_money(text, currency)


def _machine(session: Session, stored: StoredMachine) -> Machine | None:
    """Return what is known of a table's controller; None where what is stored of it is contradictory."""
    try:
        return machine_from(session, stored)
    except DomainError:
        return None
