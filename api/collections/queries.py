"""How stored collections stand now: gathers what hangs on each of them, and writes them."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from ..settlements.rows import ReversalRow, SettlementRow
from .convert import Around, collection_out
from .rows import CollectedTableRow, CollectionRow, DisputeAnswerRow, DisputeRow
from .schemas import CollectionOut


def around(session: Session, ids: Sequence[UUID]) -> dict[UUID, Around]:
    """Return what hangs on each of these collections."""
    found: dict[UUID, Around] = defaultdict(Around)
    tables = select(CollectedTableRow).where(col(CollectedTableRow.collection_id).in_(ids))
    for table in session.exec(tables.order_by(col(CollectedTableRow.place))).all():
        found[table.collection_id].tables.append(table)
    for settlement in session.exec(select(SettlementRow).where(col(SettlementRow.collection_id).in_(ids))).all():
        found[settlement.collection_id].settlement = settlement
    for reversal in session.exec(select(ReversalRow).where(col(ReversalRow.collection_id).in_(ids))).all():
        found[reversal.collection_id].reversal = reversal
    disputes = (
        select(DisputeRow, DisputeAnswerRow)
        .join(DisputeAnswerRow, col(DisputeAnswerRow.dispute_id) == col(DisputeRow.id), isouter=True)
        .where(col(DisputeRow.collection_id).in_(ids))
        .order_by(col(DisputeRow.id))
    )
    for dispute, answer in session.exec(disputes).all():
        found[dispute.collection_id].disputes.append((dispute, answer))
    return found


def collections_out(session: Session, rows: Sequence[CollectionRow]) -> list[CollectionOut]:
    """Write stored collections as they stand."""
    found = around(session, [row.id for row in rows])
    return [collection_out(row, found[row.id]) for row in rows]


def emptied_at(session: Session, table_id: UUID) -> list[datetime]:
    """Return when a table's box was emptied, in time order, by the collections that stand."""
    query = (
        select(CollectionRow.collected_at)
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(CollectedTableRow.pool_table_id == table_id)
        .where(col(CollectionRow.id).not_in(select(ReversalRow.collection_id)))
        .order_by(col(CollectionRow.collected_at))
    )
    return list(session.exec(query).all())


def table_ids_of(session: Session, collection_id: UUID) -> list[UUID]:
    """Return the tables of a collection."""
    query = select(CollectedTableRow.pool_table_id).where(CollectedTableRow.collection_id == collection_id)
    return list(session.exec(query).all())
