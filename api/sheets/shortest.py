"""The shortest way from what the days hold to what they should hold, by keying values and taking days over (S3).

Theory. A take-over copies a day whole, so it pays to bring a day to something in between, copy that, and go on. Keying
on a day can wait until just before that day is next taken over, or else until the end. So a plan is a row of *moves*,
each "key some values of one day, then let another take it over", and at the end every day's remaining values are keyed.
What is worth keying before a take-over is, value by value, what stands there or what some day wants that the copy can
reach; a value that all of these days want alike is always worth keying before. Values that run alike through all days
are chosen together.

The row is found by A* over what all days hold. The estimate never exceeds the true remainder: each unfinished day is
either only keyed (at the cost of all its differences) or taken over at least once; and a value that stands in no day must
be keyed somewhere. Its least over all choices of the days that are only keyed is the estimate.

What a day holds is a set of (value's place, value) pairs, kept as the bits of an ``int``: the cost of keying from one set
to another is the number of bits that only the second has.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count, product

from .cells import Cell, Cells, Value, guard_of, in_order, is_in_use

MOST_STATES = 3000
"""After looking at so many states the best plan found so far is given, and is not said to be the shortest."""
_MOST_CHOICES = 256


@dataclass(frozen=True, slots=True)
class Move:
    """Bring day ``source`` to ``cells`` by keying; then let day ``target`` take it over, if there is one."""

    source: int
    cells: Cells
    target: int | None


@dataclass(frozen=True, slots=True)
class Shortest:
    """Moves, their cost, and whether no other row of moves can cost less."""

    moves: tuple[Move, ...]
    cost: int
    proved: bool


_State = tuple[int, ...]
_Row = tuple[tuple[int, int, int], ...]


def shortest(
    current: Sequence[Cells], wanted: Sequence[Cells], allowed: Sequence[tuple[int, int]], *, most: int = MOST_STATES
) -> Shortest:
    """Return the cheapest moves from ``current`` to ``wanted``; ``allowed`` are (taken over, taking over) days.

    An empty day is blank: none of its values is known.
    """
    search = _Search(current, wanted, allowed)
    state = tuple(search.bits(cells) for cells in current)
    best, row = search.greedy(state)
    ticket = count()
    open_ = [(search.least_left(state), next(ticket), 0, state, _Row())]
    least = {state: 0}
    seen = 0
    while open_ and open_[0][0] < best and seen < most:
        _, _, cost, state, moves = heappop(open_)
        if cost > least[state]:
            continue
        seen += 1
        if cost + search.left(state) < best:
            best, row = cost + search.left(state), moves
        for price, move, after in search.moves(state):
            total = cost + price
            if total < least.get(after, best):
                least[after] = total
                estimate = total + search.least_left(after)
                if estimate < best:
                    heappush(open_, (estimate, next(ticket), total, after, (*moves, move)))
    proved = search.complete and not (open_ and open_[0][0] < best)
    return Shortest(search.spelled(row), best, proved)


class _Search:
    """The pairs of one problem as bits, and what can be done next."""

    def __init__(self, current: Sequence[Cells], wanted: Sequence[Cells], allowed: Sequence[tuple[int, int]]) -> None:
        self.days = [*current, *wanted]
        self.cells = sorted({cell for day in self.days for cell in day}, key=in_order)
        pairs = sorted({(in_order(cell), cell, value) for day in self.days for cell, value in day.items()}, key=str)
        self.bit = {(cell, value): 1 << i for i, (_, cell, value) in enumerate(pairs)}
        self.wanted = [self.bits(day) for day in wanted]
        self.wishes = list(wanted)
        self.allowed = sorted(set(allowed))
        self.targets = {target for _, target in self.allowed}
        self.reach = [_reach(day, self.allowed) for day in range(len(wanted))]
        self.groups = self._groups()
        self.complete = True
        self._choices: dict[tuple[int, int], list[int]] = {}
        self._spelled = {self.bits(day): dict(day) for day in self.days}

    def bits(self, cells: Cells) -> int:
        return sum(self.bit[pair] for pair in cells.items())

    def left(self, state: _State) -> int:
        """Return the cost of keying all that is still wrong."""
        return sum((want & ~held).bit_count() for held, want in zip(state, self.wanted, strict=True))

    def least_left(self, state: _State) -> int:
        """Return a cost below which nothing can finish ``state``."""
        here = 0
        for held in state:
            here |= held
        nowhere = 0
        for want in self.wanted:
            nowhere |= want & ~here
        cost, free = 0, list[int]()
        for day, (held, want) in enumerate(zip(state, self.wanted, strict=True)):
            missing = want & ~held
            if missing and day in self.targets:
                free.append(missing)
            elif missing:
                cost, nowhere = cost + missing.bit_count(), nowhere & ~missing
        return cost + _least(free, nowhere)

    def moves(self, state: _State) -> Iterator[tuple[int, tuple[int, int, int], _State]]:
        """Yield each useful move's cost, the move, and the state after it."""
        for source, target in self.allowed:
            for held in self._worth_keying(source, state[source]):
                if held != state[target]:
                    after = list(state)
                    after[source] = after[target] = held
                    price = (held & ~state[source]).bit_count() + 1
                    yield price, (source, held, target), tuple(after)

    def greedy(self, state: _State) -> tuple[int, _Row]:
        """Return the plan that always takes the move after which least is left."""
        cost, row = 0, _Row()
        while True:
            ways = [(cost + price + self.left(after), price, move, after) for price, move, after in self.moves(state)]
            best = min(ways, default=None, key=lambda way: way[:3])
            if best is None or best[0] >= cost + self.left(state):
                return cost + self.left(state), row
            _, price, move, state = best
            cost, row = cost + price, (*row, move)

    def spelled(self, row: _Row) -> tuple[Move, ...]:
        """Return the moves with their values, and the keying that ends the plan."""
        last = [Move(day, cells, None) for day, cells in enumerate(self.wishes)]
        return (*(Move(source, self._spelled[held], target) for source, held, target in row), *last)

    def _worth_keying(self, day: int, held: int) -> list[int]:
        if (day, held) not in self._choices:
            options = [list(self._options(day, held, group)) for group in self.groups]
            number = 1
            for option in options:
                number *= len(option)
            if number > _MOST_CHOICES:
                self.complete = False
                found = {held, *(self.wanted[other] for other in self.reach[day])}
            else:
                found = {self._joined(choice) for choice in product(*options)}
            self._choices[day, held] = sorted(found)
        return self._choices[day, held]

    def _options(self, day: int, held: int, group: list[Cell]) -> Iterator[dict[Cell, Value]]:
        kept = self._spelled[held]
        now = {cell: kept[cell] for cell in group if cell in kept}
        wishes = [self.wishes[other] for other in self.reach[day]]
        found = [{cell: wish[cell] for cell in group if cell in wish} for wish in wishes]
        asked = [option for i, option in enumerate(found) if option and option not in found[:i]]
        all_ask = all(found)
        if not (all_ask and (len(asked) == 1 or not now)) and now not in asked:
            yield now
        yield from asked

    def _joined(self, choice: Sequence[dict[Cell, Value]]) -> int:
        cells = {cell: value for part in choice for cell, value in part.items()}
        used = {cell: value for cell, value in cells.items() if is_in_use(cell, cells)}
        bits = self.bits(used)
        self._spelled[bits] = used
        return bits

    def _groups(self) -> list[list[Cell]]:
        """Return the values that run alike through all days, before and after, and are in use together."""
        groups: dict[object, list[Cell]] = {}
        for cell in self.cells:
            column = [day.get(cell) for day in self.days]
            pattern = tuple(None if value is None else column.index(value) for value in column)
            sometimes = any(cell not in wish for wish in self.wishes)
            groups.setdefault((pattern, guard_of(cell) if sometimes else None), []).append(cell)
        return list(groups.values())


def _least(free: list[int], nowhere: int) -> int:
    """Return the least of (all differences of some days) + 1 for each other day + what then still stands nowhere."""
    if not free:
        return nowhere.bit_count()
    taken_over = 1 + _least(free[1:], nowhere)
    only_keyed = free[0].bit_count() + _least(free[1:], nowhere & ~free[0])
    return min(taken_over, only_keyed)


def _reach(day: int, allowed: Sequence[tuple[int, int]]) -> list[int]:
    reached = {day}
    while more := {target for source, target in allowed if source in reached} - reached:
        reached |= more
    return sorted(reached)
