"""The baseline of a collection: when its box was last empty, and what the meters showed then.

- A box is empty after a collection that was not reversed, after a later move that emptied it (C1), and at the time that
  somebody states for the days before the books began. The latest of these before a collection is its baseline.
- Collections of one instant go in the order of their ids, also where they arrived in another order.
- A box that travelled is counted since before the move. A reset of the meters since leaves no baseline (R5).
- A table has one history of each meter: readings, collections, moves and jobs are asked alike whether a meter was ever
  read before (G4).
- A move out of the workshop that reads no meter empties a box that nobody could fill: the emptying before it counts.

``readings.meter_history`` has what the meters showed over time, in which two numbers of one instant are two numbers. Here
one of them is the number that a collection goes on from: who was first, and what the collection itself states, decide it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import accumulate
from uuid import UUID

from ..controllers.sells import Machine
from ..jobs.out_of_order import OutOfOrder
from ..readings.meters import Meter
from .box_count import EmptiedBefore

_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Since:
    """When a box was last empty, what the meters showed then, and whether meters that are reset then were reset."""

    at: datetime
    meters: Mapping[str, int]
    emptied: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Where a table was from an instant on (None: the workshop), and what was read when it came there."""

    from_at: datetime
    venue_id: UUID | None
    meters: Mapping[str, int]
    box: str
    left_route: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Collected:
    """A collection of the table that was not reversed: when, what the meters showed, and what it states of before."""

    id: UUID
    at: datetime
    meters: Mapping[str, int]
    emptied_before: EmptiedBefore | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TableHistory:
    """The facts of one table that an expectation is judged from; all sequences are in the order of time.

    ``first_read_at`` has the time at which a reading or a job first read each meter; ``machine`` is what is known of the
    controller, where a price may be asked. ``out_of_order`` are the times in which nobody could play, ``tried`` the
    money that jobs put in to try the table, in minor units by the time of their end.
    """

    table_id: UUID
    label: str
    meters: tuple[Meter, ...]
    accepts: tuple[int, ...]
    stays: tuple[Stay, ...]
    collected: tuple[Collected, ...] = ()
    reset_at: tuple[datetime, ...] = ()
    first_read_at: Mapping[str, datetime]
    machine: Machine | None = None
    out_of_order: tuple[OutOfOrder, ...] = ()
    tried: tuple[tuple[datetime, int], ...] = ()
    _order: tuple[tuple[datetime, int], ...] = field(init=False, repr=False, compare=False)
    _read_up_to: tuple[frozenset[str], ...] = field(init=False, repr=False, compare=False)
    _stated: tuple[EmptiedBefore, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Keep what every collection of the table asks of those before it: a table may have a thousand."""
        read = accumulate((frozenset(row.meters) for row in self.collected), frozenset.__or__, initial=frozenset[str]())
        object.__setattr__(self, "_order", tuple((row.at, row.id.int) for row in self.collected))
        object.__setattr__(self, "_read_up_to", tuple(read))
        object.__setattr__(self, "_stated", tuple(row.emptied_before for row in self.collected if row.emptied_before))

    def earlier(self, at: datetime, id: UUID | None) -> int:
        """Return how many collections were before one at an instant; ``id`` decides among those of one instant."""
        return bisect_left(self._order, (at, -1 if id is None else id.int))

    def read_before(self, at: datetime, id: UUID | None) -> frozenset[str]:
        """Return the names of the meters that collections read before."""
        return self._read_up_to[self.earlier(at, id)]

    def stated_before(self, at: datetime, own: EmptiedBefore | None) -> Iterator[EmptiedBefore]:
        """Yield the emptyings before an instant that collections state, and the one that a collection then states itself."""
        yield from (emptied for emptied in self._stated if emptied.at < at)
        yield from () if own is None else (own,)


@dataclass(frozen=True, slots=True)
class Baseline:
    """The reading that a collection goes on from, if there is one; whether its box travelled, its meters were reset.

    ``read_before`` names the meters of which any earlier number is on record. ``emptied_at`` is when the box was last
    empty, also where its meters were reset since.
    """

    since: Since | None
    travelled: bool = False
    reset: bool = False
    read_before: frozenset[str] = frozenset()
    emptied_at: datetime | None = None


def baseline(history: TableHistory, *, at: datetime, id: UUID | None, stated: EmptiedBefore | None = None) -> Baseline:
    """Return the baseline of a table's collection at an instant.

    ``id`` is the collection's; of a reversed one it is None, and only what was earlier counts. ``stated`` is the
    emptying that the collection itself states.
    """
    found = _last_emptied(history, at=at, id=id, stated=stated)
    read_before = frozenset(_read_before(history, at=at, id=id, stated=stated))
    if found.since is None:
        return Baseline(None, found.travelled, read_before=read_before)
    reset = any(found.since.at <= was_reset < at for was_reset in history.reset_at)
    return Baseline(None if reset else found.since, found.travelled, reset, read_before, found.since.at)


def stay_in_history(history: TableHistory, at: datetime) -> Stay:
    """Return where a table was at an instant; before its first stay, that first one."""
    return next((stay for stay in reversed(history.stays) if stay.from_at <= at), history.stays[0])


def _last_emptied(history: TableHistory, *, at: datetime, id: UUID | None, stated: EmptiedBefore | None) -> Baseline:
    last = _last_collected(history, at=at, id=id, stated=stated)
    after = _BEFORE_ALL if last is None else last.at
    travelled = False
    for before, move in zip(reversed(history.stays[:-1]), reversed(history.stays[1:]), strict=True):
        if not after < move.from_at <= at:
            continue
        idle = not move.meters and before.venue_id is None
        if move.box == "emptied" and not idle:
            return Baseline(Since(move.from_at, move.meters), travelled)
        travelled = travelled or move.box == "travels"
    return Baseline(last, travelled)


def _last_collected(
    history: TableHistory, *, at: datetime, id: UUID | None, stated: EmptiedBefore | None
) -> Since | None:
    """Return the last emptying by a collection, or one that a collection states; a recorded one wins at one instant."""
    earlier = history.earlier(at, id)
    last = history.collected[earlier - 1] if earlier else None
    known = history.stated_before(at, stated)
    newest = max(known, key=lambda emptied: (emptied.at, sorted(emptied.meters.items())), default=None)
    if last is not None and (newest is None or newest.at <= last.at):
        return Since(last.at, last.meters)
    return None if newest is None else Since(newest.at, newest.meters)


def _read_before(
    history: TableHistory, *, at: datetime, id: UUID | None, stated: EmptiedBefore | None
) -> Iterator[str]:
    """Yield the names of meters that any earlier record has a number of."""
    yield from (name for name, read_at in history.first_read_at.items() if read_at < at)
    yield from history.read_before(at, id)
    for emptied in history.stated_before(at, stated):
        yield from emptied.meters
    for stay in history.stays:
        if stay.from_at <= at:
            yield from stay.meters
