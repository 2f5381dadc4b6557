"""Reads the worklist, the tables to assess, and the facts of each: readings, prices, keyings, boxes, disputes.

Rows are read for many tables at once, each kind by one statement; only what a table sells is asked for by the table.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, distinct, exists, func, or_, select, union_all
from sqlmodel import Session, SQLModel, col

from ..collections.queries import StoredBoxes, judge_boxes, load_boxes
from ..collections.rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from ..collections.table_finding import TableFinding
from ..controllers.queries import KEYED_IN_ORDER, StoredMachine
from ..controllers.rows import KeyingRow, KeyingVoidRow
from ..health.levels import Levels
from ..health.queries import StoredTable, health_facts_of, levels_in_force, load_tables
from ..jobs.out_of_order import OutOfOrder
from ..jobs.queries import times_out_of_order
from ..jobs.rows import JobRow
from ..pool_tables.future_instants import FUTURE_ALLOWED
from ..pool_tables.place import GONE_PLACES
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import controller_of_table
from ..pricing import parse_money
from ..readings.queries import counts
from ..readings.rows import ReadingRow
from ..reports.cash_in_hand import Left
from ..reports.over_and_short import FEWEST_POINTS
from ..reports.queries import bags_in_hand, differences_of_collector, differences_of_table
from ..reports.schemas import DifferencesOut
from ..schedules.queries import PriceContext, listed_at
from ..schedules.rows import ScheduleRow
from ..settlements.rows import ReversalRow
from ..store.changes import TouchedRow
from ..store.db import Utc
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .assessment import CountedTable, Licence, WorkFacts
from .failing_tables import ReportedFault
from .full_box import BoxLimit
from .keying import LastKeyed
from .reviews import ChartSignal, CountedDifference, OpenBag, OpenDispute
from .rows import CompletionRow, WorkRow
from .schemas import Cursor
from .work import LEADS, OF_MONEY, OF_PERSONS, WorkKind

_LOOK_BACK = timedelta(days=400)
_CHARTED_MAX = 1_000
"""Collections of a collector's chart on the list; of more, the newest. All of them are judged for one answer."""

_COLLECTIONS_MAX = 6
_NOTES_MAX = 5_000
WORK = SQLModel.metadata.tables[WorkRow.__tablename__]


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkFilter:
    """Which part of the list: of a venue, a kind, a person, due before an instant, after a place, at most ``limit``.

    ``deferred`` has work that was put off until later too; ``without_money`` leaves out work that tells of money,
    ``without_persons`` work that tells of one person's counts; ``bags_of`` leaves out the bags of other persons.
    """

    venue_id: UUID | None = None
    kind: WorkKind | None = None
    person: str | None = None
    deferred: bool = False
    due_before: datetime | None = None
    after: Cursor | None = None
    limit: int = 100
    without_money: bool = False
    without_persons: bool = False
    bags_of: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredWork:
    """What is stored of one table that its work is found from."""

    table: StoredTable
    levels: Levels
    read_at: datetime | None
    keyings: "_Keyings"
    new_board_at: datetime | None
    keyings_reported_at: Sequence[datetime]
    collected: StoredBoxes | None
    completed: Sequence[UUID]
    disputes: Sequence[OpenDispute]
    bags: Sequence[OpenBag]
    signals_of_collectors: Sequence[ChartSignal]
    signals_from_at: datetime
    reported: Sequence[ReportedFault] = ()
    out_of_order: Sequence[OutOfOrder] = ()
    boxes: int = 0


def has_wide_notes(session: Session) -> bool:
    """Tell whether a note names a venue or every table."""
    return bool(session.execute(select(exists().where(col(TouchedRow.pool_table_id).is_(None)))).scalar_one())


def touched_tables(
    session: Session,
    *,
    at_most: int,
    only: Collection[UUID] | None = None,
    venue_id: UUID | None = None,
    without: Collection[UUID] = (),
) -> dict[UUID, list[int]]:
    """Return the ids of the notes of the tables that were touched first, all of them or those at a venue."""
    notes = select(col(TouchedRow.pool_table_id), col(TouchedRow.id)).where(col(TouchedRow.pool_table_id).is_not(None))
    if only is not None:
        notes = notes.where(col(TouchedRow.pool_table_id).in_(only))
    if venue_id is not None:
        there = select(col(PoolTableRow.id)).where(col(PoolTableRow.venue_id) == venue_id)
        notes = notes.where(col(TouchedRow.pool_table_id).in_(there))
    if without:
        notes = notes.where(col(TouchedRow.pool_table_id).not_in(without))
    found: dict[UUID, list[int]] = {}
    for table_id, note_id in session.execute(notes.order_by(col(TouchedRow.id)).limit(_NOTES_MAX)):
        if table_id in found or len(found) < at_most:
            found.setdefault(table_id, []).append(note_id)
    return found


def tables_waiting(session: Session) -> int:
    """Return the number of tables with notes."""
    marks = select(col(TouchedRow.pool_table_id)).limit(_NOTES_MAX).subquery()
    return int(session.execute(select(func.count(distinct(marks.c.pool_table_id)))).scalar_one())


def load_work(
    session: Session, table_ids: Collection[UUID], *, now: datetime, charts: "ChartsOfCollectors | None" = None
) -> dict[UUID, StoredWork]:
    """Return the stored facts of each table that exists, by a fixed number of statements.

    ``charts`` are those of collectors that were made before and still hold; those that are made now are added.
    """
    tables = load_tables(session, table_ids, now=now)
    levels = levels_in_force(session)
    keyings, read_at, disputes = (
        _keyings(session, table_ids),
        _read_at(session, table_ids),
        _disputes(session, table_ids),
    )
    collected = _collected(session, table_ids)
    completed = _completed(session, table_ids)
    bags = bags_in_hand(session, table_ids)
    charts_from = now - _LOOK_BACK
    of_collectors = _signals_of_collectors(
        session, table_ids, from_at=charts_from, charts=charts or ChartsOfCollectors()
    )
    said_at = _said_at(session, table_ids)
    boxes = _boxes(session, table_ids, from_at=charts_from)
    reported = _reported(session, table_ids, since=now - _LOOK_BACK)
    broken = times_out_of_order(session, table_ids, from_at=now - _LOOK_BACK, to_at=now + 2 * FUTURE_ALLOWED)
    return {
        id_: StoredWork(
            table=stored,
            levels=levels,
            read_at=read_at.get(id_),
            keyings=keyings.get(id_, _Keyings()),
            new_board_at=max(
                (row.taken_at for row in stored.read["done"] if "board_replaced" in row.done), default=None
            ),
            keyings_reported_at=[row.taken_at for row in stored.read["done"] if "settings_keyed" in row.done],
            collected=collected.get(id_),
            completed=completed[id_],
            disputes=disputes.get(id_, ()),
            bags=[_bag_of(left) for left in bags.get(id_, ())],
            signals_of_collectors=of_collectors.get(id_, ()),
            signals_from_at=max(charts_from, said_at.get(id_, charts_from)),
            reported=reported[id_],
            out_of_order=broken[id_],
            boxes=boxes.get(id_, 0),
        )
        for id_, stored in tables.items()
    }


def work_facts(session: Session, stored: StoredWork) -> WorkFacts:
    """Return what a table's work is found from; refuse a stored profile or schedule that contradicts itself."""
    table, venue, last = stored.table.table, stored.table.venue, stored.table.stays[-1]
    health = health_facts_of(session, stored.table)
    power = table.profile.get("power") or {}
    place = None if health.in_workshop else PriceContext(venue, table, last)
    listed = health.sells.listed if health.sells else listed_at(session, place) if place else None
    judged = _judged(session, stored.collected, machine=stored.table.machine)
    keyings, blank_since = stored.keyings, stored.new_board_at
    if blank_since is not None and keyings.keyed is not None and keyings.keyed.keyed_at < blank_since:
        keyings = _Keyings()
    return WorkFacts(
        health=health,
        levels=stored.levels,
        table_id=table.id,
        label=table.label,
        on_mains=power.get("kind") != "battery",
        capacity_ah=power.get("capacity_ah"),
        came_at=last.from_at,
        made_at=table.made_at,
        came_with=last.meters,
        came_empty=last.box == "emptied",
        read_at=stored.read_at,
        listed=listed,
        controller=controller_of_table(table, venue.currency),
        keyed=keyings.keyed,
        newest_keying_for=keyings.newest_for,
        keyings_reported_at=stored.keyings_reported_at,
        box_limits=_box_limits(table.profile.get("cash_box") or {}, venue.currency),
        collected=judged[-_COLLECTIONS_MAX:],
        counted=[one.counted for one in judged if one.counted is not None],
        signals=_signals(session, table.id, from_at=stored.signals_from_at) if len(judged) >= _COLLECTIONS_MAX else (),
        signals_of_collectors=stored.signals_of_collectors,
        completed=frozenset(stored.completed),
        disputes=stored.disputes,
        bags=stored.bags,
        reported=() if last.place in GONE_PLACES else stored.reported,
        out_of_order=stored.out_of_order,
        licence=None if last.place in GONE_PLACES else _licence(table.profile.get("licence") or {}, venue),
    )


def shown(wanted: WorkFilter, *, now: datetime) -> Select[UUID, datetime]:
    """Return the query for the work to show now: the earliest due of each lead, and the earliest due of these."""
    work, arms = WORK.c, []
    for lead in LEADS:
        of_lead = (
            select(work.id, work.due_at)
            .where(work.lead_days == lead, work.due_at <= now + timedelta(days=lead))
            .where(or_(work.ends_at.is_(None), work.ends_at > now))
            .order_by(work.due_at, work.id)
            .limit(wanted.limit + 1)
        )
        if not wanted.deferred:
            of_lead = of_lead.where(or_(work.deferred_until_at.is_(None), work.deferred_until_at <= now))
        for column, value in ((work.venue_id, wanted.venue_id), (work.kind, wanted.kind), (work.person, wanted.person)):
            if value is not None:
                of_lead = of_lead.where(column == value)
        if wanted.without_persons:
            of_lead = of_lead.where(work.code.not_in(OF_PERSONS))
        if wanted.bags_of is not None:
            of_lead = of_lead.where(bags_only_of(wanted.bags_of))
        if wanted.without_money:
            of_lead = of_lead.where(work.code.not_in(OF_MONEY))
        if wanted.due_before is not None:
            of_lead = of_lead.where(work.due_at < wanted.due_before)
        if wanted.after is not None:
            due_at, id_ = wanted.after.due_at, wanted.after.id
            of_lead = of_lead.where(work.due_at >= due_at, or_(work.due_at > due_at, work.id > id_))
        arms.append(select(of_lead.subquery()))
    everything = union_all(*arms).subquery()
    return select(everything).order_by(everything.c.due_at, everything.c.id).limit(wanted.limit + 1)


def to_announce(session: Session, *, now: datetime, at_most: int) -> Sequence[tuple[UUID, UUID]]:
    """Return work that the list shows now and that was not announced under its code, each with its table."""
    work = WORK.c
    of_leads = or_(*(and_(work.lead_days == lead, work.due_at <= now + timedelta(days=lead)) for lead in LEADS))
    query = (
        select(work.id, work.pool_table_id)
        .where(of_leads, work.announced_code.is_distinct_from(work.code))
        .where(or_(work.ends_at.is_(None), work.ends_at > now))
        .where(or_(work.deferred_until_at.is_(None), work.deferred_until_at <= now))
        .order_by(work.pool_table_id, work.id)
        .limit(at_most)
    )
    return [(id_, table_id) for id_, table_id in session.execute(query)]


def bags_only_of(person: str) -> ColumnElement[bool]:
    """Return the condition that work is not about the bag of another person."""
    own = select(col(CollectionRow.id)).where(col(CollectionRow.collector) == person)
    return or_(WORK.c.code != "bag_not_banked", WORK.c.refers_to.in_(own))


def _box_limits(stated: Mapping[str, Any], currency: str) -> dict[BoxLimit, int]:
    limits: dict[BoxLimit, int] = {}
    if stated.get("coins_max"):
        limits["coins"] = stated["coins_max"]
    if stated.get("notes_max"):
        limits["notes"] = stated["notes_max"]
    if stated.get("value_max"):
        limits["value"] = parse_money(stated["value_max"], currency)
    return limits


def _licence(stated: Mapping[str, Any], venue: VenueRow) -> Licence | None:
    if "expires_on" not in stated:
        return None
    expires_at = calendar_of(venue).day_starts(date.fromisoformat(stated["expires_on"]))
    return Licence(number=stated["number"], expires_at=expires_at)


def _read_at(session: Session, ids: Collection[UUID]) -> dict[UUID, datetime | None]:
    """Return when each table was read last; one step into the index for each."""
    newest = (
        select(col(ReadingRow.taken_at))
        .where(
            col(ReadingRow.pool_table_id) == col(PoolTableRow.id),
            counts(ReadingRow),
        )
        .order_by(col(ReadingRow.taken_at).desc())
        .limit(1)
        .scalar_subquery()
    )
    query = select(col(PoolTableRow.id), newest).where(col(PoolTableRow.id).in_(ids))
    return {row[0]: row[1] for row in session.execute(query)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Keyings:
    """A table's keyings that are not void: the newest for good, and the day of the newest, if it was for one."""

    keyed: LastKeyed | None = None
    newest_for: date | None = None


def _keyings(session: Session, ids: Collection[UUID]) -> dict[UUID, _Keyings]:
    """Return each table's keyings, wherever the table was then: they go with the machine (W8)."""
    query = (
        select(KeyingRow)
        .join(ScheduleRow, col(ScheduleRow.id) == col(KeyingRow.schedule_id))
        .where(
            col(KeyingRow.pool_table_id).in_(ids),
            ~exists().where(col(KeyingVoidRow.keying_id) == col(KeyingRow.id)),
        )
        .order_by(*KEYED_IN_ORDER)
    )
    found: dict[UUID, _Keyings] = {}
    for row in session.execute(query).scalars():
        before = found.get(row.pool_table_id, _Keyings())
        keyed = LastKeyed(str(row.schedule_id), row.keyed_at, row.keyed_by)
        found[row.pool_table_id] = _Keyings(
            keyed=keyed if row.for_on is None else before.keyed,
            newest_for=row.for_on,
        )
    return found


def _collected(session: Session, ids: Collection[UUID]) -> dict[UUID, StoredBoxes]:
    """Return collections of each table that are not reversed, to be judged with its other facts (C9).

    These are the last few, and every older one that was off when it was recorded and of which nobody has said what it
    was (C11).
    """
    counted = col(CollectedTableRow.counted_minor)
    is_off = or_(
        counted < col(CollectedTableRow.expected_least_minor), counted > col(CollectedTableRow.expected_most_minor)
    )
    said = exists().where(
        col(CompletionRow.code) == "difference",
        col(CompletionRow.refers_to) == col(CollectedTableRow.collection_id),
        col(CompletionRow.pool_table_id) == col(CollectedTableRow.pool_table_id),
    )
    order = (col(CollectionRow.collected_at).desc(), col(CollectionRow.id).desc())
    place = func.row_number().over(partition_by=col(CollectedTableRow.pool_table_id), order_by=order).label("place")
    newest = (
        select(
            col(CollectedTableRow.collection_id),
            col(CollectedTableRow.pool_table_id),
            place,
            and_(is_off, ~said).label("open"),
        )
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(
            col(CollectedTableRow.pool_table_id).in_(ids),
            ~exists().where(col(ReversalRow.collection_id) == col(CollectionRow.id)),
        )
        .subquery()
    )
    query = select(newest).where(or_(newest.c.place <= _COLLECTIONS_MAX, newest.c.open))
    return load_boxes(session, [(row.collection_id, row.pool_table_id) for row in session.execute(query)])


def _judged(session: Session, boxes: StoredBoxes | None, *, machine: StoredMachine) -> list[CountedTable]:
    """Return the last collections of a table as they are judged now, in time order."""
    if boxes is None:
        return []
    findings = judge_boxes(session, boxes, machine=machine)
    rows = sorted((row for row, _ in boxes.rows), key=lambda row: (row.collected_at, row.id))
    return [_collected_of(row, findings[row.id]) for row in rows]


def _collected_of(row: CollectionRow, finding: TableFinding) -> CountedTable:
    counted, expected, off = None, finding.expectation.expected, finding.difference
    if expected is not None and off is not None:
        nearer = expected.most if off.amount > 0 else expected.least
        counted = CountedDifference(row.id, row.collected_at, finding.box.counted, off.amount, nearer)
    return CountedTable(
        collected_at=row.collected_at,
        meters=finding.box.meters,
        counted=counted,
        since_at=finding.since_at,
        counts=finding.box.counts,
    )


def _boxes(session: Session, ids: Collection[UUID], *, from_at: datetime) -> dict[UUID, int]:
    """Return how many boxes of each table were collected since an instant."""
    table_id = col(CollectedTableRow.pool_table_id)
    query = (
        select(table_id, func.count())
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(table_id.in_(ids), col(CollectionRow.collected_at) > from_at)
        .group_by(table_id)
    )
    return {row[0]: row[1] for row in session.execute(query)}


def _completed(session: Session, ids: Collection[UUID]) -> dict[UUID, list[UUID]]:
    """Return the ids of the work that was closed in words, by table."""
    query = select(col(CompletionRow.pool_table_id), col(CompletionRow.work_id))
    found: dict[UUID, list[UUID]] = {id_: [] for id_ in ids}
    for table_id, work_id in session.execute(query.where(col(CompletionRow.pool_table_id).in_(ids))):
        found[table_id].append(work_id)
    return found


def _signals(session: Session, table_id: UUID, *, from_at: datetime) -> list[ChartSignal]:
    """Return the signals of a table's chart (X1) from an instant on."""
    return [signal for _, signal in _signals_in(differences_of_table(session, table_id, after=from_at))]


def _signals_in(charted: DifferencesOut) -> Iterator[tuple[UUID, ChartSignal]]:
    """Yield the signals of a chart, each beside the collection in which it was seen."""
    at = {point.collection_id: point.collected_at for point in charted.points}
    for signal in charted.signals:
        yield (
            signal.seen_at,
            ChartSignal(
                side=signal.side,
                seen_at=at[signal.seen_at],
                points_to=signal.points_to,
                since_at=at[signal.points_to],
                collector=charted.collector,
            ),
        )


def _said_at(session: Session, ids: Collection[UUID]) -> dict[UUID, datetime]:
    """Return when somebody last said what a signal of each table's chart was; the chart begins again then."""
    query = select(col(CompletionRow.pool_table_id), func.max(CompletionRow.completed_at, type_=Utc())).where(
        col(CompletionRow.pool_table_id).in_(ids), col(CompletionRow.code) == "leaning"
    )
    return {row[0]: row[1] for row in session.execute(query.group_by(col(CompletionRow.pool_table_id)))}


@dataclass(slots=True)
class ChartsOfCollectors:
    """The charts of collectors that a sweep has made: one has thousands of boxes to judge, and most tables ask for it.

    They hold while nobody but the sweep notes anything. ``noted`` is the last note of the sweep; a note's number is
    never given again, so the next notes of the sweep follow it, or somebody else noted something.
    """

    noted: int = 0
    signals: dict[tuple[str, datetime], list[tuple[UUID, ChartSignal]]] = field(default_factory=dict)

    def go_on(self, session: Session, *, notes: int) -> None:
        """Forget the charts unless the newest ``notes`` notes, just written by the sweep, follow its last ones."""
        newest = session.execute(select(func.max(col(TouchedRow.id)))).scalar_one()
        if newest != self.noted + notes:
            self.signals.clear()
        self.noted = newest

    def of(self, session: Session, collector: str, *, after: datetime) -> list[tuple[UUID, ChartSignal]]:
        """Return the signals of a chart over several tables, each beside the collection in which it was seen."""
        known = self.signals.get((collector, after))
        if known is None:
            known = self.signals[collector, after] = _signals_of_collector(session, collector, after=after)
        return known


def _signals_of_collector(session: Session, collector: str, *, after: datetime) -> list[tuple[UUID, ChartSignal]]:
    newest = (
        select(col(CollectionRow.collected_at))
        .where(col(CollectionRow.collector) == collector, col(CollectionRow.collected_at) > after)
        .order_by(col(CollectionRow.collected_at).desc())
        .offset(_CHARTED_MAX)
        .limit(1)
    )
    charted = differences_of_collector(session, collector, after=session.execute(newest).scalar() or after)
    return [
        (seen_in, signal)
        for seen_in, signal in _signals_in(charted)
        if _tables_of(session, [p.collection_id for p in charted.points if p.collected_at >= signal.since_at]) > 1
    ]


def _signals_of_collectors(
    session: Session, ids: Collection[UUID], *, from_at: datetime, charts: ChartsOfCollectors
) -> dict[UUID, list[ChartSignal]]:
    """Return the signals of the charts of all who collected at some tables, by the table that each is shown at (X1)."""
    first_tables = (
        select(col(CollectionRow.id), col(CollectionRow.collector), col(CollectedTableRow.pool_table_id))
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(
            col(CollectedTableRow.pool_table_id).in_(ids),
            col(CollectedTableRow.place) == 0,
            col(CollectionRow.collected_at) > from_at,
        )
    )
    rows = session.execute(first_tables).all()
    at_table = {collection_id: table_id for collection_id, _, table_id in rows}
    query = (
        select(col(CollectionRow.collector), func.max(CompletionRow.completed_at, type_=Utc()))
        .join(CollectionRow, col(CollectionRow.id) == col(CompletionRow.refers_to))
        .where(col(CompletionRow.code) == "collector_leaning")
        .group_by(col(CollectionRow.collector))
    )
    said_at = {row[0]: row[1] for row in session.execute(query)}
    found: dict[UUID, list[ChartSignal]] = {}
    collectors = {name for _, name, _ in rows}
    enough = (
        select(col(CollectionRow.collector))
        .where(col(CollectionRow.collector).in_(collectors), col(CollectionRow.collected_at) > from_at)
        .group_by(col(CollectionRow.collector))
        .having(func.count() >= FEWEST_POINTS)
    )
    for collector in sorted(session.execute(enough).scalars()) if collectors else ():
        after = max(from_at, said_at.get(collector, from_at))
        for seen_in, signal in charts.of(session, collector, after=after):
            if seen_in in at_table:
                found.setdefault(at_table[seen_in], []).append(signal)
    return found


def _tables_of(session: Session, collection_ids: Collection[UUID]) -> int:
    """Return how many tables some collections are of: a lean at one table alone is that table's."""
    table_ids = func.count(distinct(col(CollectedTableRow.pool_table_id)))
    query = select(table_ids).where(col(CollectedTableRow.collection_id).in_(collection_ids))
    return int(session.execute(query).scalar_one())


def _bag_of(left: Left) -> OpenBag:
    filling = left.filling
    return OpenBag(
        collection_id=filling.collection_id,
        collected_at=filling.collected_at,
        name=filling.bag,
        person=filling.person,
        partly=left.taken > 0,
    )


def _reported(session: Session, ids: Collection[UUID], *, since: datetime) -> dict[UUID, list[ReportedFault]]:
    """Return the faults reported of each table since an instant."""
    query = select(col(JobRow.pool_table_id), col(JobRow.id), col(JobRow.reported_at), col(JobRow.fault))
    found: dict[UUID, list[ReportedFault]] = {id_: [] for id_ in ids}
    for table_id, *job in session.execute(
        query.where(col(JobRow.pool_table_id).in_(ids), col(JobRow.reported_at) > since)
    ):
        found[table_id].append(ReportedFault(*job))
    return found


def _disputes(session: Session, ids: Collection[UUID]) -> dict[UUID, list[OpenDispute]]:
    """Return the disputes that nobody has answered, at the first table of the collection that each hangs on."""
    query = (
        select(col(CollectedTableRow.pool_table_id), DisputeRow)
        .join(DisputeRow, col(DisputeRow.collection_id) == col(CollectedTableRow.collection_id))
        .where(
            col(CollectedTableRow.pool_table_id).in_(ids),
            col(CollectedTableRow.place) == 0,
            ~exists().where(col(DisputeAnswerRow.dispute_id) == col(DisputeRow.id)),
        )
        .order_by(col(DisputeRow.sequence))
    )
    found: dict[UUID, list[OpenDispute]] = {}
    for table_id, row in session.execute(query):
        found.setdefault(table_id, []).append(
            OpenDispute(row.id, row.collection_id, row.raised_at, row.raised_by, row.claims)
        )
    return found
