"""Stored work as its message, and found work as it is stored."""

from datetime import datetime
from uuid import UUID

from ..pool_tables.schemas import CautionOut
from .assessment import Assessed
from .rows import CompletionRow, WorkRow
from .schemas import CompletionOut, WorkOut
from .work import Work, cautions_for


def work_out(row: WorkRow, *, label: str, venue: str | None, contact: str | None) -> WorkOut:
    """Write a piece of work as its message."""
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


def completion_out(row: CompletionRow) -> CompletionOut:
    """Write a completion as its message."""
    values = row.model_dump(exclude={"pool_table_id"})
    return CompletionOut.model_validate({**values, "table_id": row.pool_table_id})


def stored_values(table_id: UUID, found: Assessed, work: Work, *, now: datetime) -> dict[str, object]:
    """Return a piece of work as the values of its row."""
    return {
        "id": work.id_at(table_id),
        "pool_table_id": table_id,
        "venue_id": found.venue_id,
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
