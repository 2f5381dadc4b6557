"""One history of a table's meters, from all who wrote the numbers down (G4).

- Readings, collections, moves and jobs all write down what meters show; the history has them all in the order of time.
- Of one instant the reading comes first, then the job, the collection, the move: a meter that is reset at a collection
  is read before it.
- A collection empties the box, and so does a move that states it, also where no meter was read.
- A table's first stay is no move.

It says what the meters showed when. From which of these numbers a collection goes on is another rule, for it asks which
of two at one instant came first and whether the box travelled: ``collections.meter_baseline`` has it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


@dataclass(frozen=True, slots=True)
class MetersRead:
    """The meters that were read at one instant, by name."""

    taken_at: datetime
    values: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class MeterHistory:
    """What the meters showed, and when the box was emptied; both in time order."""

    counts: tuple[MetersRead, ...] = ()
    emptied_at: tuple[datetime, ...] = ()


class Arrival(Protocol):
    """A table's coming to a place, where it then stayed: what was read on the way, and what became of its box."""

    @property
    def from_at(self) -> datetime: ...
    @property
    def meters(self) -> Mapping[str, int]: ...
    @property
    def box(self) -> str: ...


def one_history(
    *,
    readings: Iterable[MetersRead] = (),
    jobs: Iterable[MetersRead] = (),
    collections: Iterable[MetersRead] = (),
    stays: Sequence[Arrival] = (),
    from_at: datetime | None = None,
    to_at: datetime | None = None,
) -> MeterHistory:
    """Return the one history from an instant to another, both included; ``stays`` are all of a table's, in time order."""

    def in_time(at: datetime) -> bool:
        return (from_at is None or from_at <= at) and (to_at is None or at <= to_at)

    collected, moves = tuple(collections), stays[1:]
    in_order = (*readings, *jobs, *collected, *(MetersRead(stay.from_at, stay.meters) for stay in moves))
    shown = (counts for counts in in_order if counts.values and in_time(counts.taken_at))
    emptied = (
        *(counts.taken_at for counts in collected),
        *(stay.from_at for stay in moves if stay.box == "emptied"),
    )
    return MeterHistory(
        counts=tuple(sorted(shown, key=lambda counts: counts.taken_at)),
        emptied_at=tuple(sorted(filter(in_time, emptied))),
    )
