"""Reads the places of a price grid: venues, what each lists, and the denominations that its tables take."""

from collections import defaultdict
from collections.abc import Collection
from uuid import UUID

from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow


def denominations(session: Session, venue_ids: Collection[UUID]) -> dict[UUID, list[str]]:
    """Return the coins and notes that the tables at each of some venues take now, as amounts, each once."""
    query = select(PoolTableRow).where(col(PoolTableRow.venue_id).in_(venue_ids)).order_by(col(PoolTableRow.id))
    found: defaultdict[UUID, dict[str, None]] = defaultdict(dict)
    for row in session.exec(query).all():
        if row.venue_id is not None:
            found[row.venue_id].update(dict.fromkeys(row.profile["accepts"]))
    return {venue_id: list(amounts) for venue_id, amounts in found.items()}
