"""One history of a table's meters, from all who wrote the numbers down (G4).

- Readings, collections, moves and jobs all write down what meters show; the history has them all in the order of time.
- Of one instant the reading comes first, then the job, the collection, the move: a meter that is reset at a collection
  is read before it.
- A collection empties the box, and so does a move that states it, also where no meter was read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Counts:
    """The meters that were read at one instant, by name."""

    taken_at: datetime
    values: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class MeterHistory:
    """What the meters showed, and when the box was emptied; both in time order."""

    counts: tuple[Counts, ...] = ()
    emptied_at: tuple[datetime, ...] = ()


def one_history(
    *,
    readings: Iterable[Counts] = (),
    jobs: Iterable[Counts] = (),
    collections: Iterable[Counts] = (),
    moves_with_box: Iterable[Counts] = (),
    moves_emptied: Iterable[Counts] = (),
) -> MeterHistory:
    """Return the one history; ``moves_with_box`` took the box along as it was, ``moves_emptied`` emptied it first."""
    collected, emptied = tuple(collections), tuple(moves_emptied)
    in_order = (*readings, *jobs, *collected, *moves_with_box, *emptied)
    return MeterHistory(
        counts=tuple(sorted((counts for counts in in_order if counts.values), key=lambda counts: counts.taken_at)),
        emptied_at=tuple(sorted(counts.taken_at for counts in (*collected, *emptied))),
    )
