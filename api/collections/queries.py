"""Reads collections, and loads the facts that they are judged from.

Facts are loaded for many tables at a time, each kind by one query; prices only for tables whose expectation asks for
them, first readings only where nothing else says that a meter was read before.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from operator import attrgetter
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import ColumnElement, CompoundSelect, and_, bindparam, exists, func, union_all
from sqlalchemy import select as select_columns
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from ..controllers.queries import StoredMachine, StoredPlaces, load_machines, load_places, machine_from
from ..controllers.sells import Machine
from ..jobs.queries import FaultHistory, faults_at
from ..pool_tables.place import GONE_PLACES
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import currency_of, get_table
from ..pricing import DomainError, parse_money
from ..readings.convert import meter_of
from ..readings.meters import RESETTING, Meter
from ..readings.queries import counts
from ..readings.rows import READING
from ..settlements.carried_forward import Claim
from ..settlements.queries import load_settling, settled_on_expectation
from ..settlements.rows import AgreementRow, ReversalRow, SettlementRow
from ..store.db import Utc
from ..store.feeds import LastChangeRow
from ..store.long_lists import OfMany, among
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from ..web.errors import http_problem, not_found
from ..web.pagination import Page
from .box_count import BoxCount, CollectionCount
from .collection_finding import CollectionFacts, CollectionFinding, find_collection, revision
from .convert import CollectionDetails, box_of_row, collection_out, emptied_before_of
from .meter_baseline import Baseline, Collected, Stay, TableHistory, baseline
from .rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from .schemas import CollectionChangeOut, CollectionOut
from .table_finding import TableFinding, asks_for_prices, find_at_table

_FIRST_READINGS_MAX = 20


class BoxToJudge(NamedTuple):
    """A box to be judged, and when it was emptied; ``id`` is its collection's, None where that was reversed."""

    box: BoxCount
    at: datetime
    id: UUID | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _StoredTable:
    """A table with its facts; ``collected`` are all its collections, or those that one at an instant is judged by."""

    table: PoolTableRow
    places: StoredPlaces
    collected: tuple[Collected, ...]
    has_all: bool
    faults: FaultHistory

    @property
    def stays(self) -> Sequence[StayRow]:
        """Where the table was, first stay first."""
        return self.places.stays[self.table.id]


@dataclass(frozen=True, slots=True)
class StoredBoxes:
    """Boxes of one table, and the facts that they are judged from."""

    stored: _StoredTable
    rows: Sequence[tuple[CollectionRow, CollectedTableRow]]


def not_reversed() -> ColumnElement[bool]:
    """Return the condition that a collection was not reversed."""
    return ~exists().where(col(ReversalRow.collection_id) == col(CollectionRow.id))


def get_collection(session: Session, collection_id: UUID) -> CollectionRow:
    """Return a collection; ``not_found`` for an unknown id."""
    row = session.get(CollectionRow, collection_id)
    if row is None:
        raise not_found("collection")
    return row


_IS_STORED = select_columns(col(CollectionRow.id)).where(col(CollectionRow.id) == bindparam("id"))


def stored_collection(session: Session, collection_id: UUID) -> CollectionRow | None:
    """Return a collection, None for an unknown id, as that of nearly every new one is: no row is built to find that out."""
    is_stored = session.connection().execute(_IS_STORED, {"id": collection_id}).first() is not None
    return session.get(CollectionRow, collection_id) if is_stored else None


_LAST_DIGEST = select_columns(col(CollectionRow.facts_digest)).order_by(col(CollectionRow.sequence).desc()).limit(1)


def last_digest(session: Session) -> str:
    """Return the digest of the collection recorded last; the caller holds the counter ``cash``."""
    return session.connection().execute(_LAST_DIGEST).scalar() or ""


def page_collections(
    session: Session,
    *,
    venue_id: UUID | None,
    table_id: UUID | None,
    limit: int,
    after: UUID | None,
    collector: str | None = None,
) -> Page[CollectionRow]:
    """Return collections, of a venue, with a table or by a collector, in the order in which they were recorded."""
    query = select(CollectionRow)
    if venue_id is not None:
        query = query.where(CollectionRow.venue_id == venue_id)
    if table_id is not None:
        with_table = select(CollectedTableRow.collection_id).where(CollectedTableRow.pool_table_id == table_id)
        query = query.where(col(CollectionRow.id).in_(with_table))
    if collector is not None:
        query = query.where(CollectionRow.collector == collector)
    if after is not None:
        last = select(CollectionRow.sequence).where(CollectionRow.record_id == after).scalar_subquery()
        query = query.where(col(CollectionRow.sequence) > last)
    rows = session.exec(query.order_by(col(CollectionRow.sequence)).limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1].record_id if len(rows) > limit else None, attrgetter("record_id"))


def last_collections_with(session: Session, table_id: UUID, *, at_most: int) -> list[CollectionRow]:
    """Return the latest collections with a table, in the order in which they were collected, the last one last."""
    with_table = select(CollectedTableRow.collection_id).where(CollectedTableRow.pool_table_id == table_id)
    query = select(CollectionRow).where(col(CollectionRow.id).in_(with_table))
    latest = query.order_by(col(CollectionRow.collected_at).desc(), col(CollectionRow.id).desc()).limit(at_most)
    return list(reversed(session.exec(latest).all()))


def read_collections(session: Session, rows: Sequence[CollectionRow]) -> list[CollectionOut]:
    """Write stored collections as they are judged now."""
    details = details_of(session, rows)
    found = judge_collections(session, details)
    return [collection_out(known, found[known.row.id]) for known in details]


def changes_out(
    session: Session, rows: Sequence[LastChangeRow], *, collector: str | None = None
) -> list[CollectionChangeOut | None]:
    """Write the collections of a feed's rows, as they are judged now; None in place of one by another than ``collector``."""
    query = select(CollectionRow).where(col(CollectionRow.id).in_([row.subject_id for row in rows]))
    if collector is not None:
        query = query.where(CollectionRow.collector == collector)
    found = {answer.id: answer for answer in read_collections(session, session.exec(query).all())}
    return [
        CollectionChangeOut(
            number=row.number, id=row.subject_id, changed_at=row.changed_at, collection=found[row.subject_id]
        )
        if row.subject_id in found
        else None
        for row in rows
    ]


def details_of(session: Session, rows: Sequence[CollectionRow]) -> list[CollectionDetails]:
    """Return collections with everything that belongs to them."""
    ids = [row.id for row in rows]
    found = {row.id: CollectionDetails(row) for row in rows}
    tables = select(CollectedTableRow).where(among(col(CollectedTableRow.collection_id), ids))
    for table in session.exec(tables.order_by(col(CollectedTableRow.place))).all():
        found[table.collection_id].tables.append(table)
    for settlement in session.exec(select(SettlementRow).where(among(col(SettlementRow.collection_id), ids))).all():
        found[settlement.collection_id].settlement = settlement
    for reversal in session.exec(select(ReversalRow).where(among(col(ReversalRow.collection_id), ids))).all():
        found[reversal.collection_id].reversal = reversal
    disputes = (
        select(DisputeRow, DisputeAnswerRow)
        .join(DisputeAnswerRow, col(DisputeAnswerRow.dispute_id) == col(DisputeRow.id), isouter=True)
        .where(among(col(DisputeRow.collection_id), ids))
        .order_by(col(DisputeRow.sequence))
    )
    for dispute, answer in session.exec(disputes).all():
        found[dispute.collection_id].disputes.append((dispute, answer))
    return list(found.values())


def judge_collections(session: Session, collections: Sequence[CollectionDetails]) -> dict[UUID, CollectionFinding]:
    """Judge stored collections by all that is on record now (C9)."""
    found: dict[UUID, CollectionFinding] = {}
    for currency in {known.row.currency for known in collections}:
        alike = [known for known in collections if known.row.currency == currency]
        boxes = {known.row.id: [box_of_row(table) for table in known.tables] for known in alike}
        asked = [
            BoxToJudge(box, known.row.collected_at, None if known.reversal else known.row.id)
            for known in alike
            for box in boxes[known.row.id]
        ]
        histories = load_histories(session, asked, currency=currency)
        for known in alike:
            found[known.row.id] = find_collection(
                boxes[known.row.id],
                histories,
                at=known.row.collected_at,
                id=None if known.reversal else known.row.id,
                venue_id=known.row.venue_id,
                currency=currency,
                is_late=known.row.is_late,
            )
    return found


def judge_collected(
    session: Session, collected: Collection[tuple[UUID, UUID]], *, money_only: bool = False
) -> dict[tuple[UUID, UUID], TableFinding]:
    """Judge tables of collections that were not reversed, by all that is on record now (C9); keys are (collection, table).

    ``money_only`` judges by money meters alone, for which no prices are needed; its cautions are not complete, and boxes
    at which none was read are left out.
    """
    return {
        (collection_id, finding.table_id): finding
        for boxes in load_boxes(session, collected).values()
        for collection_id, finding in judge_boxes(session, boxes, money_only=money_only).items()
    }


def baselines(session: Session, collected: Collection[tuple[UUID, UUID]]) -> dict[tuple[UUID, UUID], Baseline]:
    """Return when boxes of collections were last empty, and what the meters showed then, by all that is on record now.

    Keys are (collection, table); collections that were reversed count for nothing.
    """
    return {
        (row.id, boxes.stored.table.id): baseline(known, at=row.collected_at, id=row.id, stated=emptied_before)
        for boxes in load_boxes(session, collected).values()
        for known in [_plain_history(boxes.stored)]
        for row, table in boxes.rows
        for emptied_before in [emptied_before_of(table.emptied_before_at, table.emptied_before_meters)]
    }


def load_boxes(session: Session, collected: Collection[tuple[UUID, UUID]]) -> dict[UUID, StoredBoxes]:
    """Load boxes of collections that were not reversed, and their tables' facts, by a fixed number of statements."""
    if not collected:
        return {}
    query = (
        select(CollectionRow, CollectedTableRow)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(
            among(col(CollectionRow.id), {collection_id for collection_id, _ in collected}),
            among(col(CollectedTableRow.pool_table_id), {table_id for _, table_id in collected}),
        )
    )
    wanted, rows = set(collected), defaultdict(list)
    for row, table in session.exec(query).all():
        if (row.id, table.pool_table_id) in wanted:
            rows[table.pool_table_id].append((row, table))
    return {id_: StoredBoxes(stored, rows[id_]) for id_, stored in _load_tables(session, set(rows)).items()}


def judge_boxes(
    session: Session, boxes: StoredBoxes, *, money_only: bool = False, machine: StoredMachine | None = None
) -> dict[UUID, TableFinding]:
    """Judge the boxes of one table, by collection; refuse a stored schedule that contradicts itself.

    ``machine`` is what is stored of the table's controller, where that was loaded before.
    """
    money = {meter["name"] for meter in boxes.stored.table.profile.get("meters", []) if meter["counts"] == "money"}
    id_ = boxes.stored.table.id
    tables, machines = {id_: boxes.stored}, None if machine is None else {id_: machine}
    found: dict[UUID, TableFinding] = {}
    for currency in {row.currency for row, _ in boxes.rows}:
        alike = [(row, box_of_row(table)) for row, table in boxes.rows if row.currency == currency]
        if money_only:
            alike = [
                (row, replace(box, meters={name: box.meters[name] for name in money & box.meters.keys()}))
                for row, box in alike
                if money & box.meters.keys()
            ]
        asked = [BoxToJudge(box, row.collected_at, row.id) for row, box in alike]
        asking = _histories(session, tables, {id_: asked}, currency=currency, machines=machines, money_only=money_only)
        known = asking[id_]
        for row, box in alike:
            found[row.id] = find_at_table(
                known, box, at=row.collected_at, id=row.id, venue_id=row.venue_id, currency=currency
            )
    return found


def load_facts(
    session: Session, venue: VenueRow, count: CollectionCount, *, agreements: Sequence[AgreementRow]
) -> CollectionFacts:
    """Load all that a new collection is decided from; ``agreements`` are those of the venue.

    Refuses a table that does not exist (``no_such_table``), one that sells in another currency (``currency_differs``),
    and one that has left the route by then (``table_gone``). A table that was elsewhere by what is on record is kept
    and flagged: the record of its move may still be on its way (C9).
    """
    asked = [BoxToJudge(box, count.collected_at, count.id) for box in count.boxes]
    histories = load_histories(session, asked, currency=venue.currency)
    for place, box in enumerate(count.boxes):
        table, where = histories.get(box.table_id), f"tables[{place}].table_id"
        if table is None:
            raise http_problem("no_such_table", where=where, found=box.table_id, expected="a table of the route")
        if all(stay.venue_id != venue.id for stay in table.stays):
            sells_in = currency_of(session, get_table(session, box.table_id))
            if sells_in != venue.currency:
                raise http_problem("currency_differs", where=where, found=sells_in, expected=venue.currency)
        last = table.stays[-1]
        if last.left_route and count.collected_at > last.from_at:
            expected = f"a table that had not left the route by {last.from_at.isoformat()}"
            raise http_problem("table_gone", where=where, found=box.table_id, expected=expected)
    corrects_id, is_late = _around(session, count)
    trading_on = calendar_of(venue).trading_day(count.collected_at)
    return CollectionFacts(
        trading_on=trading_on,
        histories=histories,
        corrects_id=corrects_id,
        is_late=is_late,
        settling=load_settling(session, venue, agreements, trading_on=trading_on, corrects_id=corrects_id),
        revisions=revisions(session, venue.id, agreements),
    )


def revisions(session: Session, venue_id: UUID, agreements: Sequence[AgreementRow]) -> tuple[Claim, ...]:
    """Return what the settlements of a venue divided too much or too little, by their expectations as judged now (C9).

    ``agreements`` are those of the venue.
    """
    settled = settled_on_expectation(session, venue_id, agreements)
    if not settled:
        return ()
    ids = [known.collection_id for known in settled]
    details = details_of(session, session.exec(select(CollectionRow).where(among(col(CollectionRow.id), ids))).all())
    found = judge_collections(session, details)
    claims = [
        revision(
            trading_on=known.trading_on,
            settled_gross=known.gross_minor,
            settles_on=known.settles_on,
            counted=found[known.collection_id].whole.counted,
            settling=found[known.collection_id].whole.settling,
        )
        for known in settled
    ]
    return tuple(claim for claim in claims if claim is not None)


def emptied_at(session: Session, table_id: UUID) -> list[datetime]:
    """Return when a table's box was emptied, in time order, by the collections that were not reversed."""
    query = (
        select(CollectionRow.collected_at)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(CollectedTableRow.pool_table_id == table_id)
        .where(not_reversed())
        .order_by(col(CollectionRow.collected_at))
    )
    return list(session.exec(query).all())


def table_ids_of(session: Session, collection_id: UUID) -> list[UUID]:
    """Return the tables of a collection."""
    query = select(CollectedTableRow.pool_table_id).where(CollectedTableRow.collection_id == collection_id)
    return list(session.exec(query).all())


def load_histories(session: Session, asked: Sequence[BoxToJudge], *, currency: str) -> dict[UUID, TableHistory]:
    """Load the facts of the tables of some boxes, as values; a table that does not exist is left out."""
    by_table: dict[UUID, list[BoxToJudge]] = defaultdict(list)
    for question in asked:
        by_table[question.box.table_id].append(question)
    instants = {question.at for question in asked}
    at = instants.pop() if len(instants) == 1 else None
    return _histories(session, _load_tables(session, set(by_table), at=at), by_table, currency=currency)


_TABLES = OfMany(col(PoolTableRow.id), select(PoolTableRow).where)


def _load_tables(session: Session, ids: Collection[UUID], *, at: datetime | None = None) -> dict[UUID, _StoredTable]:
    """Load tables with their facts; ``at``: those that a collection at that instant alone is judged by."""
    query, values = _TABLES(ids)
    tables = session.exec(query, params=values).all()
    places, faults = load_places(session, ids), faults_at(session, ids)
    collected = _collected(session, ids, at=at)
    return {
        table.id: _StoredTable(
            table=table,
            places=places,
            collected=tuple(collected[table.id]),
            has_all=at is None,
            faults=faults[table.id],
        )
        for table in tables
    }


def _histories(
    session: Session,
    tables: Mapping[UUID, _StoredTable],
    asked: Mapping[UUID, Sequence[BoxToJudge]],
    *,
    currency: str,
    machines: Mapping[UUID, StoredMachine] | None = None,
    money_only: bool = False,
) -> dict[UUID, TableHistory]:
    """Return the facts of tables as values, with prices and first readings where some box asks for them.

    ``machines`` are what is stored of the tables' controllers, where that was loaded before. ``money_only`` leaves out
    first readings, on which cautions depend and no amount.
    """
    found: dict[UUID, TableHistory] = {}
    pricing: list[UUID] = []
    for id_, stored in tables.items():
        meters, accepts = tuple(_meters_of(stored.table, currency)), tuple(_accepts(stored.table, currency))
        known = replace(_plain_history(stored), meters=meters, accepts=accepts)
        starts = [(box, baseline(known, at=at, id=id_, stated=box.emptied_before)) for box, at, id_ in asked[id_]]
        if any(start.since is not None and asks_for_prices(known, box) for box, start in starts):
            pricing.append(id_)
        if not money_only and any(set(box.meters) - start.read_before for box, start in starts):
            known = replace(known, first_read_at=_first_read_at(session, stored))
            if not stored.has_all:
                known = replace(known, collected=tuple(_collected(session, [id_])[id_]))
        found[id_] = known
    if pricing and machines is None:
        places = tables[pricing[0]].places
        machines = load_machines(session, [tables[id_].table for id_ in pricing], places=places)
    for id_ in pricing:
        found[id_] = replace(found[id_], machine=_machine(session, (machines or {})[id_]))
    return found


def _plain_history(stored: _StoredTable) -> TableHistory:
    """Return the facts of a table as values, without what depends on a currency or asks for more statements."""
    id_ = stored.table.id
    return TableHistory(
        table_id=id_,
        label=stored.table.label,
        meters=(),
        accepts=(),
        stays=tuple(_stay(stay) for stay in stored.stays),
        collected=stored.collected,
        reset_at=tuple(row.taken_at for row in stored.places.done[id_] if not RESETTING.isdisjoint(row.done)),
        first_read_at={},
        out_of_order=stored.faults.out_of_order,
        tried=tuple((job.done_at, job.test_money_minor) for job in stored.faults.ended if job.test_money_minor),
    )


def _stay(row: StayRow) -> Stay:
    return Stay(
        from_at=row.from_at, venue_id=row.venue_id, meters=row.meters, box=row.box, left_route=row.place in GONE_PLACES
    )


def _machine(session: Session, stored: StoredMachine) -> Machine | None:
    """Return what is known of a table's controller; None where what is stored of it is contradictory."""
    try:
        return machine_from(session, stored)
    except DomainError:
        return None


_AT = bindparam("at", type_=Utc())


def _all_collected(of_tables: ColumnElement[bool]) -> Any:
    """Return the query of the collections of some tables that were not reversed."""
    return (
        select_columns(
            col(CollectedTableRow.pool_table_id),
            col(CollectionRow.id),
            col(CollectionRow.collected_at),
            col(CollectedTableRow.meters),
            col(CollectedTableRow.emptied_before_at),
            col(CollectedTableRow.emptied_before_meters),
        )
        .join_from(CollectedTableRow, CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(of_tables, not_reversed())
    )


def _collected_in_order(of_tables: ColumnElement[bool]) -> Any:
    """Return the same, in time order."""
    return _all_collected(of_tables).order_by(col(CollectionRow.collected_at), col(CollectionRow.id))


def _collected_around(of_tables: ColumnElement[bool]) -> CompoundSelect[Any]:
    """Return the query of the last before an instant, those at it, and those that state an emptying before them.

    Each of the three is found by an index; a collection may be in several.
    """
    table_id, collected_at = col(CollectedTableRow.pool_table_id), col(CollectionRow.collected_at)
    before = (
        select_columns(table_id, func.max(collected_at).label("last_at"))
        .join_from(CollectedTableRow, CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(of_tables, collected_at < _AT, not_reversed())
        .group_by(table_id)
        .cte("before")
    )
    found = union_all(
        _all_collected(and_(of_tables, before.c.pool_table_id == table_id, before.c.last_at == collected_at)),
        _all_collected(of_tables).where(collected_at == _AT),
        _all_collected(of_tables).where(col(CollectedTableRow.emptied_before_at).is_not(None)),
    )
    return found.order_by(found.selected_columns.collected_at, found.selected_columns.id)


_COLLECTED = OfMany(col(CollectedTableRow.pool_table_id), _collected_in_order)
_COLLECTED_AROUND = OfMany(col(CollectedTableRow.pool_table_id), _collected_around)


def _collected(session: Session, ids: Collection[UUID], *, at: datetime | None = None) -> dict[UUID, list[Collected]]:
    """Return the collections of tables that were not reversed, in time order.

    ``at``: only those by which a box emptied at that instant is judged: those of that instant, the last before it, and
    those that state when a box was emptied before them.
    """
    query, values = _COLLECTED(ids) if at is None else _COLLECTED_AROUND(ids, at=at)
    found: dict[UUID, dict[UUID, Collected]] = {id_: {} for id_ in ids}
    for row in session.connection().execute(query, values):
        emptied_before = emptied_before_of(row.emptied_before_at, row.emptied_before_meters)
        collected = Collected(id=row.id, at=row.collected_at, meters=row.meters, emptied_before=emptied_before)
        found[row.pool_table_id].setdefault(row.id, collected)
    return {id_: list(collected.values()) for id_, collected in found.items()}


_FIRST_READINGS = (
    select_columns(READING.c.taken_at, READING.c.meters)
    .where(READING.c.pool_table_id == bindparam("table_id"), counts(READING.c), READING.c.meters.is_not(None))
    .order_by(READING.c.taken_at)
    .limit(_FIRST_READINGS_MAX)
)


def _first_read_at(session: Session, stored: _StoredTable) -> dict[str, datetime]:
    """Return when each meter of a table was first read, by its earliest readings and by its jobs."""
    readings = session.connection().execute(_FIRST_READINGS, {"table_id": stored.table.id}).all()
    read = [
        *((taken_at, name) for taken_at, meters in readings for name in meters or {}),
        *((job.done_at, name) for job in stored.faults.ended for name in (*job.meters_before, *job.meters_after)),
    ]
    found: dict[str, datetime] = {}
    for read_at, name in sorted(read):
        found.setdefault(name, read_at)
    return found


def _meters_of(table: PoolTableRow, currency: str) -> Iterable[Meter]:
    """Yield a table's meters; leave out one whose value is no amount in this currency."""
    for stated in table.profile.get("meters", []):
        with suppress(DomainError):
            yield meter_of(stated, currency=currency)


def _accepts(table: PoolTableRow, currency: str) -> Iterable[int]:
    for text in table.profile["accepts"]:
        with suppress(DomainError):
            yield parse_money(text, currency)


_later = exists().where(col(CollectionRow.collected_at) > _AT, not_reversed())
_correction = aliased(CollectionRow)
_was_reversed = (
    col(CollectionRow.venue_id) == bindparam("venue_id"),
    col(CollectionRow.collected_at) == _AT,
    ~not_reversed(),
    ~exists().where(col(_correction.corrects_id) == col(CollectionRow.id)),
)
_REVERSED_THERE = select(CollectionRow.id).where(*_was_reversed).order_by(col(CollectionRow.sequence).desc())
_AROUND = select_columns(
    _later.where(col(CollectionRow.venue_id) == bindparam("venue_id")),
    _later.where(
        col(CollectedTableRow.collection_id) == col(CollectionRow.id),
        col(CollectedTableRow.pool_table_id).in_(bindparam("table_ids", expanding=True)),
    ),
    exists().where(*_was_reversed),
)


def _around(session: Session, count: CollectionCount) -> tuple[UUID | None, bool]:
    """Return which collection a new one corrects, and whether it is late.

    It corrects the reversed collection of this venue, time and tables that nothing has taken the place of yet. It is
    late where a later collection at the venue, or of one of the tables, is on record already (C5).
    """
    tables = {box.table_id for box in count.boxes}
    place = {"venue_id": count.venue_id, "at": count.collected_at}
    asked = {**place, "table_ids": list(tables)}
    later_at_venue, later_with_tables, reversed_there = session.connection().execute(_AROUND, asked).one()
    for id_ in session.exec(_REVERSED_THERE, params=place).all() if reversed_there else ():
        if set(table_ids_of(session, id_)) == tables:
            return id_, False
    return None, bool(later_at_venue or later_with_tables)
