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
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Engine, delete, insert
from sqlalchemy import select as select_columns
from sqlalchemy.exc import OperationalError
from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow
from ..store.changes import TouchedRow, note_tables
from ..store.db import lock, reading, writing
from ..venues.rows import VenueRow
from ..web.errors import Problem, not_found
from .assessment import Assessed, find_work
from .convert import completion_out, stored_values, work_out
from .queries import WORK, Wanted, has_wide_notes, load_work, shown, touched_tables, waiting, work_facts
from .rows import CompletionRow, WorkRow
from .schemas import CompletionIn, CompletionOut, Cursor, WorklistOut
from .work import NEEDS_WORDS, Work, not_assessed

AT_ONCE_MAX = 25
"""Tables assessed on one snapshot, and saved in one short transaction."""
CATCH_UP_MAX = 100
"""Tables assessed before one answer."""

_log = logging.getLogger(__name__)


def catch_up(engine: Engine, *, now: datetime, at_most: int = CATCH_UP_MAX) -> int:
    """Assess the tables that were touched first; return how many were."""
    _spread_wide_notes(engine)
    assessed = 0
    while assessed < at_most:
        found = _catch_up_once(engine, now=now, at_most=min(AT_ONCE_MAX, at_most - assessed))
        if not found:
            break
        assessed += found
    return assessed


def sweep(engine: Engine, *, after: UUID | None, now: datetime) -> UUID | None:
    """Assess the next tables of a sweep over all; return the last of them, None where there are none left."""
    _spread_wide_notes(engine)
    with writing(engine) as session:
        query = select(PoolTableRow.id).order_by(col(PoolTableRow.id)).limit(AT_ONCE_MAX)
        ids = session.exec(query if after is None else query.where(col(PoolTableRow.id) > after)).all()
        note_tables(session, ids)
    if not ids:
        return None
    _catch_up_once(engine, now=now, at_most=len(ids), only=ids)
    return ids[-1]


def page_work(session: Session, wanted: Wanted, *, now: datetime) -> WorklistOut:
    """Return the work to show now, earliest due first."""
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
    items = [
        work_out(row, label=label, venue=venue, contact=contact) for row, label, venue, contact in rows[: wanted.limit]
    ]
    more = len(rows) > wanted.limit
    return WorklistOut(
        items=items,
        next=str(Cursor(items[-1].due_at, items[-1].id)) if more else None,
        waiting=waiting(session),
    )


def complete_work(session: Session, work_id: UUID, message: CompletionIn, *, now: datetime, by: str) -> CompletionOut:
    """Close a difference or a signal in words (C11).

    Refuses (``not_found``) work that is not on the list, and (``closed_by_a_record``) work that needs no words.
    """
    lock(session, f"work:{work_id}")
    work = session.get(WorkRow, work_id)
    if work is None:
        raise not_found("work")
    if work.code not in NEEDS_WORDS:
        raise Problem("closed_by_a_record")
    row = CompletionRow(
        work_id=work.id,
        pool_table_id=work.pool_table_id,
        code=work.code,
        reason=work.reason,
        refers_to=work.refers_to,
        outcome=message.outcome,
        words=message.words,
        completed_at=now,
        completed_by=by,
    )
    session.add(row)
    session.flush()
    session.delete(work)
    session.flush()
    return completion_out(row)


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


def _catch_up_once(engine: Engine, *, now: datetime, at_most: int, only: Collection[UUID] | None = None) -> int:
    """Load, decide and save the work at some touched tables; return how many were assessed."""
    with reading(engine) as session:
        notes = touched_tables(session, at_most=at_most, only=only)
        found = _assess(session, list(notes), now=now) if notes else {}
    if found:
        with writing(engine) as session:
            _save(session, found, notes, now=now)
    return len(found)


def _assess(session: Session, table_ids: Sequence[UUID], *, now: datetime) -> dict[UUID, Assessed]:
    """Return the work at some tables, of one that cannot be judged that it cannot."""
    found: dict[UUID, Assessed] = {}
    for table_id, stored in load_work(session, table_ids, now=now).items():
        venue_id = stored.table.table.venue_id
        try:
            with session.begin_nested():
                facts = work_facts(session, stored)
            work = find_work(facts, now=now)
        except OperationalError:
            raise  # the database is busy or away: no fault of this table
        except Exception:
            _log.exception("Table %s could not be assessed.", table_id)
            work = (not_assessed(due_at=now),)
        found[table_id] = Assessed(venue_id=venue_id, work=work)
    return found


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
    for table_id, before in stored.items():
        after = {
            work.id_at(table_id): _values(table_id, found[table_id], work, before, now) for work in found[table_id].work
        }
        _replace(session, before, after)


def _values(
    table_id: UUID, found: Assessed, work: Work, before: Mapping[UUID, Mapping[str, Any]], now: datetime
) -> dict[str, object]:
    """Return the values of a row; a table that could not be assessed keeps the date since which it cannot."""
    values = stored_values(table_id, found, work, now=now)
    known = before.get(work.id_at(table_id))
    return {**values, "due_at": known["due_at"]} if known and work.code == "not_assessed" else values


def _replace(
    session: Session, before: Mapping[UUID, Mapping[str, Any]], after: Mapping[UUID, dict[str, object]]
) -> None:
    """Store the difference between two states of a table's work, in a savepoint of its own."""
    changed = {
        id_: values
        for id_, values in after.items()
        if id_ not in before or any(values[name] != before[id_][name] for name in values if name != "assessed_at")
    }
    gone = [id_ for id_ in before if id_ not in after or id_ in changed]
    if not (changed or gone):
        return
    with session.begin_nested():
        if gone:
            session.execute(delete(WorkRow).where(col(WorkRow.id).in_(gone)))
        if changed:
            session.execute(insert(WorkRow), list(changed.values()))
