"""Jobs in the database: reported, assigned, waiting for parts, done.

- A report is stored once by its sender's id; each step is added to those before it; a job is closed once, and the same
  closing sent again changes nothing: the phone may not have had the answer.
- What its parts cost is posted to the books as it is closed, in the same transaction.
- Who works at a job holds its table, so that a table's reports, steps and moves come one after the other; who reports
  then holds all who report, so that jobs are numbered in the order of their commits. A batch holds all its tables first.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

from sqlmodel import Session, col, func, select

from ..ledger.entry import REFERENCE_CHARACTERS_MAX
from ..ledger.entry_kinds import EXPENSES, owner_postings
from ..ledger.service import keep_digest, post_entry
from ..pool_tables.future_instants import must_have_come
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import (
    currency_of,
    get_table,
    last_stay_at_a_venue,
    must_be_on_the_route,
    must_have_meters,
    stay_at,
    stays_of,
)
from ..pricing import parse_money
from ..store.changes import note_tables
from ..store.db import lock, lock_each
from ..store.feeds import note_changes
from ..store.sequence import next_number
from ..venues.service import calendar_of
from ..web.batch import BatchResultsOut, Unreadable, readable, record_each
from ..web.errors import Problem, not_found
from ..web.schema_types import value_or
from ..webhooks.event import Event
from ..webhooks.service import publish
from .convert import content_of, stored_content
from .job import must_follow, report_differences
from .queries import get_job
from .rows import JobDoneRow, JobPartRow, JobRow, JobStepRow
from .schemas import JobDoneIn, JobIn, PartIn


@dataclass(frozen=True, slots=True)
class Reporter:
    """Who reports: their name, and the one venue that they see (None: all)."""

    name: str
    venue_id: UUID | None = None

    def sees(self, venue_id: UUID | None) -> bool:
        """Tell whether a table that is at this venue is the reporter's to see."""
        return self.venue_id in (None, venue_id)


def report_jobs(
    session: Session, items: Sequence[JobIn | Unreadable], *, by: Reporter, now: datetime
) -> BatchResultsOut:
    """Store a batch of reports, each on its own (O3)."""
    sent = readable(items)
    lock_each(session, (f"table:{message.table_id}" for message in sent))

    def record(message: JobIn) -> bool:
        _, is_new = report_job(session, message, by=by, now=now)
        return is_new

    return record_each(session, items, record, key=lambda message: message.reported_at)


def report_job(session: Session, message: JobIn, *, by: Reporter, now: datetime) -> tuple[JobRow, bool]:
    """Store a report of a fault; return the job, and whether it is new: one sent before is returned as it is.

    Refuses (``not_found``) a table that is not the reporter's at that time, an instant that has not come, a table that
    has left the route (``table_gone``), and an id
    that was used for another report (``same_id_other_content``).
    """
    lock(session, f"table:{message.table_id}")
    table = get_table(session, message.table_id)
    stay = stay_at(stays_of(session, table.id), message.reported_at)
    if not by.sees(stay.venue_id):
        raise not_found("table")
    stored = session.get(JobRow, message.id)
    if stored is not None:
        return _same(session, stored, message, by=by), False
    must_have_come(message.reported_at, now=now, where="reported_at")
    if message.reported_at > stay.from_at:
        must_be_on_the_route(stay, where="table_id")
    lock(session, "jobs")
    row = JobRow(
        id=message.id,
        arrival=_next_arrival(session),
        pool_table_id=table.id,
        venue_id=stay.venue_id,
        currency=currency_of(session, table),
        reported_at=message.reported_at,
        fault=message.fault,
        words=value_or(message.words, ""),
        playable=message.playable,
        reported_by=by.name,
        received_at=next_number(session, "jobs", now=now).at,
    )
    session.add(row)
    session.flush()
    note_tables(session, [table.id])
    event = Event(type="job.reported", subject_id=row.id, venue_id=row.venue_id, table_id=table.id, at=row.received_at)
    publish(session, [event], now=now)
    note_changes(session, "jobs", [row.id], now=now)
    return row, True


def assign_job(session: Session, job_id: UUID, *, person: str, by: str, now: datetime) -> JobRow:
    """Give a job to a person; refuse (``already_done``) one that is done."""
    return _add_step(session, job_id, "assigned", person=person, by=by, now=now)


def wait_for_parts(session: Session, job_id: UUID, *, words: str, by: str, now: datetime) -> JobRow:
    """Note that a job waits for parts; refuse (``already_done``) one that is done."""
    return _add_step(session, job_id, "waiting_for_parts", words=words, by=by, now=now)


def close_job(session: Session, job_id: UUID, message: JobDoneIn, *, by: str, now: datetime) -> JobRow:
    """Close a job with what was found and used; the same closing sent again changes nothing.

    Refuses one that was closed otherwise (``already_done``), a time before its report or one that has not come, a meter that the
    table does not have, and money that its currency does not have.
    """
    job = get_job(session, job_id)
    lock(session, f"table:{job.pool_table_id}")
    table = get_table(session, job.pool_table_id)
    before: dict[str, int] = value_or(message.meters_before, {})
    after: dict[str, int] = value_or(message.meters_after, {})
    must_have_come(message.at, now=now, where="at")
    must_follow(message.at, job.reported_at)
    must_have_meters(table, before, where="meters_before")
    must_have_meters(table, after, where="meters_after")
    done = JobDoneRow(
        job_id=job.id,
        done_at=message.at,
        found=message.found,
        minutes=value_or(message.minutes, None),
        meters_before=before,
        meters_after=after,
        test_money_minor=parse_money(value_or(message.test_money, "0"), job.currency, where="test_money"),
        recorded_at=next_number(session, "jobs", now=now).at,
        recorded_by=by,
    )
    used: list[PartIn] = value_or(message.parts, [])
    parts = [
        JobPartRow(
            job_id=job.id,
            place=place,
            name=part.name,
            cost_minor=parse_money(part.cost, job.currency, where=f"parts[{place}].cost"),
        )
        for place, part in enumerate(used)
    ]
    closed = session.get(JobDoneRow, job.id)
    if closed is not None:
        _must_be_closed_like_this(session, closed, done, parts)
        return job
    session.add(done)
    session.add_all(parts)
    session.flush()
    _post_cost(session, job, parts, table=table, done_at=message.at, now=now)
    keep_digest(session, "job_done", job.id, {"job_done": [done], "job_part": parts}, now=now)
    note_tables(session, [table.id])
    note_changes(session, "jobs", [job.id], now=now)
    return job


def must_see_table(session: Session, table_id: UUID, *, venue_id: UUID | None) -> None:
    """Refuse (``not_found``) a table that does not exist, or that is not at a venue now (None: at any)."""
    if venue_id not in (None, get_table(session, table_id).venue_id):
        raise not_found("table")


def _post_cost(
    session: Session, job: JobRow, parts: Sequence[JobPartRow], *, table: PoolTableRow, done_at: datetime, now: datetime
) -> None:
    """Post what the parts of a job cost as an expense of its table; nothing where they cost nothing (J3)."""
    cost_minor = sum(part.cost_minor for part in parts)
    if cost_minor == 0:
        return
    on = calendar_of(last_stay_at_a_venue(session, table)[1]).trading_day(done_at)
    venue_id = stay_at(stays_of(session, table.id), done_at).venue_id
    post_entry(
        session,
        kind="expense",
        on=on,
        currency=job.currency,
        postings=owner_postings(
            kind="expense",
            amount_minor=cost_minor,
            venue_id=None if venue_id is None else str(venue_id),
            account=EXPENSES["parts"],
        ),
        reference=", ".join(part.name for part in parts)[:REFERENCE_CHARACTERS_MAX],
        source_id=job.id,
        now=now,
        table_id=table.id,
    )


def _same(session: Session, stored: JobRow, message: JobIn, *, by: Reporter) -> JobRow:
    """Return the stored job if the report says the same; refuse, naming what differs, if it does not."""
    there = stay_at(stays_of(session, stored.pool_table_id), stored.reported_at)
    found = report_differences(stored=stored_content(stored), sent=content_of(message), seen=by.sees(there.venue_id))
    if found:
        raise Problem("same_id_other_content", errors=found)
    return stored


def _must_be_closed_like_this(
    session: Session, stored: JobDoneRow, sent: JobDoneRow, parts: Sequence[JobPartRow]
) -> None:
    """Refuse (``already_done``) a closing that says something else than the stored one."""
    told = {"recorded_at", "recorded_by"}
    query = select(JobPartRow).where(JobPartRow.job_id == stored.job_id).order_by(col(JobPartRow.place))
    if stored.model_dump(exclude=told) != sent.model_dump(exclude=told) or [
        (part.name, part.cost_minor) for part in session.exec(query)
    ] != [(part.name, part.cost_minor) for part in parts]:
        raise Problem("already_done")


def _open_job(session: Session, job_id: UUID) -> JobRow:
    """Return a job that nobody else works at meanwhile; refuse (``already_done``) one that is done."""
    job = get_job(session, job_id)
    lock(session, f"table:{job.pool_table_id}")
    if session.exec(select(JobDoneRow.job_id).where(JobDoneRow.job_id == job_id)).first() is not None:
        raise Problem("already_done")
    return job


def _add_step(
    session: Session,
    job_id: UUID,
    state: Literal["assigned", "waiting_for_parts"],
    *,
    by: str,
    now: datetime,
    person: str = "",
    words: str = "",
) -> JobRow:
    job = _open_job(session, job_id)
    last = session.exec(select(func.max(col(JobStepRow.number))).where(JobStepRow.job_id == job_id)).one()
    made_at = next_number(session, "jobs", now=now).at
    step = JobStepRow(
        job_id=job_id, number=(last or 0) + 1, state=state, person=person, words=words, made_at=made_at, made_by=by
    )
    session.add(step)
    session.flush()
    note_tables(session, [job.pool_table_id])
    note_changes(session, "jobs", [job.id], now=now)
    return job


def _next_arrival(session: Session) -> int:
    return (session.exec(select(func.max(col(JobRow.arrival)))).one() or 0) + 1
