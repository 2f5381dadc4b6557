"""Where a table can be: at a venue, in a place of the operator's, or gone from the route.

- A table that is retired, sold or lost is gone: it takes no reading, collection or keying of a later time.
"""

from __future__ import annotations

from typing import Literal, get_args

Place = Literal["venue", "workshop", "storage", "retired", "sold", "lost"]

OwnPlace = Literal["workshop", "storage"]
"""Where a table is between venues."""

Gone = Literal["retired", "sold", "lost"]
"""How a table can leave the route."""

PLACES: tuple[Place, ...] = get_args(Place)

GONE: tuple[Gone, ...] = get_args(Gone)

IN_WORDS: dict[Place, str] = {
    "venue": "the venue",
    "workshop": "the workshop",
    "storage": "storage",
    "retired": "retired",
    "sold": "sold",
    "lost": "lost",
}
