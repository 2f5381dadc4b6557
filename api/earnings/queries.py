"""Reads what was earned: collections that were not reversed, what their settlements gave whom, meters, expenses."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Date, Row, ScalarSelect, String, and_, cast, exists, false, func, or_
from sqlalchemy import select as select_columns
from sqlalchemy.orm import Mapped, aliased
from sqlmodel import Session, col, select

from ..collections.meter_baseline import Baseline
from ..collections.queries import baselines, not_reversed
from ..collections.rows import CollectedTableRow, CollectionRow
from ..controllers.queries import load_machines, machine_from
from ..controllers.sells import sold_during
from ..jobs.out_of_order import OutOfOrder, days_out_of_order, share_of_days
from ..jobs.queries import times_out_of_order
from ..ledger.rows import EntryRow, PostingRow
from ..pool_tables.place import counts_since
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import Calendar
from ..pricing.money import allot
from ..pricing.timetable import Span
from ..readings.convert import meter_of
from ..readings.meters import Meter, MeterReading, deltas
from ..readings.queries import history
from ..settlements.rows import SettlementRow
from ..store.changes import ToReckonRow
from ..store.long_lists import among
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .best_and_worst import LikelyReasons
from .convert import read_box
from .earned_totals import BOX_AMOUNTS, Earned, Grouping, GroupKey, Spent, Sum, earnings, sums_added
from .money_by_day import MeterPoint
from .not_collected import OpenBox
from .rows import EarnedBoxRow, EarnedPartRow

_A_DAY = timedelta(days=1)
_READINGS_LOOKED_AT = 1_000
_NOTES_MAX = 10_000
BOXES_AT_ONCE_MAX = 50
"""Tables whose boxes are worked out at once."""
_SOME_TIME = datetime(2000, 1, 1, tzinfo=UTC)
"""Only what a meter showed first and last matters, not when."""


@dataclass(frozen=True, slots=True)
class PlaceNames:
    """What tables and venues are called."""

    tables: Mapping[UUID, str]
    venues: Mapping[UUID, str]


def boxes_in(
    session: Session,
    *,
    from_on: date,
    until_on: date,
    venue_id: UUID | None = None,
    table_ids: Collection[UUID] | None = None,
) -> list[Earned]:
    """Return every box some of whose days lie in a period: as kept, or worked out where something was recorded since."""
    to_reckon = tables_to_reckon(session, venue_id=venue_id)
    kept = select(EarnedBoxRow).where(EarnedBoxRow.first_on < until_on, EarnedBoxRow.last_on >= from_on)
    kept = kept.where(_counts(session, col(EarnedBoxRow.pool_table_id)))
    if venue_id is not None:
        kept = kept.where(EarnedBoxRow.venue_id == venue_id)
    if table_ids is not None:
        kept = kept.where(among(col(EarnedBoxRow.pool_table_id), table_ids))
        to_reckon = to_reckon & set(table_ids)
    kept = kept.order_by(
        col(EarnedBoxRow.collected_at), col(EarnedBoxRow.collection_id), col(EarnedBoxRow.pool_table_id)
    )
    found = [read_box(row) for row in session.exec(kept)]
    return found + _worked_out(session, to_reckon, from_on=from_on, until_on=until_on, venue_id=venue_id)


def sums_of(
    session: Session, *, by: Sequence[Grouping], from_on: date, until_on: date, venue_id: UUID | None = None
) -> dict[GroupKey, Sum]:
    """Return what was earned in a period, by key, without expenses.

    Boxes that lie in the period as a whole are added up by the database, from their parts; those that it cuts, and those
    of tables of which something was recorded since, are spread day by day.
    """
    if "denomination" in by:
        boxes = boxes_in(session, from_on=from_on, until_on=until_on, venue_id=venue_id)
        return earnings(boxes, (), by=by, from_on=from_on, until_on=until_on)
    to_reckon = tables_to_reckon(session, venue_id=venue_id)
    kept = _sums_of_parts(session, by=by, from_on=from_on, until_on=until_on, venue_id=venue_id)
    box = EarnedBoxRow
    cut = select(box).where(
        or_(
            and_(col(box.first_on) < from_on, col(box.last_on) >= from_on),
            and_(col(box.first_on) < until_on, col(box.last_on) >= until_on),
            and_(col(box.is_spread), col(box.first_on) >= from_on, col(box.last_on) < until_on),
        ),
        _counts(session, col(box.pool_table_id)),
    )
    if venue_id is not None:
        cut = cut.where(box.venue_id == venue_id)
    boxes = [read_box(row) for row in session.exec(cut)]
    boxes += _worked_out(session, to_reckon, from_on=from_on, until_on=until_on, venue_id=venue_id)
    return sums_added(kept, earnings(boxes, (), by=by, from_on=from_on, until_on=until_on))


def _sums_of_parts(
    session: Session,
    *,
    by: Sequence[Grouping],
    from_on: date,
    until_on: date,
    venue_id: UUID | None,
) -> dict[GroupKey, Sum]:
    """Add up the parts of the boxes that lie in a period as a whole, and name their collections and entries."""
    part = EarnedPartRow
    columns: dict[Grouping, Any] = {
        "table": cast(col(part.pool_table_id), String),
        "venue": cast(col(part.venue_id), String),
        "agreement": cast(col(part.agreement_id), String),
        "week": col(part.week_on),
        "month": col(part.month),
        "year": func.substr(col(part.month), 1, 4),
    }
    keys = [col(part.currency), *(columns[grouping] for grouping in by)]
    inside = [
        col(part.box_first_on) >= from_on,
        col(part.box_last_on) < until_on,
        _counts(session, col(part.pool_table_id)),
        *([] if venue_id is None else [col(part.venue_id) == venue_id]),
    ]
    amounts = [func.sum(getattr(part, name)) for name in (*BOX_AMOUNTS, "days")]
    width = len(keys)
    found: dict[GroupKey, Sum] = {}
    for row in session.execute(select_columns(*keys, *amounts).where(*inside).group_by(*keys)):
        *sums, days = (int(value) for value in row[width:])
        found[_key(row[:width])] = Sum(**dict(zip(BOX_AMOUNTS, sums, strict=True)), table_days=Fraction(days))  # type: ignore[arg-type]
    named = [key.label(f"key_{place}") for place, key in enumerate(keys)]
    ids = (cast(col(part.collection_id), String).label("collection"), cast(col(part.entry_id), String).label("entry"))
    once = select_columns(*named, *ids).where(*inside).distinct().subquery()
    columns_of_once = list(once.c)
    together = [func.aggregate_strings(column, ",") for column in columns_of_once[width:]]
    by_key = columns_of_once[:width]
    for *key, collection_ids, entry_ids in session.execute(select_columns(*by_key, *together).group_by(*by_key)):
        into = found[_key(key)]
        into.collection_ids.update(_ids(collection_ids))
        into.entry_ids.update(_ids(entry_ids))
    return found


def _key(values: Iterable[object]) -> GroupKey:
    return tuple("" if value is None else _id(str(value)) for value in values)


def _id(text: str) -> str:
    """Return an id as it is written; SQLite keeps its 32 digits alone. Reading each as a UUID takes twice as long."""
    if len(text) != 32:
        return text
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def _ids(joined: str | None) -> list[str]:
    return [] if not joined else list(map(_id, joined.split(",")))


def tables_to_reckon(session: Session, *, venue_id: UUID | None = None) -> set[UUID]:
    """Return the tables of which something was recorded since their earnings were worked out.

    ``venue_id``: those alone that were collected at this venue.
    """
    note = ToReckonRow
    noted = select(note.pool_table_id).where(col(note.pool_table_id).is_not(None))
    wide = _wide_notes(session)
    if None in wide:
        noted = select(PoolTableRow.id)
    if venue_id is not None:
        boxes = select(CollectedTableRow.pool_table_id).join(
            CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id)
        )
        there = set(session.exec(boxes.where(CollectionRow.venue_id == venue_id).distinct()))
        noted = noted.where(among(col(PoolTableRow.id if None in wide else note.pool_table_id), there))
    found = {table_id for table_id in session.exec(noted.distinct()) if table_id is not None}
    if wide - {None}:
        stood = set(session.exec(select(StayRow.pool_table_id).where(among(col(StayRow.venue_id), wide - {None}))))
        found |= stood if venue_id is None else stood & there
    return found


def _wide_notes(session: Session) -> set[UUID | None]:
    """Return the venues that notes name as a whole; None among them where one names every table."""
    query = select(ToReckonRow.venue_id).where(col(ToReckonRow.pool_table_id).is_(None))
    return set(session.exec(query.distinct()))


def _counts(session: Session, table_id: Mapped[UUID]) -> ColumnElement[bool]:
    """Return the condition that what is kept of a table counts: nothing was recorded of it since."""
    wide = _wide_notes(session)
    if None in wide:
        return false()
    noted = exists().where(col(ToReckonRow.pool_table_id) == table_id)
    stood = exists().where(col(StayRow.pool_table_id) == table_id, among(col(StayRow.venue_id), wide))
    return ~or_(noted, stood) if wide else ~noted


def newest_note_to_reckon(session: Session) -> int:
    """Return the number of the newest note; 0 where there is none."""
    return session.exec(select(func.max(ToReckonRow.id))).one() or 0


def notes_to_reckon(session: Session, *, at_most: int, up_to: int) -> dict[UUID, list[int]]:
    """Return the ids of the notes of the tables that were noted first, of no later note than ``up_to``."""
    note = ToReckonRow
    found: dict[UUID, list[int]] = {}
    query = select_columns(col(note.pool_table_id), col(note.id)).where(
        col(note.pool_table_id).is_not(None), col(note.id) <= up_to
    )
    for table_id, note_id in session.execute(query.order_by(col(note.id)).limit(_NOTES_MAX)):
        if table_id in found or len(found) < at_most:
            found.setdefault(table_id, []).append(note_id)
    return found


def collected_at(session: Session, collection_ids: Collection[UUID]) -> dict[UUID, datetime]:
    """Return when some collections were made."""
    query = select(CollectionRow.id, CollectionRow.collected_at).where(among(col(CollectionRow.id), collection_ids))
    return dict(session.exec(query).all())


def first_collected_on(session: Session, *, venue_id: UUID | None = None, table_id: UUID | None = None) -> date | None:
    """Return the trading date of the first collection that was not reversed: of all, of a venue or of a table."""
    query = select(func.min(CollectionRow.trading_on)).where(not_reversed())
    if venue_id is not None:
        query = query.where(CollectionRow.venue_id == venue_id)
    if table_id is not None:
        of_table = select(CollectedTableRow.collection_id).where(CollectedTableRow.pool_table_id == table_id)
        query = query.where(col(CollectionRow.id).in_(of_table))
    return session.exec(query).one()


def _worked_out(
    session: Session, table_ids: Iterable[UUID], *, from_on: date, until_on: date, venue_id: UUID | None
) -> list[Earned]:
    found: list[Earned] = []
    ids = sorted(table_ids)
    for start in range(0, len(ids), BOXES_AT_ONCE_MAX):
        some = ids[start : start + BOXES_AT_ONCE_MAX]
        found += boxes_of(session, from_on=from_on, until_on=until_on, venue_id=venue_id, table_ids=some)
    return found


def boxes_of(
    session: Session,
    *,
    from_on: date,
    until_on: date,
    venue_id: UUID | None = None,
    table_ids: Collection[UUID] | None = None,
) -> list[Earned]:
    """Return every box some of whose days lie in a period, worked out from all that is on record."""
    rows = _collected(session, from_on=from_on, until_on=until_on, venue_id=venue_id, table_ids=table_ids)
    if not rows:
        return []
    tables = _tables(session, {row.pool_table_id for row in rows})
    calendars = _calendars(session, tables, {row.venue_id for row in rows})
    placed = _placed_on(session, tables, calendars)
    starts = baselines(session, [(row.collection_id, row.pool_table_id) for row in rows])
    between = _read_between(session, tables, [start.since.at for start in starts.values() if start.since is not None])
    parts = _parts(session, rows)
    broken = times_out_of_order(session, set(tables), from_at=_SOME_TIME, to_at=max(row.collected_at for row in rows))
    return [
        _box(
            row,
            tables[row.pool_table_id],
            calendars[row.venue_id],
            placed[row.pool_table_id],
            starts[row.collection_id, row.pool_table_id],
            between[row.pool_table_id],
            parts,
            broken[row.pool_table_id],
        )
        for row in rows
    ]


def expenses_of(session: Session, *, from_on: date, until_on: date, venue_id: UUID | None = None) -> list[Spent]:
    """Return the expenses booked in a period that were not taken back."""
    reversal = aliased(EntryRow)
    taken_back = exists().where(col(reversal.kind) == "reversal", col(reversal.source_id) == col(EntryRow.id))
    query = (
        select_columns(
            col(EntryRow.id),
            col(EntryRow.booked_on),
            col(EntryRow.currency),
            col(EntryRow.pool_table_id),
            col(PostingRow.venue_id),
            col(PostingRow.amount_minor),
        )
        .join(PostingRow, col(PostingRow.entry_number) == col(EntryRow.number))
        .where(col(EntryRow.kind) == "expense", col(PostingRow.amount_minor) > 0)
        .where(col(EntryRow.booked_on) >= from_on, col(EntryRow.booked_on) < until_on)
        .where(~taken_back)
    )
    if venue_id is not None:
        query = query.where(col(PostingRow.venue_id) == venue_id)
    return [
        Spent(
            entry_id=str(row.id),
            on=row.booked_on,
            currency=row.currency,
            amount=row.amount_minor,
            table_id=None if row.pool_table_id is None else str(row.pool_table_id),
            venue_id=None if row.venue_id is None else str(row.venue_id),
        )
        for row in session.execute(query.order_by(col(EntryRow.number)))
    ]


def names_of(session: Session, *, table_ids: Iterable[str], venue_id: UUID | None = None) -> PlaceNames:
    """Return the labels of some tables, and the names of all venues, or of one."""
    tables = _tables(session, {UUID(id_) for id_ in table_ids})
    query = select(VenueRow.id, VenueRow.name)
    venues = session.exec(query if venue_id is None else query.where(VenueRow.id == venue_id)).all()
    return PlaceNames({id_: table.label for id_, table in tables.items()}, dict(venues))


def open_boxes(session: Session, *, now: datetime, venue_id: UUID | None = None) -> list[OpenBox]:
    """Return the boxes of the tables that are at a venue, each since it was last emptied, with its last gross."""
    stays = (
        select(StayRow, VenueRow, PoolTableRow.made_at)
        .join(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .join(PoolTableRow, col(PoolTableRow.id) == col(StayRow.pool_table_id))
        .where(col(StayRow.to_at).is_(None))
    )
    if venue_id is not None:
        stays = stays.where(StayRow.venue_id == venue_id)
    at_venues = session.exec(stays.order_by(col(StayRow.pool_table_id))).all()
    table_ids = [stay.pool_table_id for stay, _, _ in at_venues]
    last = _last_collected(session, None if venue_id is None else table_ids)
    found = []
    broken = times_out_of_order(session, table_ids, from_at=_SOME_TIME, to_at=now + _A_DAY)
    for stay, venue, made_at in at_venues:
        row, calendar = last.get(stay.pool_table_id), calendar_of(venue)
        came_at = counts_since(stay.from_at, made_at=made_at, void_placed_at=stay.void_placed_at)
        came_empty = row is not None and stay.box == "emptied" and row.collected_at < came_at
        placed_on = calendar.trading_day(stay.from_at) - _A_DAY
        lost = share_of_days(broken[stay.pool_table_id], calendar=calendar, from_at=_SOME_TIME, to_at=now + _A_DAY)
        usual = None
        if row is not None and row.before_on is not None and row.before_on < row.trading_on:
            days = (row.trading_on - row.before_on).days
            in_order = days - sum(share for day, share in lost.items() if row.before_on < day <= row.trading_on)
            usual = Fraction(row.counted_minor) / (in_order or days)
        found.append(
            OpenBox(
                table_id=str(stay.pool_table_id),
                venue_id=str(venue.id),
                currency=venue.currency,
                emptied_on=placed_on if row is None or came_empty else row.trading_on,
                usual_a_day=usual,
                out_of_order=lost,
            )
        )
    return found


def facts_of_tables(
    session: Session, table_ids: Collection[UUID], *, from_on: date, until_on: date
) -> dict[UUID, LikelyReasons]:
    """Return what may explain the takings of some tables: what each sold in the last week of a period, and its faults."""
    tables = _tables(session, table_ids)
    found = {}
    for table_id, stored in load_machines(session, list(tables.values())).items():
        machine = machine_from(session, stored)
        last = [stay for stay in stored.stays if stay.venue_id is not None][-1]
        during = sold_during(machine, machine.stay_of(last.id))
        if during is None:
            continue
        calendar = during.sold.calendar
        start, end = calendar.day_starts(from_on), calendar.day_starts(until_on)
        broken = times_out_of_order(session, [table_id], from_at=start, to_at=end)[table_id]
        spans = [span for on in range(7) for span in during.sold.day(until_on - _A_DAY * (on + 1))]
        found[table_id] = LikelyReasons(
            first_price=_usual_first_price(spans),
            hours_sold=_hours(spans) if spans else None,
            days_out_of_order=days_out_of_order(broken, from_at=start, to_at=end),
        )
    return found


def _hours(spans: Iterable[Span]) -> Fraction:
    """Return the hours of some bounded spans in which something is sold."""
    sold = (span.to_at - span.from_at for span in spans if span.tariff and span.to_at and span.from_at)
    return Fraction(sum(sold, timedelta()) // timedelta(minutes=1), 60)


def _usual_first_price(spans: Iterable[Span]) -> int | None:
    """Return the first price, in minor units, of the games or minutes that are sold for most hours."""
    hours: dict[int, Fraction] = defaultdict(Fraction)
    for span in spans:
        ladder = span.tariff and (span.tariff.games or span.tariff.minutes)
        if ladder:
            hours[ladder.rungs[0].price] += _hours([span])
    return max(hours, key=lambda price: (hours[price], -price), default=None)


def today_at(session: Session, *, now: datetime, venue_id: UUID | None = None) -> dict[str, date]:
    """Return the trading date that it is at every venue, or at one."""
    query = select(VenueRow) if venue_id is None else select(VenueRow).where(VenueRow.id == venue_id)
    return {str(venue.id): calendar_of(venue).trading_day(now) for venue in session.exec(query)}


def _calendars(session: Session, table_ids: Collection[UUID], venue_ids: Collection[UUID]) -> dict[UUID, Calendar]:
    """Return the calendars of some venues, and of those where some tables have been."""
    stood = select(StayRow.venue_id).where(
        among(col(StayRow.pool_table_id), table_ids), col(StayRow.venue_id).is_not(None)
    )
    ids = {*venue_ids, *session.exec(stood.distinct())}
    venues = session.exec(select(VenueRow).where(among(col(VenueRow.id), ids)))
    return {venue.id: calendar_of(venue) for venue in venues}


def _in_order() -> Any:
    """Return the query of all boxes in time order, each beside the trading date of the one before it."""

    def before(column: Any, kind: Any) -> Any:
        """Return a column of the table's collection before."""
        return func.lag(column, type_=kind).over(
            partition_by=col(CollectedTableRow.pool_table_id),
            order_by=(col(CollectionRow.collected_at), col(CollectionRow.id)),
        )

    return (
        select_columns(
            col(CollectedTableRow.collection_id),
            col(CollectedTableRow.pool_table_id),
            col(CollectedTableRow.counted_minor),
            col(CollectedTableRow.counts),
            col(CollectedTableRow.meters),
            col(CollectedTableRow.refunds_by_venue_minor),
            col(CollectedTableRow.house_money_minor),
            col(CollectedTableRow.test_money_minor),
            col(CollectedTableRow.place),
            col(CollectionRow.venue_id),
            col(CollectionRow.currency),
            col(CollectionRow.collected_at),
            col(CollectionRow.trading_on),
            before(col(CollectionRow.trading_on), Date()).label("before_on"),
        )
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(not_reversed())
    )


def _collected(
    session: Session, *, from_on: date, until_on: date, venue_id: UUID | None, table_ids: Collection[UUID] | None
) -> Sequence[Row[Any]]:
    in_order = _in_order()
    if table_ids is not None:
        in_order = in_order.where(among(col(CollectedTableRow.pool_table_id), table_ids))
    boxes = in_order.subquery()
    query = select_columns(boxes).where(
        boxes.c.trading_on >= from_on, or_(boxes.c.before_on.is_(None), boxes.c.before_on < until_on)
    )
    if venue_id is not None:
        query = query.where(boxes.c.venue_id == venue_id)
    return session.execute(query.order_by(boxes.c.collected_at, boxes.c.collection_id, boxes.c.place)).all()


@dataclass(frozen=True, slots=True)
class _LastBox:
    """The box of a table that was emptied last, and the trading date of the collection before it."""

    collected_at: datetime
    trading_on: date
    before_on: date | None
    counted_minor: int


def _last_collected(session: Session, table_ids: Collection[UUID] | None) -> dict[UUID, _LastBox]:
    """Return the box that was emptied last of each table on the route, or of some.

    It is as kept, or as recorded where it is to be worked out again.
    """
    to_reckon = tables_to_reckon(session)
    placed = select_columns(col(StayRow.pool_table_id), _newest_box(0).label("last"), _newest_box(1).label("before"))
    placed = placed.where(col(StayRow.to_at).is_(None), _counts(session, col(StayRow.pool_table_id)))
    if table_ids is not None:
        placed = placed.where(among(col(StayRow.pool_table_id), table_ids))
        to_reckon = to_reckon.intersection(table_ids)
    of, last, before = placed.subquery(), aliased(EarnedBoxRow), aliased(EarnedBoxRow)
    query = (
        select_columns(
            of.c.pool_table_id, col(last.collected_at), col(last.last_on), col(before.last_on), col(last.gross)
        )
        .join(last, and_(col(last.collection_id) == of.c.last, col(last.pool_table_id) == of.c.pool_table_id))
        .outerjoin(
            before, and_(col(before.collection_id) == of.c.before, col(before.pool_table_id) == of.c.pool_table_id)
        )
    )
    found = {table_id: _LastBox(*values) for table_id, *values in session.execute(query)}
    return found | _last_recorded(session, to_reckon)


def _newest_box(place: int) -> ScalarSelect[UUID]:
    """Return the collection of a stay's table that comes in this place, 0 for the newest: one step on an index."""
    query = select_columns(col(EarnedBoxRow.collection_id)).where(
        col(EarnedBoxRow.pool_table_id) == col(StayRow.pool_table_id)
    )
    newest_first = query.order_by(col(EarnedBoxRow.collected_at).desc(), col(EarnedBoxRow.collection_id).desc())
    return newest_first.limit(1).offset(place).scalar_subquery().correlate(StayRow)


def _last_recorded(session: Session, table_ids: Collection[UUID]) -> dict[UUID, _LastBox]:
    boxes = _in_order().where(among(col(CollectedTableRow.pool_table_id), table_ids)).subquery()
    newest_first = boxes.c.collected_at.desc(), boxes.c.collection_id.desc()
    place = func.row_number().over(partition_by=boxes.c.pool_table_id, order_by=newest_first)
    newest = select_columns(boxes, place.label("newest")).subquery()
    rows = session.execute(select_columns(newest).where(newest.c.newest == 1)).all()
    return {
        row.pool_table_id: _LastBox(row.collected_at, row.trading_on, row.before_on, row.counted_minor) for row in rows
    }


def _tables(session: Session, ids: Collection[UUID]) -> dict[UUID, PoolTableRow]:
    return {row.id: row for row in session.exec(select(PoolTableRow).where(among(col(PoolTableRow.id), ids)))}


def _placed_on(session: Session, table_ids: Collection[UUID], calendars: Mapping[UUID, Calendar]) -> dict[UUID, date]:
    """Return the trading date before the one on which each table came to its first venue."""
    query = select(StayRow).where(
        among(col(StayRow.pool_table_id), table_ids),
        col(StayRow.venue_id).is_not(None),
        col(StayRow.voided_at).is_(None),
    )
    placed: dict[UUID, date] = {}
    for stay in session.exec(query.order_by(col(StayRow.from_at).desc(), col(StayRow.sequence).desc())):
        if stay.venue_id is not None:
            placed[stay.pool_table_id] = calendars[stay.venue_id].trading_day(stay.from_at) - _A_DAY
    return placed


def _read_between(
    session: Session, table_ids: Collection[UUID], begun: Collection[datetime]
) -> dict[UUID, list[Row[Any]]]:
    if not begun:
        return defaultdict(list)
    return history(session, table_ids, "meters", since=min(begun), rows_max=_READINGS_LOOKED_AT)


@dataclass(frozen=True, slots=True)
class _SettledPart:
    """One table's part of a collection's settlement, in minor units; without a settlement all of it is unsettled."""

    entry_id: UUID | None
    refunds: int
    tax: int
    venue_share: int
    agreement_id: UUID | None


def _parts(session: Session, rows: Sequence[Row[Any]]) -> dict[tuple[UUID, UUID], _SettledPart]:
    """Divide what each settlement says of a whole collection among its tables, in proportion to their counts."""
    ids = {row.collection_id for row in rows}
    settled = {
        row.collection_id: row
        for row in session.exec(select(SettlementRow).where(among(col(SettlementRow.collection_id), ids)))
    }
    counts: dict[UUID, list[tuple[UUID, int, int]]] = defaultdict(list)
    every = select(CollectedTableRow).where(among(col(CollectedTableRow.collection_id), ids))
    for table in session.exec(every.order_by(col(CollectedTableRow.collection_id), col(CollectedTableRow.place))):
        back = table.refunds_by_venue_minor + table.house_money_minor + table.test_money_minor
        counts[table.collection_id].append((table.pool_table_id, table.counted_minor, back))
    return {
        (collection_id, table_id): part
        for collection_id, tables in counts.items()
        for table_id, part in _divided(settled.get(collection_id), tables)
    }


def _divided(
    settlement: SettlementRow | None, tables: Sequence[tuple[UUID, int, int]]
) -> list[tuple[UUID, _SettledPart]]:
    if settlement is None:
        return [(table_id, _SettledPart(None, back, 0, 0, None)) for table_id, _, back in tables]
    counted = [count for _, count, _ in tables]
    given_back = sum(
        line["amount_minor"]
        for line in settlement.lines
        if line["code"] in ("refunds_by_venue", "house_money", "test_money")
    )
    stated = [back for _, _, back in tables]
    refunds = stated if sum(stated) == given_back else _by_count(given_back, counted)
    tax, share = _by_count(settlement.tax_minor, counted), _by_count(settlement.venue_share_minor, counted)
    return [
        (table_id, _SettledPart(settlement.entry_id, refunds[i], tax[i], share[i], settlement.agreement_id))
        for i, (table_id, _, _) in enumerate(tables)
    ]


def _by_count(amount: int, counted: Sequence[int]) -> list[int]:
    return allot(amount, counted if any(counted) else [1] * len(counted))


def _box(
    row: Row[Any],
    table: PoolTableRow,
    calendar: Calendar,
    placed_on: date,
    start: Baseline,
    read: Sequence[Row[Any]],
    parts: Mapping[tuple[UUID, UUID], _SettledPart],
    broken: Sequence[OutOfOrder],
) -> Earned:
    part = parts[row.collection_id, row.pool_table_id]
    meters = [meter_of(stated, currency=row.currency) for stated in table.profile.get("meters", ())]
    counted = {meter.counts: 0 for meter in meters}
    for meter in meters:
        counted[meter.counts] += _step(meter, start, row.meters.get(meter.name))
    return Earned(
        collection_id=str(row.collection_id),
        entry_id=None if part.entry_id is None else str(part.entry_id),
        table_id=str(row.pool_table_id),
        venue_id=str(row.venue_id),
        currency=row.currency,
        emptied_before_on=calendar.trading_day(start.emptied_at) if start.emptied_at else placed_on,
        emptied_on=row.trading_on,
        gross=row.counted_minor,
        refunds=part.refunds,
        tax=part.tax,
        venue_share=part.venue_share,
        unsettled=0 if part.agreement_id else row.counted_minor,
        games=counted.get("games", 0),
        minutes=counted.get("minutes", 0),
        denominations={value: value * count for value, count in row.counts},
        points=_points(row, meters, start, read, calendar),
        agreement_id=None if part.agreement_id is None else str(part.agreement_id),
        out_of_order=share_of_days(
            broken,
            calendar=calendar,
            from_at=row.collected_at if start.since is None else start.since.at,
            to_at=row.collected_at,
        ),
    )


def _step(meter: Meter, start: Baseline, after: int | None) -> int:
    """Return what a meter counted since a box was last empty; 0 where nobody can say."""
    before = None if start.since is None else start.since.meters.get(meter.name)
    if start.since is None or before is None or after is None or max(before, after) >= meter.modulus:
        return 0
    pair = (MeterReading(_SOME_TIME, before, collected=start.since.emptied), MeterReading(_SOME_TIME + _A_DAY, after))
    return deltas(meter, pair)[-1].delta or 0


def _points(
    row: Row[Any], meters: Sequence[Meter], start: Baseline, read: Sequence[Row[Any]], calendar: Calendar
) -> tuple[MeterPoint, ...]:
    """Return how far the money meter had come at each reading since the box was last empty."""
    money = next((meter for meter in meters if meter.counts == "money"), None)
    if money is None or start.since is None:
        return ()
    whole = _step(money, start, row.meters.get(money.name))
    if not whole:
        return ()
    inside = [seen for seen in read if start.since.at < seen.taken_at < row.collected_at and money.name in seen.meters]
    return tuple(
        MeterPoint(calendar.trading_day(seen.taken_at), Fraction(_step(money, start, seen.meters[money.name]), whole))
        for seen in inside
    )
