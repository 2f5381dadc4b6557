"""Whether a table that leaves the route may still have money in its box.

- A box is known to be empty from its last collection, or from a move with its box emptied, whichever is later.
- After a day at a venue since then it may hold money: the last collection is asked for.
- Of a table that was lost nobody can collect anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

PLAYED_AFTER = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Stayed:
    """Where a table was from an instant on, and whether its box was empty as it came there."""

    from_at: datetime
    at_venue: bool
    box_empty: bool


def may_hold_money(stays: Sequence[Stayed], *, collected_at: datetime | None, at: datetime) -> bool:
    """Tell whether a table's box may hold money at an instant, by its stays in time order and its last collection.

    A table's first stay begins with an empty box.
    """
    empty_at = max(
        [
            *(
                stay.from_at
                for place, stay in enumerate(stays)
                if (stay.box_empty or place == 0) and stay.from_at <= at
            ),
            *([collected_at] if collected_at is not None else []),
        ],
        default=at,
    )
    ends = [*(stay.from_at for stay in stays[1:]), at]
    played = sum(
        (
            max(min(end, at) - max(stay.from_at, empty_at), timedelta())
            for stay, end in zip(stays, ends, strict=True)
            if stay.at_venue
        ),
        timedelta(),
    )
    return played > PLAYED_AFTER
