"""Reads the figures of the route that are worth watching."""

from sqlalchemy import func
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..ledger.rows import EntryRow
from ..pool_tables.rows import PoolTableRow
from ..readings.rows import ReadingRow
from ..webhooks.queries import read_outbox
from ..worklist.rows import WorkRow
from .exposition import Watched


def read_watched(session: Session) -> Watched:
    """Return the figures, by a step into an index for each table at a venue."""
    newest = (
        select_columns(func.max(col(ReadingRow.taken_at)))
        .where(col(ReadingRow.pool_table_id) == col(PoolTableRow.id))
        .correlate(PoolTableRow)
        .scalar_subquery()
    )
    read_at = session.execute(select_columns(newest).where(col(PoolTableRow.venue_id).is_not(None))).scalars().all()
    known = [at for at in read_at if at is not None]
    work = session.exec(select(WorkRow.kind, func.count()).group_by(col(WorkRow.kind)))
    outbox = read_outbox(session)
    return Watched(
        tables=len(read_at),
        never_read=len(read_at) - len(known),
        oldest_reading_at=min(known, default=None),
        open_work=dict(work.all()),
        webhooks_waiting=outbox.waiting,
        webhooks_oldest_due_at=outbox.oldest_due_at,
        webhooks_gave_up=outbox.gave_up,
        entries=session.exec(select(func.coalesce(func.max(EntryRow.number), 0))).one(),
    )
