"""The worklist in the database: found when something arrives, read in the order in which it is due (V1).

- ``assess`` finds all the work at some tables anew and stores the difference to what stands: nothing is reckoned from
  history when the list is read.
- Whoever records something only notes which tables it touched (``store.changes``); whoever reads the list next, and
  every sweep, first assesses those (``catch_up``), each table once.
- While a table is assessed, others who assess it wait, so that what stands is found from all that is recorded.
- Work is stored with the date from which it shows, so that time alone brings it up. What time changes and cannot be
  foreseen (the forecasts' own words, the clock change after next, work that ended of itself) a sweep over all tables
  sets right: ``baizebook assess``, once a day.
- A page costs a few steps into an index for each lead, whatever the number of tables.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import Select, delete, distinct, func, insert, or_, union_all
from sqlalchemy import select as select_columns
from sqlmodel import Session, SQLModel, col, select

from ..pool_tables.rows import PoolTableRow
from ..pool_tables.schemas import CautionOut
from ..store.changes import TouchedRow
from ..venues.rows import VenueRow
from ..web.errors import not_found
from .charging import charging
from .clocks import clock_work
from .full_box import box_work
from .keying import keying_work
from .queries import Gathered, box_of, gather, keying_facts, licence_of, news_of
from .reviews import difference_review, dispute_reviews, licence_work, meter_reviews
from .rows import WorkRow
from .schemas import Cursor, WorklistOut, WorkOut
from .silence import silence_work
from .work import LEADS, Work, cautions_for, on_the_spot

AT_A_TIME = 200

CATCH_UP_MOST = 100
_NOTES_AT_A_TIME = 5_000
WORK = SQLModel.metadata.tables[WorkRow.__tablename__]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which part of the list: of one venue, due before an instant, after a place, at most so much."""

    venue_id: UUID | None = None
    due_before: datetime | None = None
    after: Cursor | None = None
    limit: int = 100


def assess(session: Session, table_ids: Collection[UUID], *, now: datetime) -> None:
    """Bring the work at some tables up to date with all that is recorded of them."""
    for ids in _batches(sorted(set(table_ids))):
        tables = _held(session, ids)
        found = {
            known.table.id: [work for work in work_at(session, known, now=now) if not _is_over(work, now)]
            for known in gather(session, tables, now=now)
        }
        _store(session, tables, found, now=now)


def catch_up(session: Session, *, now: datetime, most: int = CATCH_UP_MOST) -> int:
    """Assess the tables that were touched first, at most so many; return how many were."""
    _spread_notes(session)
    touched = select(TouchedRow.pool_table_id).order_by(col(TouchedRow.id)).limit(_NOTES_AT_A_TIME)
    ids = [id_ for id_ in dict.fromkeys(session.exec(touched).all()) if id_ is not None][:most]
    # The notes go first: one that is written from here on stays, for what it stands for may not be seen below.
    for batch in _batches(ids):
        session.execute(delete(TouchedRow).where(col(TouchedRow.pool_table_id).in_(batch)))
    assess(session, ids, now=now)
    return len(ids)


def _spread_notes(session: Session) -> None:
    """Write a note for each table in place of the notes that name a venue, or every table."""
    wide = select(TouchedRow.id, TouchedRow.venue_id).where(col(TouchedRow.pool_table_id).is_(None))
    notes = session.exec(wide).all()
    if not notes:
        return
    tables = select_columns(col(PoolTableRow.id))
    if all(venue_id is not None for _, venue_id in notes):
        tables = tables.where(col(PoolTableRow.venue_id).in_({venue_id for _, venue_id in notes}))
    session.execute(delete(TouchedRow).where(col(TouchedRow.id).in_([id_ for id_, _ in notes])))
    session.execute(insert(TouchedRow).from_select(["pool_table_id"], tables))


def assess_after(session: Session, *, after: UUID | None, now: datetime) -> UUID | None:
    """Assess the next tables of a sweep over all; return the last of them, None where there are none left."""
    query = select(PoolTableRow.id).order_by(col(PoolTableRow.id)).limit(AT_A_TIME)
    ids = session.exec(query if after is None else query.where(col(PoolTableRow.id) > after)).all()
    _spread_notes(session)
    session.execute(delete(TouchedRow).where(col(TouchedRow.pool_table_id).in_(ids)))
    assess(session, ids, now=now)
    return ids[-1] if ids else None


def work_at(session: Session, known: Gathered, *, now: datetime) -> list[Work]:
    """Return all the work at a table; one in the workshop has only what is not done at a venue."""
    currency = known.venue.currency
    last = known.collected[-1] if known.collected else None
    licence = licence_of(known)
    work = [
        *meter_reviews(known.health.meters, collected_at=known.last_collected_at, currency=currency),
        *difference_review(last.counted if last else None, currency=currency, zone=known.zone),
        *dispute_reviews(known.disputes),
        *(licence_work(licence[0], expires_at=licence[1], zone=known.zone) if licence else ()),
    ]
    keying = keying_facts(session, known)
    if keying is None:
        return work
    box = box_of(known)
    capacity_ah = (known.table.profile.get("power") or {}).get("capacity_ah")
    return [
        *work,
        *charging(known.health, capacity_ah=capacity_ah),
        *clock_work(
            known.health,
            stands_since=known.stay.from_at,
            tolerance_s=known.tolerance_s,
            dangers=on_the_spot(on_mains=known.on_mains),
            now=now,
        ),
        *keying_work(keying, now=now),
        *silence_work(news_of(known)),
        *(box_work(box, now=now) if box else ()),
    ]


def page_work(session: Session, wanted: Wanted, *, now: datetime) -> WorklistOut:
    """Return the work that shows now, what is due first first."""
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
    items = [_work_out(row, label, venue, contact) for row, label, venue, contact in rows[: wanted.limit]]
    more = len(rows) > wanted.limit
    return WorklistOut(
        items=items,
        next=str(Cursor(items[-1].due_at, items[-1].id)) if more else None,
        waiting=_waiting(session),
    )


def shown(wanted: Wanted, *, now: datetime) -> Select[UUID, datetime]:
    """Return the query for what shows now: of each lead the first that are due, and of these the first."""
    work, arms = WORK.c, []
    for lead in LEADS:
        of_lead = (
            select_columns(work.id, work.due_at)
            .where(work.lead_days == lead, work.due_at <= now + timedelta(days=lead))
            .where(or_(work.ends_at.is_(None), work.ends_at > now))
            .order_by(work.due_at, work.id)
            .limit(wanted.limit + 1)
        )
        if wanted.venue_id is not None:
            of_lead = of_lead.where(work.venue_id == wanted.venue_id)
        if wanted.due_before is not None:
            of_lead = of_lead.where(work.due_at < wanted.due_before)
        if wanted.after is not None:
            due_at, id_ = wanted.after.due_at, wanted.after.id
            of_lead = of_lead.where(work.due_at >= due_at, or_(work.due_at > due_at, work.id > id_))
        arms.append(select_columns(of_lead.subquery()))
    everything = union_all(*arms).subquery()
    return select_columns(everything).order_by(everything.c.due_at, everything.c.id).limit(wanted.limit + 1)


def _waiting(session: Session) -> int:
    marks = select_columns(col(TouchedRow.pool_table_id)).limit(_NOTES_AT_A_TIME).subquery()
    return int(session.execute(select_columns(func.count(distinct(marks.c.pool_table_id)))).scalar_one())


def _batches(ids: list[UUID]) -> list[list[UUID]]:
    return [ids[start : start + AT_A_TIME] for start in range(0, len(ids), AT_A_TIME)]


def _held(session: Session, ids: Sequence[UUID]) -> Sequence[PoolTableRow]:
    """Return tables as they are now, and let nobody else assess them until this transaction ends."""
    query = select(PoolTableRow).where(col(PoolTableRow.id).in_(ids)).order_by(col(PoolTableRow.id))
    return session.exec(query.with_for_update(key_share=True).execution_options(populate_existing=True)).all()


def _is_over(work: Work, now: datetime) -> bool:
    return work.ends_at is not None and work.ends_at <= now


def _store(session: Session, tables: Sequence[PoolTableRow], found: dict[UUID, list[Work]], *, now: datetime) -> None:
    """Replace what stands of some tables where it differs from what was found."""
    ids = [table.id for table in tables]
    stood = {row.id: row._mapping for row in session.execute(select_columns(WORK).where(WORK.c.pool_table_id.in_(ids)))}
    wanted = {
        values["id"]: values for table in tables for work in found[table.id] for values in (_row_of(work, table, now),)
    }
    changed = {
        id_: values
        for id_, values in wanted.items()
        if id_ not in stood or any(values[name] != stood[id_][name] for name in values if name != "assessed_at")
    }
    gone = [id_ for id_ in stood if id_ not in wanted or id_ in changed]
    if gone:
        session.execute(delete(WorkRow).where(col(WorkRow.id).in_(gone)))
    if changed:
        session.execute(insert(WorkRow), list(changed.values()))


def _row_of(work: Work, table: PoolTableRow, now: datetime) -> dict[str, object]:
    return {
        "id": work.id_at(table.id),
        "pool_table_id": table.id,
        "venue_id": table.venue_id,
        "kind": work.kind,
        "code": work.code,
        "due_at": work.due_at,
        "lead_days": work.lead_days,
        "ends_at": work.ends_at,
        "reason": work.reason,
        "bring": list(work.bring),
        "needs_key": work.needs_key,
        "dangers": list(work.dangers),
        "words": work.words,
        "refers_to": work.refers_to,
        "assessed_at": now,
    }


def _work_out(row: WorkRow, label: str, venue: str | None, contact: str | None) -> WorkOut:
    return WorkOut.model_validate(
        {
            **row.model_dump(include={"id", "due_at", "kind", "code", "reason", "bring", "needs_key", "words"}),
            "table_id": row.pool_table_id,
            "table": label,
            "venue_id": row.venue_id,
            "venue": venue,
            "contact": contact or "",
            "refers_to": row.refers_to,
            "cautions": [CautionOut(code=caution.code, detail=caution.detail) for caution in cautions_for(row.dangers)],
        }
    )
