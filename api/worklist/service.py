"""The worklist in the database: found when something arrives, read in the order in which it is due (V1).

- Whoever records something only notes which tables it touched (``store.changes``); whoever reads the list next, and
  every sweep, first assesses those: load, decide, save.
- Load and decide happen outside any write transaction, on one snapshot, table by table, each in a savepoint of its own.
  A table that cannot be judged is one line of the list and a log entry with its trace.
- The difference to the stored work is saved in a short transaction. Notes guard it: work is saved only while a note that
  the snapshot saw is still there. Of two that assess a table at once, the one with the newer snapshot saw every note of
  the other, so an older result never replaces a newer one.
- Work is stored with the date from which it shows, so time alone brings it up. What time changes and cannot be
  foreseen (the words of forecasts, the clock change after next, work that ended by itself) a sweep over all tables sets
  right: ``baizebook assess``, once a day.
- A page costs a few steps into an index for each lead, whatever the number of tables.
"""

import logging
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any, Literal
from uuid import UUID

from sqlalchemy import Engine, delete, insert, update
from sqlalchemy import select as select_columns
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col, select

from ..controllers.fit import STEPS_OF_A_PRICE, too_many_prices
from ..pool_tables.controller import Controller
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import last_stay_at_a_venue
from ..pricing import Timetable
from ..pricing.effort import Effort, Stop
from ..store.changes import TouchedRow, note_for_assessment, note_tables
from ..store.clock import new_id
from ..store.db import lock, reading, writing
from ..store.feeds import note_changes
from ..tokens.service import must_work_here
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from ..web.auth import Principal
from ..web.errors import Problem, http_problem, not_found
from ..web.feed import page_changes, subjects
from ..web.pagination import Page, write_page
from ..web.schema_types import value_or
from ..webhooks.event import Event
from ..webhooks.service import publish
from .assessment import Assessed, find_work
from .convert import completion_out, groups_out, stored_values, work_change_out, work_out
from .queries import (
    WORK,
    ChartsOfCollectors,
    WorkFilter,
    bags_only_of,
    has_wide_notes,
    load_work,
    shown,
    tables_waiting,
    to_announce,
    touched_tables,
    work_facts,
)
from .rows import CompletionRow, WorkRow, WorkStepRow
from .schemas import (
    CompletionIn,
    CompletionOut,
    Cursor,
    DeferralIn,
    VenueWorkOut,
    WorkChangePage,
    WorklistPage,
    WorkOut,
    read_cursor,
)
from .work import OF_PERSONS, Work, closing_of, not_assessed

TABLES_AT_ONCE_MAX = 50
"""Tables assessed on one snapshot, and saved in one short transaction."""
CATCH_UP_MAX = 100
"""Tables assessed before one answer; fewer where their schedules are so dense that it would take too long (E4)."""
_STEPS_OF_A_TABLE = 30_000
_STEPS_OF_A_BOX = 1_500
"""Each box of a table's chart is judged by all that is on record now."""
_STEPS_OF_AN_ENTRY = 1_000
"""Of a schedule that is listed for the table: each of its days in the next four weeks may have to be keyed by hand."""
_ALL_AT_A_TIME = 500

_log = logging.getLogger(__name__)


def catch_up(
    engine: Engine,
    *,
    now: datetime,
    at_most: int = CATCH_UP_MAX,
    venue_id: UUID | None = None,
    stop: Stop | None = None,
) -> int:
    """Assess the tables that were touched first, as many as one answer may wait for; return how many were.

    The tables at the venue that is asked about, where there is one, come before all others.

    Each is assessed once: one that is touched again meanwhile, as at a busy bar, waits for the next time. ``stop`` tells whether the answer is still wanted.
    """
    _spread_wide_notes(engine)
    assessed: set[UUID] = set()
    work = Effort(stop=stop or Stop())
    for at in (None,) if venue_id is None else (venue_id, None):
        while len(assessed) < at_most and work.steps < work.steps_max:
            few = min(TABLES_AT_ONCE_MAX, at_most - len(assessed))
            found = _catch_up_once(engine, now=now, at_most=few, venue_id=at, without=assessed, work=work)
            if not found:
                break
            assessed |= found
    return len(assessed)


def sweep(
    engine: Engine, *, after: UUID | None, now: datetime, charts: ChartsOfCollectors | None = None
) -> UUID | None:
    """Assess the next tables of a sweep over all; return the last of them, None where there are none left.

    ``charts`` are those that the sweep has made so far; without them, each step makes its own.
    """
    charts = charts or ChartsOfCollectors()
    _spread_wide_notes(engine)
    with writing(engine) as session:
        query = select(PoolTableRow.id).order_by(col(PoolTableRow.id)).limit(TABLES_AT_ONCE_MAX)
        ids = session.exec(query if after is None else query.where(col(PoolTableRow.id) > after)).all()
        if not ids:
            return None
        note_for_assessment(session, ids)
        charts.go_on(session, notes=len(ids))
    _catch_up_once(engine, now=now, at_most=len(ids), only=ids, charts=charts)
    return ids[-1]


def announce_due(engine: Engine, *, now: datetime) -> int:
    """Publish ``work.due`` for work whose time has come: once each, and again when its code changes or it comes back.

    Locks: the tables, as an assessment does, so that a row is not replaced meanwhile. Returns how many were published.
    """
    published = 0
    while True:
        with reading(engine) as session:
            found = to_announce(session, now=now, at_most=TABLES_AT_ONCE_MAX)
        if not found:
            return published
        with writing(engine) as session:
            tables = select(PoolTableRow.id).where(col(PoolTableRow.id).in_({table_id for _, table_id in found}))
            session.exec(tables.order_by(col(PoolTableRow.id)).with_for_update(key_share=True)).all()
            due = (WORK.c.id.in_([id_ for id_, _ in found]), WORK.c.announced_code.is_distinct_from(WORK.c.code))
            rows = session.execute(
                update(WORK)
                .where(*due)
                .values(announced_code=WORK.c.code)
                .returning(WORK.c.id, WORK.c.venue_id, WORK.c.pool_table_id)
            ).all()
            events = [
                Event(type="work.due", subject_id=id_, venue_id=venue_id, table_id=table_id, at=now)
                for id_, venue_id, table_id in rows
            ]
            publish(session, events, now=now)
            published += len(events)


def page_work(session: Session, wanted: WorkFilter, *, now: datetime, by_venue: bool = False) -> WorklistPage:
    """Return the work to show now, earliest due first, or ``by_venue``: the venue with the earliest item first."""
    if wanted.venue_id is not None and session.get(VenueRow, wanted.venue_id) is None:
        raise not_found("venue")
    place = shown(wanted, now=now).subquery()
    query = (
        select(WorkRow, PoolTableRow.label, col(VenueRow.name), col(VenueRow.contact))
        .join(PoolTableRow, col(PoolTableRow.id) == col(WorkRow.pool_table_id))
        .outerjoin(VenueRow, col(VenueRow.id) == col(WorkRow.venue_id))
        .join(place, place.c.id == col(WorkRow.id))
        .order_by(col(WorkRow.due_at), col(WorkRow.id))
    )
    rows = session.exec(query).all()
    next_ = _cursor_of(rows[wanted.limit - 1]) if len(rows) > wanted.limit else None
    written = write_page(Page(rows[: wanted.limit], next_, _cursor_of), _works_out)
    items = list(written.rows)
    groups = groups_out(items) if by_venue else None
    return WorklistPage(
        items=items if groups is None else _by_venue(items, groups),
        groups=groups,
        next=written.next,
        waiting=tables_waiting(session),
    )


def _cursor_of(row: tuple[WorkRow, Any, Any, Any]) -> str:
    return str(Cursor(row[0].due_at, row[0].id))


def _works_out(rows: Iterable[tuple[WorkRow, str, str, str]]) -> list[WorkOut]:
    return [work_out(row, label=label, venue=venue, contact=contact) for row, label, venue, contact in rows]


def all_work(session: Session, wanted: WorkFilter, *, now: datetime, by_venue: bool = False) -> list[WorkOut]:
    """Return all work to show now, earliest due first, or venue by venue."""
    items: list[WorkOut] = []
    wanted = replace(wanted, after=None, limit=_ALL_AT_A_TIME)
    while True:
        found = page_work(session, wanted, now=now)
        items += found.items
        if found.next is None:
            return _by_venue(items, groups_out(items)) if by_venue else items
        wanted = replace(wanted, after=read_cursor(found.next))


def _by_venue(items: Sequence[WorkOut], groups: Sequence[VenueWorkOut]) -> list[WorkOut]:
    """Return work in the order of its groups."""
    by_id = {item.id: item for item in items}
    return [by_id[work_id] for group in groups for work_id in group.work]


def page_work_changes(session: Session, *, limit: int, after: int, by: Principal) -> WorkChangePage:
    """Return the work that came up, changed or left the list after a number, each once, as it is now.

    Work that is not for this role to see reads like work that has left the list.
    """
    found = page_changes(session, "work", limit=limit, after=after)
    query = (
        select(WorkRow, PoolTableRow.label, col(VenueRow.name), col(VenueRow.contact))
        .join(PoolTableRow, col(PoolTableRow.id) == col(WorkRow.pool_table_id))
        .outerjoin(VenueRow, col(VenueRow.id) == col(WorkRow.venue_id))
        .where(col(WorkRow.id).in_(subjects(found)))
    )
    if by.role != "owner":
        query = query.where(col(WorkRow.code).not_in(OF_PERSONS))
    if by.only_cash_of is not None:
        query = query.where(bags_only_of(by.only_cash_of))
    work = {
        row.id: (row, work_out(row, label=label, venue=venue, contact=contact))
        for row, label, venue, contact in session.exec(query).all()
    }
    written = write_page(found, lambda rows: [work_change_out(row, work.get(row.subject_id)) for row in rows])
    return WorkChangePage(items=list(written.rows), next=written.next)


def assign_work(session: Session, work_id: UUID, *, person: str, by: Principal, now: datetime) -> WorkOut:
    """Give work to a person, also in place of another.

    Refuses a person without a valid token (``unknown_person``).
    """
    work = _locked_work(session, work_id, by=by)
    if person != by.person:
        must_work_here(session, person, where="person", now=now)
    work.person = person
    _add_step(session, work, "assigned", person=person, by=by.name, now=now)
    return _work_as_now(session, work)


def defer_work(session: Session, work_id: UUID, message: DeferralIn, *, by: Principal, now: datetime) -> WorkOut:
    """Put work off until a trading date; refuse (``invalid``) a date that is not to come at its venue."""
    work = _locked_work(session, work_id, by=by)
    table = session.get_one(PoolTableRow, work.pool_table_id)
    calendar = calendar_of(last_stay_at_a_venue(session, table)[1])
    today = calendar.trading_day(now)
    if message.until <= today:
        raise http_problem("invalid", where="until", found=message.until, expected=f"a date after today, {today}")
    work.deferred_until_on = message.until
    work.deferred_until_at = calendar.day_starts(message.until)
    work.deferred_reason = message.reason
    work.announced_code = None
    _add_step(session, work, "deferred", until_on=message.until, reason=message.reason, by=by.name, now=now)
    return _work_as_now(session, work)


def get_work(session: Session, work_id: UUID, *, by: Principal) -> WorkOut:
    """Return work as it is now; ``not_found`` where it has left the list, or is not for this role to see."""
    work = session.get(WorkRow, work_id)
    if work is None or (by.role != "owner" and work.code in OF_PERSONS):
        raise not_found("work")
    if by.only_cash_of is not None:
        own = select(WorkRow.id).where(WorkRow.id == work_id, bags_only_of(by.only_cash_of))
        if session.exec(own).first() is None:
            raise not_found("work")
    return _work_as_now(session, work)


def complete_work(
    session: Session, work_id: UUID, message: CompletionIn, *, by: Principal, now: datetime
) -> CompletionOut:
    """Close work in words: a difference or a signal (C11), a call, a meter that was looked at.

    Refuses work that only a record closes (``closed_by_a_record``), and (``forbidden``) a difference or a signal that
    somebody other than an owner closes.
    """
    work = _locked_work(session, work_id, by=by)
    closing = closing_of(work.kind, work.code)
    if closing.by == "record":
        raise Problem("closed_by_a_record", f"This work leaves the list by a record. {closing.detail}")
    if closing.by == "words" and by.role != "owner":
        raise Problem("forbidden", "An owner says what a difference or a signal was.")
    row = CompletionRow(
        work_id=work.id,
        pool_table_id=work.pool_table_id,
        code=work.code,
        reason=work.reason,
        refers_to=work.refers_to,
        outcome=value_or(message.outcome, "accepted"),
        words=message.words,
        completed_at=now,
        completed_by=by.name,
    )
    session.add(row)
    session.flush()
    session.delete(work)
    session.flush()
    note_tables(session, [row.pool_table_id])
    note_changes(session, "work", [work_id], now=now)
    return completion_out(row)


def _locked_work(session: Session, work_id: UUID, *, by: Principal) -> WorkRow:
    """Return work on the list that nobody else changes or assesses meanwhile.

    Locks: the table. Refuses work that is not on the list, or not for this role to see (``not_found``), and work that
    was closed in words (``already_completed``).
    """
    lock(session, f"work:{work_id}")
    table_id = session.exec(select(WorkRow.pool_table_id).where(WorkRow.id == work_id)).first()
    if table_id is not None:
        session.exec(select(PoolTableRow.id).where(PoolTableRow.id == table_id).with_for_update(key_share=True)).one()
    work = session.get(WorkRow, work_id, populate_existing=True)
    completed = session.get(CompletionRow, work_id)
    if by.role != "owner" and any(row is not None and row.code in OF_PERSONS for row in (work, completed)):
        raise not_found("work")
    if work is not None:
        return work
    if completed is not None:
        raise Problem("already_completed")
    raise not_found("work")


def _add_step(
    session: Session,
    work: WorkRow,
    step: Literal["assigned", "deferred"],
    *,
    by: str,
    now: datetime,
    person: str | None = None,
    until_on: date | None = None,
    reason: str = "",
) -> None:
    session.add(
        WorkStepRow(
            id=new_id(),
            work_id=work.id,
            pool_table_id=work.pool_table_id,
            code=work.code,
            line=work.reason,
            step=step,
            person=person,
            until_on=until_on,
            reason=reason,
            made_at=now,
            made_by=by,
        )
    )
    session.flush()
    note_changes(session, "work", [work.id], now=now)


def _work_as_now(session: Session, work: WorkRow) -> WorkOut:
    table = session.get_one(PoolTableRow, work.pool_table_id)
    venue = None if work.venue_id is None else session.get_one(VenueRow, work.venue_id)
    name, contact = (None, None) if venue is None else (venue.name, venue.contact)
    return work_out(work, label=table.label, venue=name, contact=contact)


def _spread_wide_notes(engine: Engine) -> None:
    """Write a note for each table in place of the notes that name a venue, or every table."""
    with reading(engine) as session:
        if not has_wide_notes(session):
            return
    with writing(engine) as session:
        wide = select(TouchedRow.id, TouchedRow.venue_id).where(col(TouchedRow.pool_table_id).is_(None))
        notes = session.exec(wide).all()
        tables = select_columns(col(PoolTableRow.id))
        if all(venue_id is not None for _, venue_id in notes):
            tables = tables.where(col(PoolTableRow.venue_id).in_({venue_id for _, venue_id in notes}))
        session.execute(delete(TouchedRow).where(col(TouchedRow.id).in_([id_ for id_, _ in notes])))
        session.execute(insert(TouchedRow).from_select(["pool_table_id"], tables))


def _catch_up_once(
    engine: Engine,
    *,
    now: datetime,
    at_most: int,
    only: Collection[UUID] | None = None,
    venue_id: UUID | None = None,
    without: Collection[UUID] = (),
    work: Effort | None = None,
    charts: ChartsOfCollectors | None = None,
) -> set[UUID]:
    """Load, decide and save the work at some touched tables; return those that were assessed.

    ``work`` is counted, and ends it before its last table. ``charts`` are used where only the sweep noted these tables.
    """
    work = work or Effort()
    with reading(engine, work.stop) as session:
        notes = touched_tables(session, at_most=at_most, only=only, venue_id=venue_id, without=without)
        if charts and sum(map(len, notes.values())) > len(notes):
            charts = None  # somebody recorded something of these tables meanwhile
        found = _assess(session, list(notes), now=now, work=work, charts=charts) if notes else {}
    if found:
        with writing(engine, work.stop) as session:
            _save(session, found, notes, now=now)
    return set(found)


def _assess(
    session: Session,
    table_ids: Sequence[UUID],
    *,
    now: datetime,
    work: Effort,
    charts: ChartsOfCollectors | None = None,
) -> dict[UUID, Assessed]:
    """Return the work at some tables, of one that cannot be judged that it cannot; at as many as the steps reach for."""
    found: dict[UUID, Assessed] = {}
    for table_id, stored in load_work(session, table_ids, now=now, charts=charts).items():
        if work.steps >= work.steps_max:
            break
        work.stop.look()
        venue_id = stored.table.table.venue_id
        try:
            with session.begin_nested():
                facts = work_facts(session, stored)
            work.steps += _STEPS_OF_A_TABLE + _STEPS_OF_A_BOX * stored.boxes
            work.steps += _steps_of_schedules(facts.listed, facts.controller)
            found_work = find_work(facts, now=now)
        except OperationalError:
            raise  # the database is busy or away: no fault of this table
        except Exception:
            _log.exception("Table %s could not be assessed.", table_id)
            found_work = (not_assessed(due_at=now),)
        found[table_id] = Assessed(venue_id=venue_id, work=found_work)
    return found


def _steps_of_schedules(listed: Timetable | None, controller: Controller) -> int:
    """Return the effort of what is listed for a table: its entries, and the prices that its controller is too small for."""
    schedules = [stretch.schedule for stretch in (listed.stretches if listed else ()) if stretch.schedule]
    too_many = sum(too_many_prices(schedule, controller) for schedule in set(schedules))
    return _STEPS_OF_AN_ENTRY * sum(len(schedule.entries) for schedule in schedules) + STEPS_OF_A_PRICE * too_many


def _save(
    session: Session, found: Mapping[UUID, Assessed], notes: Mapping[UUID, Sequence[int]], *, now: datetime
) -> None:
    """Replace the stored work of the tables whose notes are still there, and take those notes away."""
    query = select(PoolTableRow.id).where(col(PoolTableRow.id).in_(found)).order_by(col(PoolTableRow.id))
    ids = session.exec(query.with_for_update(key_share=True)).all()
    seen = [note_id for table_id in ids for note_id in notes[table_id]]
    still = select(TouchedRow.pool_table_id).where(col(TouchedRow.id).in_(seen))
    current = set(session.exec(still).all())
    session.execute(delete(TouchedRow).where(col(TouchedRow.id).in_(seen)))
    stored: dict[UUID, dict[UUID, Mapping[str, Any]]] = {table_id: {} for table_id in ids if table_id in current}
    for row in session.execute(select_columns(WORK).where(WORK.c.pool_table_id.in_(stored))).mappings():
        stored[row["pool_table_id"]][row["id"]] = dict(row)
    before = {id_: row for of_table in stored.values() for id_, row in of_table.items()}
    after = {
        work.id_at(table_id): _values(table_id, found[table_id], work, of_table, now)
        for table_id, of_table in stored.items()
        for work in found[table_id].work
    }
    note_changes(session, "work", _replace(session, before, after), now=now)


def _values(
    table_id: UUID, found: Assessed, work: Work, before: Mapping[UUID, Mapping[str, Any]], now: datetime
) -> dict[str, object]:
    """Return the values of a row; a table that could not be assessed keeps the date since which it cannot."""
    known = before.get(work.id_at(table_id))
    values = stored_values(table_id, found, work, known, now=now)
    return {**values, "due_at": known["due_at"]} if known and work.code == "not_assessed" else values


def _replace(
    session: Session, before: Mapping[UUID, Mapping[str, Any]], after: Mapping[UUID, dict[str, object]]
) -> list[UUID]:
    """Store the difference between two states of the work at some tables; return what has changed."""
    changed = {
        id_: values
        for id_, values in after.items()
        if id_ not in before or any(values[name] != before[id_][name] for name in values if name != "assessed_at")
    }
    gone = [id_ for id_ in before if id_ not in after or id_ in changed]
    if gone:
        session.execute(delete(WorkRow).where(col(WorkRow.id).in_(gone)))
    if changed:
        session.connection().execute(WORK.insert(), list(changed.values()))
    return [*changed, *(id_ for id_ in gone if id_ not in changed)]
