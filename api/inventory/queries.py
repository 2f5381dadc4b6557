"""Reads the list of all tables: a page by one query, and each kind of fact about its tables by one more."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, exists, func, or_
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..collections.queries import not_reversed
from ..collections.rows import CollectedTableRow, CollectionRow
from ..controllers.queries import load_machines, machine_from
from ..controllers.sells import sells
from ..jobs.queries import times_out_of_order
from ..jobs.rows import JobDoneRow, JobRow
from ..pool_tables.place import Place
from ..pool_tables.rows import PoolTableRow, StayRow
from ..readings.queries import counts
from ..readings.rows import ReadingRow
from ..venues.rows import VenueRow
from ..web.pagination import Page
from ..worklist.rows import WorkRow
from ..worklist.work import LEADS, OF_PERSONS, WorkKind
from .convert import TableState, table_state_out
from .schemas import TableStateOut

_ALL_AT_A_TIME = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class TableFilter:
    """Which tables: in a kind of place, at a venue, with work of a kind, of a controller's version, not read since."""

    place: Place | None = None
    venue_id: UUID | None = None
    work: WorkKind | None = None
    controller_version: str | None = None
    read_before: datetime | None = None


def page_states(
    session: Session, wanted: TableFilter, *, limit: int, after: UUID | None, now: datetime
) -> Page[TableStateOut]:
    """Return tables in the order in which they were made, each with what is known of it now."""
    query = (
        select(PoolTableRow, StayRow, VenueRow.name)
        .join(StayRow, and_(col(StayRow.pool_table_id) == col(PoolTableRow.id), col(StayRow.to_at).is_(None)))
        .outerjoin(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(*_conditions(wanted, now=now))
        .order_by(col(PoolTableRow.id))
        .limit(limit + 1)
    )
    if after is not None:
        query = query.where(col(PoolTableRow.id) > after)
    rows = session.exec(query).all()
    items = _states(session, rows[:limit], now=now)
    return Page(items, items[-1].id if len(rows) > limit else None)


def all_states(session: Session, wanted: TableFilter, *, now: datetime) -> Iterator[TableStateOut]:
    """Yield all tables of a list, page after page."""
    after = None
    while True:
        found = page_states(session, wanted, limit=_ALL_AT_A_TIME, after=after, now=now)
        yield from found.rows
        if found.next is None:
            return
        after = found.next


def _conditions(wanted: TableFilter, *, now: datetime) -> Iterator[ColumnElement[bool]]:
    table_id = col(PoolTableRow.id)
    if wanted.place is not None:
        yield col(StayRow.place) == wanted.place
    if wanted.venue_id is not None:
        yield col(StayRow.venue_id) == wanted.venue_id
    if wanted.work is not None:
        yield exists().where(
            col(WorkRow.pool_table_id) == table_id,
            col(WorkRow.kind) == wanted.work,
            col(WorkRow.code).not_in(OF_PERSONS),
            _shows(now),
        )
    if wanted.controller_version is not None:
        newest = _newest(col(ReadingRow.controller_version), col(ReadingRow.controller_version).is_not(None))
        yield newest.scalar_subquery() == wanted.controller_version
    if wanted.read_before is not None:
        read_at = _newest(col(ReadingRow.taken_at)).scalar_subquery()
        yield or_(read_at.is_(None), read_at < wanted.read_before)


def _shows(now: datetime) -> ColumnElement[bool]:
    """Return the condition that a piece of work shows now: its lead has begun, nobody put it off, it has not ended."""
    begun = or_(
        *(and_(col(WorkRow.lead_days) == lead, col(WorkRow.due_at) <= now + timedelta(days=lead)) for lead in LEADS)
    )
    not_put_off = or_(col(WorkRow.deferred_until_at).is_(None), col(WorkRow.deferred_until_at) <= now)
    return and_(begun, not_put_off, or_(col(WorkRow.ends_at).is_(None), col(WorkRow.ends_at) > now))


def _newest(column: Any, *conditions: ColumnElement[bool]) -> Select[Any]:
    """Return the query of a column of a table's newest reading that counts; one step into the index for each table."""
    return (
        select_columns(column)
        .where(
            col(ReadingRow.pool_table_id) == col(PoolTableRow.id),
            counts(ReadingRow),
            *conditions,
        )
        .order_by(col(ReadingRow.taken_at).desc(), col(ReadingRow.id).desc())
        .limit(1)
        .correlate(PoolTableRow)
    )


def _states(session: Session, rows: Sequence[Any], *, now: datetime) -> list[TableStateOut]:
    ids = [table.id for table, _, _ in rows]
    read_at, versions = _read(session, ids), _versions(session, ids)
    collected_at = _collected_at(session, ids)
    work, jobs = _work(session, ids, now=now), _open_jobs(session, ids)
    machines = load_machines(session, [table for table, stay, _ in rows if stay.venue_id is not None])
    spans = times_out_of_order(session, ids, from_at=now, to_at=now + timedelta(microseconds=1))
    return [
        table_state_out(
            TableState(
                table=table,
                stay=stay,
                venue=venue,
                read_at=read_at.get(table.id),
                version=versions.get(table.id),
                collected_at=collected_at.get(table.id),
                sells=None if stay.venue_id is None else sells(machine_from(session, machines[table.id]), now),
                work=work[table.id],
                open_jobs=jobs.get(table.id, 0),
                out_of_order=bool(spans[table.id]),
            )
        )
        for table, stay, venue in rows
    ]


def _read(session: Session, ids: Collection[UUID]) -> dict[UUID, datetime]:
    """Return when each table was read last."""
    newest = _newest(col(ReadingRow.taken_at)).scalar_subquery()
    query = select_columns(col(PoolTableRow.id), newest).where(col(PoolTableRow.id).in_(ids))
    return {table_id: at for table_id, at in session.execute(query) if at is not None}


def _versions(session: Session, ids: Collection[UUID]) -> dict[UUID, tuple[str, datetime]]:
    """Return each controller's version as last read, and when."""
    stated = col(ReadingRow.controller_version).is_not(None)
    version, at = (
        _newest(column, stated).scalar_subquery()
        for column in (col(ReadingRow.controller_version), col(ReadingRow.taken_at))
    )
    query = select_columns(col(PoolTableRow.id), version, at).where(col(PoolTableRow.id).in_(ids))
    return {row[0]: (row[1], row[2]) for row in session.execute(query) if row[1] is not None}


def _collected_at(session: Session, ids: Collection[UUID]) -> dict[UUID, datetime]:
    """Return when each table was collected last, by the collections that were not reversed."""
    query = (
        select(CollectedTableRow.pool_table_id, func.max(CollectionRow.collected_at))
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(col(CollectedTableRow.pool_table_id).in_(ids), not_reversed())
        .group_by(col(CollectedTableRow.pool_table_id))
    )
    return dict(session.exec(query).all())


def _work(session: Session, ids: Collection[UUID], *, now: datetime) -> dict[UUID, Counter[str]]:
    """Return how much work of each kind shows at each table; what is about a person is not the table's."""
    query = select(WorkRow.pool_table_id, WorkRow.kind).where(
        col(WorkRow.pool_table_id).in_(ids), col(WorkRow.code).not_in(OF_PERSONS), _shows(now)
    )
    found: dict[UUID, Counter[str]] = defaultdict(Counter)
    for table_id, kind in session.exec(query):
        found[table_id][kind] += 1
    return found


def _open_jobs(session: Session, ids: Collection[UUID]) -> dict[UUID, int]:
    query = (
        select(JobRow.pool_table_id, func.count())
        .where(col(JobRow.pool_table_id).in_(ids), ~exists().where(col(JobDoneRow.job_id) == col(JobRow.id)))
        .group_by(col(JobRow.pool_table_id))
    )
    return dict(session.exec(query).all())
