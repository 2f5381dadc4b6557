"""Where a table can be: at a venue, in a place of the operator's, or gone from the route.

- A table that is retired, sold or lost is gone: it takes no reading, collection or keying of a later time.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Literal, get_args

Place = Literal["venue", "workshop", "storage", "retired", "sold", "lost"]

OwnPlace = Literal["workshop", "storage"]
"""Where a table is between venues."""

Gone = Literal["retired", "sold", "lost"]
"""How a table can leave the route."""

PLACES: tuple[Place, ...] = get_args(Place)

GONE_PLACES: tuple[Gone, ...] = get_args(Gone)

PLACE_IN_WORDS: dict[Place, str] = {
    "venue": "the venue",
    "workshop": "the workshop",
    "storage": "storage",
    "retired": "retired",
    "sold": "sold",
    "lost": "lost",
}


def counts_since(stay_from_at: datetime, *, made_at: datetime, void_placed_at: datetime | None) -> datetime:
    """Return the instant from which facts belong to a table's stay (R4).

    A table made without ``placed_at``, or whose ``placed_at`` was voided, has stood there since before its first reading:
    its first stay is stored as beginning when the table was made, and nothing observed there is from before the table
    existed.
    """
    return _BEFORE_ALL if stay_from_at == made_at or void_placed_at is not None else stay_from_at


_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
