"""Advice on a prepaid ladder (P8): what its operator may want to know before it is published; never a refusal.

- ``break_adds_nothing``: a price gives only what the prices below it give for the same money.
- ``higher_break_takes_away``: the least amount that buys less than it would without one of the higher rungs.
- ``splitting_pays``: two purchases get more than one of the same money; the pair with the least sum, then with the
  least first part.
- ``free_unit`` (games): the n-th costs nothing more than the one before it; one advice for each run of such units.

What a ladder gives changes only where it steps up, so only its steps are looked at: up to twice the last rung, and no
more than the 3,000 lowest of them (a usual ladder has fewer than a hundred). What lies beyond is not advised upon.

Why one part of the least pair that pays is always a single rung: buying the rungs of one part one after the other
on top of the other part must lose at some rung, and the money put in until then is a pair that pays already.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import count

from .ladder import Counting, Ladder, Rung, count_in_words
from .lines import Advice, Kind
from .money import format_money

STEPS_SHOWN_MAX = 3_000
"""No more than this many steps of a ladder are looked at, the lowest first."""


def advice(ladder: Ladder, kind: Kind, currency: str) -> tuple[Advice, ...]:
    """Return all advice on a ladder that sells ``kind`` in ``currency``, in the order of the list above."""
    words = _Words(kind, currency)
    steps = _steps(ladder.rungs, ladder.counting, reach=2 * ladder.rungs[-1].price)
    found = [*_adds_nothing(ladder, words), *_takes_away(ladder, steps, words), *_splitting_pays(ladder, steps, words)]
    if kind == "games":
        found += _free_units(ladder, steps, words)
    return tuple(found)


def ladder_steps(ladder: Ladder, *, reach: int) -> Steps:
    """Return the steps of a ladder up to the amount ``reach``, no more than the 3,000 lowest."""
    return _steps(ladder.rungs, ladder.counting, reach=reach)


@dataclass(frozen=True, slots=True)
class _Words:
    kind: Kind
    currency: str

    def money(self, amount: int) -> str:
        return format_money(amount, self.currency)

    def count(self, units: int) -> str:
        return count_in_words(units, self.kind)


@dataclass(slots=True)
class Steps:
    """Where a ladder steps up: ``units[i]`` from ``amounts[i]`` on; known for amounts up to ``known``."""

    amounts: list[int]
    units: list[int]
    known: int

    def at(self, amount: int) -> int:
        """Return the units that an amount up to ``known`` buys."""
        return self.units[bisect_right(self.amounts, amount) - 1]

    def climb(self, onward: Iterable[tuple[int, int]], *, end: int) -> None:
        """Add the steps of ``onward`` below ``end``, those that rise."""
        for amount, units in onward:
            if amount >= end:
                return
            if len(self.amounts) == STEPS_SHOWN_MAX:
                self.known = min(self.known, self.amounts[-1])
                return
            if units > self.units[-1]:
                self.amounts.append(amount)
                self.units.append(units)


def _steps(rungs: tuple[Rung, ...], counting: Counting, *, reach: int) -> Steps:
    """Return the steps of these rungs, P3 or not, up to the amount ``reach``.

    Where the count starts over at a rung, what lies below that rung is repeated from it on, up to the next one; else
    first rungs follow it. Where P3 does not hold the units fall somewhere; the steps then keep the most that a smaller
    amount gives.
    """
    steps = Steps([0], [0], reach)
    for rung, end in zip(rungs, [*(above.price for above in rungs[1:]), reach + 1], strict=True):
        starts_over = counting == "repeat" or (counting == "climb" and rung is rungs[-1])
        steps.climb(_repeated(steps, rung) if starts_over else _first_rungs_after(rung, rungs[0]), end=end)
    return steps


def _repeated(below: Steps, rung: Rung) -> Iterator[tuple[int, int]]:
    stretch = list(zip(below.amounts, below.units, strict=True))
    for times in count(1):
        for amount, units in stretch:
            yield times * rung.price + amount, times * rung.units + units


def _first_rungs_after(top: Rung, first: Rung) -> Iterator[tuple[int, int]]:
    return ((top.price + times * first.price, top.units + times * first.units) for times in count())


def _adds_nothing(ladder: Ladder, words: _Words) -> Iterator[Advice]:
    for index, rung in enumerate(ladder.rungs[1:], start=1):
        below = ladder.units_below(index)
        if rung.units == below:
            detail = f"{words.money(rung.price)} buys {words.count(rung.units)} with or without this price break."
            yield Advice("break_adds_nothing", detail, words.kind, rung.price, rung.units, instead_units=below)


def _takes_away(ladder: Ladder, steps: Steps, words: _Words) -> Iterator[Advice]:
    least: tuple[int, int, Rung] | None = None
    for index, rung in enumerate(ladder.rungs[1:], start=1):
        without = _steps(ladder.rungs[:index] + ladder.rungs[index + 1 :], ladder.counting, reach=steps.known)
        last = least[0] - 1 if least else steps.known
        for amount, instead in zip(without.amounts, without.units, strict=True):
            if amount > last:
                break
            if steps.at(amount) < instead:
                least = (amount, instead, rung)
                break
    if least:
        amount, instead, rung = least
        units = steps.at(amount)
        detail = (
            f"{words.money(amount)} buys {words.count(units)}; "
            f"without the price break at {words.money(rung.price)} it would buy {instead}."
        )
        yield Advice("higher_break_takes_away", detail, words.kind, amount, units, instead_units=instead)


def _splitting_pays(ladder: Ladder, steps: Steps, words: _Words) -> Iterator[Advice]:
    pair: tuple[int, int, int] | None = None
    for rung in ladder.rungs:
        last = sum(pair[:2]) - 1 if pair else steps.known
        for amount, units in zip(steps.amounts, steps.units, strict=True):
            if amount + rung.price > last:
                break
            if steps.at(amount + rung.price) < units + rung.units:
                pair = (rung.price, amount, units + rung.units)
                break
    if pair:
        first, second, instead = pair
        units = steps.at(first + second)
        detail = (
            f"{words.money(first)} and then {words.money(second)} buy {words.count(instead)}; "
            f"{words.money(first + second)} in one purchase buys {units}."
        )
        parts = (first, second)
        yield Advice("splitting_pays", detail, words.kind, sum(parts), units, instead_units=instead, parts=parts)


def _free_units(ladder: Ladder, steps: Steps, words: _Words) -> Iterator[Advice]:
    for amount, below, units in zip(steps.amounts[1:], steps.units, steps.units[1:], strict=False):
        if amount > ladder.rungs[-1].price:
            return
        if units - below > 1:
            free = f"Game {units} is" if units - below == 2 else f"Games {below + 2} to {units} are"
            both = f"{words.count(below + 1)} and {words.count(units)} both cost {words.money(amount)}"
            yield Advice("free_unit", f"{free} free: {both}.", words.kind, amount, below + 2, instead_units=units)
