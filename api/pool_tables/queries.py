"""Reads where tables were.

- Where a table was is asked of its stays whenever somebody reads, and never kept with a fact: the record of a move may
  come after what was read or reported where the table went (C9).
"""

from typing import Any
from uuid import UUID

from sqlalchemy import ScalarSelect, func, or_
from sqlalchemy.orm import aliased
from sqlmodel import col, select

from .rows import StayRow


def venue_id_at(table_id: Any, at: Any) -> ScalarSelect[UUID | None]:
    """Return the venue where a table was at an instant, both columns; null in the workshop; before the first stay, the first stay's."""
    first = aliased(StayRow)
    begun = select(func.min(first.from_at)).where(col(first.pool_table_id) == table_id, col(first.voided_at).is_(None))
    return (
        select(StayRow.venue_id)
        .where(
            col(StayRow.pool_table_id) == table_id,
            col(StayRow.voided_at).is_(None),
            or_(col(StayRow.from_at) <= at, col(StayRow.from_at) == begun.scalar_subquery()),
        )
        .order_by(col(StayRow.from_at).desc(), col(StayRow.sequence).desc())
        .limit(1)
        .scalar_subquery()
    )


def was_at(venue_id: UUID, table_id: Any, at: Any) -> tuple[Any, Any]:
    """Return the conditions that a table (a column) was at a venue at an instant (a column)."""
    ever = select(StayRow.pool_table_id).where(StayRow.venue_id == venue_id)
    return table_id.in_(ever), venue_id_at(table_id, at) == venue_id
