"""Stored work as its message, and found work as it is stored."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from ..pool_tables.schemas import CautionOut
from ..store.feeds import LastChangeRow
from .assessment import Assessed
from .rows import CompletionRow, WorkRow
from .schemas import CompletionOut, DeferralOut, VenueWorkOut, WorkChangeOut, WorkOut
from .work import AT_ONCE, Work, cautions_for, closing_of


def work_out(row: WorkRow, *, label: str, venue: str | None, contact: str | None) -> WorkOut:
    """Write a piece of work as its message."""
    closing = closing_of(row.kind, row.code)
    return WorkOut.model_validate(
        {
            **row.model_dump(include={"id", "due_at", "kind", "code", "reason", "bring", "needs_key", "words"}),
            "table_id": row.pool_table_id,
            "table": label,
            "venue_id": row.venue_id,
            "venue": venue,
            "contact": contact or "",
            "refers_to": row.refers_to,
            "closes_by": closing.by,
            "closes_when": closing.detail,
            "person": row.person,
            "deferral": None
            if row.deferred_until_on is None
            else DeferralOut(until=row.deferred_until_on, reason=row.deferred_reason),
            "cautions": [CautionOut(code=caution.code, detail=caution.detail) for caution in cautions_for(row.dangers)],
        }
    )


def groups_out(items: Sequence[WorkOut]) -> list[VenueWorkOut]:
    """Write the venues of some work in order of time: the venue with the earliest item first."""
    by_venue: dict[UUID | None, list[WorkOut]] = {}
    for item in items:
        by_venue.setdefault(item.venue_id, []).append(item)
    return [
        VenueWorkOut(
            venue_id=venue_id,
            venue=found[0].venue,
            contact=found[0].contact,
            due_at=found[0].due_at,
            work=[item.id for item in found],
        )
        for venue_id, found in by_venue.items()
    ]


def work_change_out(change: LastChangeRow, found: tuple[WorkRow, WorkOut] | None) -> WorkChangeOut:
    """Write a change of the list, with the work as it is now; none where it has left the list."""
    row, work = found or (None, None)
    shows_from = None if row is None or row.lead_days == AT_ONCE else row.due_at - timedelta(days=row.lead_days)
    return WorkChangeOut(
        number=change.number,
        id=change.subject_id,
        changed_at=change.changed_at,
        work=work,
        shows_from=shows_from,
        ends_at=None if row is None else row.ends_at,
    )


def completion_out(row: CompletionRow) -> CompletionOut:
    """Write a completion as its message."""
    values = row.model_dump(exclude={"pool_table_id"})
    return CompletionOut.model_validate({**values, "table_id": row.pool_table_id})


def stored_values(
    table_id: UUID, found: Assessed, work: Work, before: Mapping[str, Any] | None, *, now: datetime
) -> dict[str, object]:
    """Return a piece of work as the values of its row.

    ``before`` is the row that it replaces: whom it was given to stays, and so does until when it was put off, unless
    another reason has taken the place of the one that was put off.
    """
    known = before or {}
    put_off = known if known.get("code") == work.code else {}
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
        "person": known.get("person"),
        "deferred_until_on": put_off.get("deferred_until_on"),
        "deferred_until_at": put_off.get("deferred_until_at"),
        "deferred_reason": put_off.get("deferred_reason", ""),
        "announced_code": known.get("announced_code"),
    }
