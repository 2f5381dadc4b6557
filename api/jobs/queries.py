"""Reads jobs: in the order of their recording, by state, and the times in which tables were out of order."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, and_, exists, or_
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..pool_tables.queries import venue_id_at, was_at
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing.trading_day import LONGEST_DAY
from ..store.feeds import LastChangeRow
from ..store.long_lists import OfMany, among
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from ..web.errors import http_problem, not_found
from ..web.pagination import Page
from .convert import job_out
from .fault_report import FaultReport, JobFacts, ReportedTable, fault_report
from .job import State
from .out_of_order import OutOfOrder
from .rows import JobDoneRow, JobPartRow, JobRow, JobStepRow
from .schemas import JobChangeOut, JobOut


def get_job(session: Session, job_id: UUID, *, venue_id: UUID | None = None) -> JobRow:
    """Return a job, of one venue or of any; ``not_found`` where there is none."""
    row = session.get(JobRow, job_id)
    if row is None or venue_id not in (None, venue_ids_of(session, [job_id])[job_id]):
        raise not_found("job")
    return row


def jobs_out(session: Session, rows: Sequence[JobRow], *, with_costs: bool) -> list[JobOut]:
    """Write some jobs, with all that came after their reports."""
    ids = [row.id for row in rows]
    steps: dict[UUID, list[JobStepRow]] = defaultdict(list)
    for step in session.exec(
        select(JobStepRow).where(among(col(JobStepRow.job_id), ids)).order_by(col(JobStepRow.number))
    ):
        steps[step.job_id].append(step)
    done = {row.job_id: row for row in session.exec(select(JobDoneRow).where(among(col(JobDoneRow.job_id), ids)))}
    parts, venue_ids = _parts(session, ids), venue_ids_of(session, ids)
    return [
        job_out(row, steps[row.id], done.get(row.id), parts[row.id], venue_id=venue_ids[row.id], with_costs=with_costs)
        for row in rows
    ]


def venue_ids_of(session: Session, job_ids: Collection[UUID]) -> dict[UUID, UUID | None]:
    """Return the venue where the table of each job was at the time of its report, by all that is on record now."""
    place = venue_id_at(col(JobRow.pool_table_id), col(JobRow.reported_at))
    return dict(session.exec(select(JobRow.id, place).where(among(col(JobRow.id), job_ids))).all())


def changes_out(session: Session, rows: Sequence[LastChangeRow]) -> list[JobChangeOut]:
    """Write the jobs of a feed's rows, as they are now."""
    query = select(JobRow).where(col(JobRow.id).in_([row.subject_id for row in rows]))
    found = {job.id: job for job in jobs_out(session, session.exec(query).all(), with_costs=True)}
    return [
        JobChangeOut(number=row.number, id=row.subject_id, changed_at=row.changed_at, job=found[row.subject_id])
        for row in rows
    ]


def page_jobs(
    session: Session,
    *,
    table_id: UUID | None,
    venue_id: UUID | None,
    state: State | None,
    limit: int,
    after: UUID | None,
) -> Page[JobRow]:
    """Return jobs in the order of their recording; ``after`` is the id of a job of this table or venue."""
    own = [
        *(() if table_id is None else (col(JobRow.pool_table_id) == table_id,)),
        *(() if venue_id is None else was_at(venue_id, col(JobRow.pool_table_id), col(JobRow.reported_at))),
    ]
    query = select(JobRow).where(*own)
    if state is not None:
        query = query.where(_is(state))
    if after is not None:
        arrival = session.exec(select(JobRow.arrival).where(JobRow.id == after, *own)).first()
        if arrival is None:
            raise http_problem("invalid", where="after", found=after, expected="the id of a job of this list")
        query = query.where(col(JobRow.arrival) > arrival)
    rows = session.exec(query.order_by(col(JobRow.arrival)).limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1].id if len(rows) > limit else None)


def _is(state: State) -> ColumnElement[bool]:
    """Return the condition that a job is in a state."""
    is_done = exists().where(col(JobDoneRow.job_id) == col(JobRow.id))
    if state == "done":
        return is_done
    last = (
        select(JobStepRow.state)
        .where(col(JobStepRow.job_id) == col(JobRow.id))
        .order_by(col(JobStepRow.number).desc())
        .limit(1)
        .correlate(JobRow)
        .scalar_subquery()
    )
    return and_(~is_done, last.is_(None) if state == "open" else last == state)


@dataclass(frozen=True, slots=True)
class FaultHistory:
    """When a table could not be played, in the order of the reports, and how its jobs ended, in time order.

    Of an end there are ``done_at``, ``meters_before``, ``meters_after`` and ``test_money_minor``.
    """

    out_of_order: tuple[OutOfOrder, ...]
    ended: tuple[Row[Any], ...]


_FAULTS = OfMany(
    col(JobRow.pool_table_id),
    lambda of_tables: (
        select_columns(
            col(JobRow.pool_table_id),
            col(JobRow.reported_at),
            col(JobRow.playable),
            col(JobDoneRow.job_id),
            col(JobDoneRow.done_at),
            col(JobDoneRow.meters_before),
            col(JobDoneRow.meters_after),
            col(JobDoneRow.test_money_minor),
        )
        .outerjoin_from(JobRow, JobDoneRow, col(JobDoneRow.job_id) == col(JobRow.id))
        .where(of_tables)
        .order_by(col(JobRow.reported_at), col(JobRow.arrival))
    ),
)


def faults_at(session: Session, table_ids: Collection[UUID]) -> dict[UUID, FaultHistory]:
    """Return all faults of some tables, as ``times_out_of_order`` and ``done_at_tables`` do, by one statement."""
    rows: dict[UUID, list[Any]] = {table_id: [] for table_id in table_ids}
    for row in session.connection().execute(*_FAULTS(table_ids)):
        rows[row.pool_table_id].append(row)
    return {
        table_id: FaultHistory(
            tuple(OutOfOrder(job.reported_at, job.done_at) for job in jobs if not job.playable),
            tuple(sorted((job for job in jobs if job.done_at), key=lambda job: (job.done_at, job.job_id))),
        )
        for table_id, jobs in rows.items()
    }


def times_out_of_order(
    session: Session, table_ids: Collection[UUID], *, from_at: datetime, to_at: datetime
) -> dict[UUID, list[OutOfOrder]]:
    """Return when some tables could not be played, as far as it touches a time; each table has its list."""
    query = (
        select(JobRow.pool_table_id, JobRow.reported_at, JobDoneRow.done_at)
        .outerjoin(JobDoneRow, col(JobDoneRow.job_id) == col(JobRow.id))
        .where(
            among(col(JobRow.pool_table_id), table_ids),
            ~col(JobRow.playable),
            col(JobRow.reported_at) < to_at,
            or_(col(JobDoneRow.done_at).is_(None), col(JobDoneRow.done_at) > from_at),
        )
        .order_by(col(JobRow.reported_at), col(JobRow.arrival))
    )
    found: dict[UUID, list[OutOfOrder]] = {table_id: [] for table_id in table_ids}
    for table_id, reported_at, done_at in session.exec(query):
        found[table_id].append(OutOfOrder(reported_at, done_at))
    return found


def done_at_tables(session: Session, table_ids: Collection[UUID], *, since: datetime) -> dict[UUID, list[JobDoneRow]]:
    """Return how the jobs of some tables ended since an instant, in time order; a table without any has no list."""
    query = (
        select(JobRow.pool_table_id, JobDoneRow)
        .join(JobDoneRow, col(JobDoneRow.job_id) == col(JobRow.id))
        .where(among(col(JobRow.pool_table_id), table_ids), col(JobDoneRow.done_at) >= since)
        .order_by(col(JobDoneRow.done_at), col(JobDoneRow.job_id))
    )
    found: dict[UUID, list[JobDoneRow]] = {}
    for table_id, done in session.exec(query):
        found.setdefault(table_id, []).append(done)
    return found


def read_fault_report(session: Session, *, from_on: date, to_on: date, now: datetime) -> FaultReport:
    """Return the faults of a period; refuse (``period_backwards``) one that ends before it starts."""
    if to_on < from_on:
        raise http_problem("period_backwards", where="to", found=to_on, expected=f"{from_on} or later")
    start = datetime.fromisoformat(f"{from_on}T00:00:00+00:00") - LONGEST_DAY
    end = datetime.fromisoformat(f"{to_on}T00:00:00+00:00") + LONGEST_DAY
    query = (
        select(JobRow, JobDoneRow)
        .outerjoin(JobDoneRow, col(JobDoneRow.job_id) == col(JobRow.id))
        .where(JobRow.reported_at < end, or_(col(JobDoneRow.done_at).is_(None), col(JobDoneRow.done_at) > start))
        .order_by(col(JobRow.arrival))
    )
    rows = session.exec(query).all()
    tables = _reported_tables(session, {job.pool_table_id for job, _ in rows}, from_on=from_on, to_on=to_on)
    parts = _parts(session, [job.id for job, _ in rows])
    jobs: dict[ReportedTable, list[JobFacts]] = defaultdict(list)
    for job, done in rows:
        jobs[tables[job.pool_table_id]].append(_facts(job, done, parts[job.id]))
    return fault_report(jobs, from_on=from_on, to_on=to_on, now=now)


def _facts(job: JobRow, done: JobDoneRow | None, parts: Sequence[JobPartRow]) -> JobFacts:
    return JobFacts(
        fault=job.fault,  # type: ignore[arg-type]
        reported_at=job.reported_at,
        playable=job.playable,
        done_at=done.done_at if done else None,
        minutes=(done and done.minutes) or 0,
        parts=[(part.name, part.cost_minor) for part in parts],
    )


def _reported_tables(
    session: Session, table_ids: Collection[UUID], *, from_on: date, to_on: date
) -> dict[UUID, ReportedTable]:
    """Return some tables with the period as it is at the venue where each is, or was last."""
    query = (
        select(PoolTableRow, VenueRow)
        .join(StayRow, col(StayRow.pool_table_id) == col(PoolTableRow.id))
        .join(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(among(col(PoolTableRow.id), table_ids), col(StayRow.voided_at).is_(None))
        .order_by(col(StayRow.from_at), col(StayRow.sequence))
    )
    found: dict[UUID, ReportedTable] = {}
    for table, venue in session.exec(query):
        calendar = calendar_of(venue)
        ends_at = calendar.day_starts(to_on + timedelta(days=1))
        found[table.id] = ReportedTable(table.id, table.label, venue.currency, calendar.day_starts(from_on), ends_at)
    return found


def _parts(session: Session, ids: Collection[UUID]) -> dict[UUID, list[JobPartRow]]:
    parts: dict[UUID, list[JobPartRow]] = defaultdict(list)
    query = select(JobPartRow).where(among(col(JobPartRow.job_id), ids)).order_by(col(JobPartRow.place))
    for part in session.exec(query):
        parts[part.job_id].append(part)
    return parts
