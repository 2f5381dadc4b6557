"""Disputes in the database: raised on a collection, open until they are answered, never changed (C8)."""

from datetime import datetime
from uuid import UUID

from sqlmodel import Session

from ..store.clock import new_id
from ..store.db import hold
from ..web.errors import Problem, not_found
from .convert import dispute_out
from .rows import DisputeAnswerRow, DisputeRow
from .schemas import DisputeAnswerIn, DisputeIn, DisputeOut
from .service import get_collection


def raise_dispute(session: Session, collection_id: UUID, message: DisputeIn, *, now: datetime) -> DisputeOut:
    """Hang a dispute on a collection, however it stands."""
    get_collection(session, collection_id)
    row = DisputeRow(
        id=new_id(),
        collection_id=collection_id,
        raised_by=message.by,
        claims=message.claims,
        reason=message.reason,
        raised_at=now,
    )
    session.add(row)
    session.flush()
    return dispute_out(row, None)


def answer_dispute(
    session: Session, collection_id: UUID, dispute_id: UUID, message: DisputeAnswerIn, *, now: datetime
) -> DisputeOut:
    """Answer a dispute, which closes it; refuse a second answer (``already_answered``)."""
    hold(session, f"dispute:{dispute_id}")
    row = session.get(DisputeRow, dispute_id)
    if row is None or row.collection_id != collection_id:
        raise not_found("dispute")
    if session.get(DisputeAnswerRow, dispute_id) is not None:
        raise Problem("already_answered")
    answer = DisputeAnswerRow(dispute_id=row.id, answered_by=message.by, answer=message.answer, answered_at=now)
    session.add(answer)
    session.flush()
    return dispute_out(row, answer)
