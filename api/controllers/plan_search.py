"""The shortest way from what the days hold to what they should hold, by keying values and taking days over (S3).

Theory. A take-over copies a day whole, so it pays to bring a day to something in between, copy that, and go on. Keying
on a day can wait until just before that day is next taken over, or else until the end. So a plan is a row of *moves*,
each "key some values of one day, then let another take it over", and at the end every day's remaining values are keyed.
What is worth keying before a take-over is, value by value, what some day that the copy can reach wants, if at least two
days that may come of it want it: what only one day wants can wait, unless it is a switch that puts others in use. What
all of them want alike is keyed before; values that run alike through all days are chosen together. A day that no other
takes over is only worth a take-over that saves more than it costs. Days that are alike in all this are interchangeable.

The row is found by A* over what all days hold, first with whole days' settings only, then with all that is worth keying.
The estimate never exceeds the true remainder: each unfinished day is either only keyed (at the cost of all its
differences) or taken over at least once; and a value that stands in no day must be keyed somewhere. Its least over all
choices of the days that are only keyed is the estimate.

What a day holds is a set of (value's place, value) pairs, kept as the bits of an ``int``: the cost of keying from one set
to another is the number of bits that only the second has.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count, product
from math import prod

from .keyed_values import Cells, Value, ValuePlace, guard_of, in_order, is_in_use, is_switch

MAX_MOVES = 6_000
"""After weighing so many moves, twice, the best plan found so far is given, and is not said to be the shortest."""
_WORK_MAX = 3_000_000
"""Moves weighed times the values of all days: a week of very many values is searched for as long as a real one."""
_MAX_CHOICES = 128


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
    current: Sequence[Cells], wanted: Sequence[Cells], allowed: Sequence[tuple[int, int]], *, most: int = MAX_MOVES
) -> Shortest:
    """Return the cheapest moves from ``current`` to ``wanted``; ``allowed`` are (taken over, taking over) days.

    An empty day is blank: none of its values is known.
    """
    search = _Search(current, wanted, allowed)
    most = min(most, _WORK_MAX // max(1, len(search.bit)))
    state = tuple(search.bits(cells) for cells in current)
    best, row = search.left(state), _Row()
    for whole_days in (True, False):
        search.whole_days = whole_days
        best, row = min((best, row), search.greedy(state), key=lambda found: found[0])
        best, row, proved = _improved(search, state, best, row, most)
    return Shortest(search.spelled(row), best, proved)


def _improved(search: _Search, start: _State, best: int, row: _Row, most: int) -> tuple[int, _Row, bool]:
    """Return the best moves from ``start``, no worse than ``row`` at cost ``best``, and whether none can be better."""
    search.complete = True
    ticket, weighed = count(), 0
    open_ = [(search.least_left(start), next(ticket), 0, start, _Row())]
    least = {search.alike(start): 0}
    while open_ and open_[0][0] < best and weighed < most:
        _, _, cost, state, moves = heappop(open_)
        if cost > least[search.alike(state)]:
            continue
        for price, move, after in search.moves(state):
            weighed += 1
            total, name = cost + price, search.alike(after)
            if total < least.get(name, best):
                least[name] = total
                if total + search.left(after) < best:
                    best, row = total + search.left(after), (*moves, move)
                heappush(open_, (total + search.least_left(after), next(ticket), total, after, (*moves, move)))
    return best, row, search.complete and not (open_ and open_[0][0] < best)


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
        self.sources = {source for source, _ in self.allowed}
        self.interchangeable = self._interchangeable(current)
        self.reach = [_reach(day, self.allowed) for day in range(len(wanted))]
        self.groups = self._groups()
        self.complete, self.whole_days = True, False
        self._choices: dict[tuple[int, int, int], tuple[list[int], bool]] = {}
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
            before, want = state[target], self.wanted[target]
            lends = target in self.sources
            for held in self._worth_keying(source, target, state[source]):
                saves = (want & ~before).bit_count() - (want & ~held).bit_count()
                if held != before and (lends or saves > 1):
                    after = list(state)
                    after[source] = after[target] = held
                    price = (held & ~state[source]).bit_count() + 1
                    yield price, (source, held, target), tuple(after)

    def alike(self, state: _State) -> _State:
        """Return the same for states that differ only in which of interchangeable days holds what."""
        held = list(state)
        for days in self.interchangeable:
            for day, bits in zip(days, sorted(state[day] for day in days), strict=True):
                held[day] = bits
        return tuple(held)

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

    def _worth_keying(self, source: int, target: int, held: int) -> list[int]:
        if self.whole_days:
            return sorted({held, *(self.wanted[other] for other in self.reach[source])})
        asked = (source, target, held)
        if asked not in self._choices:
            options = [self._options(source, target, held, group) for group in self.groups]
            every = prod(len(option) for option in options) <= _MAX_CHOICES
            kept = options if every else [option[:1] for option in options]
            self._choices[asked] = sorted({held, *(self._joined(choice) for choice in product(*kept))}), every
        choices, every = self._choices[asked]
        self.complete = self.complete and every
        return choices

    def _options(self, source: int, target: int, held: int, group: list[ValuePlace]) -> list[dict[ValuePlace, Value]]:
        kept = self._spelled[held]
        now = {cell: kept[cell] for cell in group if cell in kept}
        wishes = {
            day: {cell: self.wishes[day][cell] for cell in group if cell in self.wishes[day]}
            for day in self.reach[source]
        }
        if all(wish and wish == wishes[target] for wish in wishes.values()):
            return [wishes[target]]
        asking = self.reach[source if any(is_switch(cell) for cell in group) else target]
        asked = [wishes[day] for day in asking if wishes[day]]
        if asking is self.reach[target]:
            asked = [wish for wish in asked if sum(wish == other for other in wishes.values()) > 1]
        options = [wish for i, wish in enumerate(asked) if wish not in asked[:i]]
        can_wait = now or len(asked) < len(asking)
        return options if now in options or not can_wait else [now, *options]

    def _joined(self, choice: Sequence[dict[ValuePlace, Value]]) -> int:
        cells = {cell: value for part in choice for cell, value in part.items()}
        used = {cell: value for cell, value in cells.items() if is_in_use(cell, cells)}
        bits = self.bits(used)
        self._spelled[bits] = used
        return bits

    def _interchangeable(self, current: Sequence[Cells]) -> list[list[int]]:
        """Return the days that begin alike, are wanted alike, and lend and take over alike."""
        groups: list[list[int]] = []
        for day, wish in enumerate(self.wishes):
            for others in groups:
                swap = {day: others[0], others[0]: day}
                swapped = sorted((swap.get(a, a), swap.get(b, b)) for a, b in self.allowed)
                if wish == self.wishes[others[0]] and current[day] == current[others[0]] and swapped == self.allowed:
                    others.append(day)
                    break
            else:
                groups.append([day])
        return groups

    def _groups(self) -> list[list[ValuePlace]]:
        """Return the values that run alike through all days, before and after.

        A value that is not always in use goes with its switch where the switch's position tells it, else with those
        that run alike under the same switch.
        """
        groups: dict[object, list[ValuePlace]] = {}
        group_of: dict[ValuePlace, list[ValuePlace]] = {}
        for cell in self.cells:
            column = [day.get(cell) for day in self.days]
            guard = guard_of(cell) if None in column[len(self.wishes) :] else None
            if guard and _tells([day.get(guard[0]) for day in self.days], column):
                group = group_of[guard[0]]
            else:
                pattern = tuple(None if value is None else column.index(value) for value in column)
                group = groups.setdefault((pattern, guard), [])
            group.append(cell)
            group_of[cell] = group
        return list(groups.values())


def _tells(switch: list[Value | None], column: list[Value | None]) -> bool:
    return len(set(zip(switch, column, strict=True))) == len(set(switch))


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
