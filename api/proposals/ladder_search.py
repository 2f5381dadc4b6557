"""Searches all ladders that a controller can hold for those that meet stated aims, and picks the best by each measure.

- A ladder meets the aims if every price of it brings at least so much an hour while the table is played without a break;
  each price adds units to what the prices below it give for the same money (P3); and each stated coin or note buys play
  with nothing left over.
- Prices are multiples of the controller's step that the table's coins and notes can make up; units are what can be keyed.
- Four measures: the least that an hour of play brings; the play that the stated notes get above the first price; the coins
  and notes that pay the first price (fewer is better); the prices to key (fewer is better). For each measure the search
  proposes the best ladder by it, and among equals the best by the other measures, in that order. So no ladder that meets
  the aims is at least as good by every measure and better by one.
- The search is exhaustive, and its candidates are counted (E4): more than the budget is refused before it is answered.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import gcd, lcm
from typing import Literal

from ..pool_tables.controller import Limits
from ..pricing import Ladder, Rung
from ..pricing.effort import Effort
from ..pricing.ladder import MAX_UNITS_OF_A_PRICE, Counting
from ..pricing.payable import payable
from ..what_if.intake_bought import fewest_pieces

LadderMeasure = Literal["an_hour", "bonus", "few_coins", "few_prices"]
MEASURES: tuple[LadderMeasure, ...] = ("an_hour", "bonus", "few_coins", "few_prices")
_STEPS_OF_A_PRICE = 20
"""Beside a step for each sum of coins that it is compared with."""
_STEPS_OF_A_CANDIDATE = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Aims:
    """What is wanted; money in minor units.

    ``minutes_a_unit``: how long a unit is played (1 for minutes). ``notes``: the coins and notes that players mostly put in.
    ``first_price_max``, ``highest_price``: the most that the first, and any, price may be.
    """

    least_an_hour: int
    minutes_a_unit: int
    accepts: tuple[int, ...]
    notes: tuple[int, ...]
    first_price_max: int
    highest_price: int
    prices_max: int
    limits: Limits
    counting: Counting = "repeat"

    def units_max(self, price: int) -> int:
        """Return the most units that a price may buy and still bring the least an hour."""
        most = MAX_UNITS_OF_A_PRICE
        if self.least_an_hour:
            most = min(most, price * 60 // (self.least_an_hour * self.minutes_a_unit))
        return most if self.limits.units_max is None else min(most, self.limits.units_max)


@dataclass(frozen=True, slots=True)
class Measured:
    """A ladder that meets the aims, by its four measures; larger is better in each."""

    ladder: Ladder
    an_hour: Fraction
    bonus: Fraction
    few_coins: int
    few_prices: int
    few_coins_in_all: int
    """Less the coins and notes that pay each price once: it decides between ladders alike by every measure."""

    def order(self, first: LadderMeasure) -> tuple[Fraction | int, ...]:
        """Return the measures, one of them before the others."""
        return (
            getattr(self, first),
            *(getattr(self, name) for name in MEASURES if name != first),
            self.few_coins_in_all,
        )


@dataclass(slots=True)
class LaddersFound:
    """What a search found: how many ladders it looked at and how many met the aims, and the best by each measure."""

    searched: int = 0
    met: int = 0
    best: dict[LadderMeasure, Measured] = field(default_factory=dict)


def search(aims: Aims, *, work: Effort) -> LaddersFound:
    """Return the best ladders by each measure; refuse ``too_much_work``."""
    found = LaddersFound()
    prices = _prices(aims, work)
    coins = {price: _coins(aims, price, work) for price in prices}
    for rungs in _ladders(aims, prices, (), found, work):
        if not all(Ladder(rungs, aims.counting).sell(note).left == 0 for note in aims.notes):
            continue
        found.met += 1
        measured = _measured(aims, rungs, coins)
        for measure in MEASURES:
            best = found.best.get(measure)
            if best is None or measured.order(measure) > best.order(measure):
                found.best[measure] = measured
    return found


def _prices(aims: Aims, work: Effort) -> list[int]:
    common = gcd(*aims.accepts)
    step = lcm(aims.limits.price_step, common)
    work.spend(
        (_STEPS_OF_A_PRICE + min(aims.accepts) // common) * (aims.highest_price // step),
        where="highest_price",
        smaller="a lower highest price",
    )
    return [price for price in range(step, aims.highest_price + 1, step) if payable(aims.accepts, price)]


def _coins(aims: Aims, price: int, work: Effort) -> int:
    pieces = fewest_pieces(aims.accepts, price, work=work)
    if pieces is None:
        raise ValueError("a payable price is made up of some coins")
    return sum(pieces.values())


def _ladders(
    aims: Aims, prices: Sequence[int], below: tuple[Rung, ...], found: LaddersFound, work: Effort
) -> Iterator[tuple[Rung, ...]]:
    """Yield every ladder that begins with the rungs ``below``, and holds P3 and the least an hour."""
    if below:
        yield below
    if len(below) == aims.prices_max:
        return
    for index, price in enumerate(prices):
        if not below and price > aims.first_price_max:
            return
        if below and not _leaves_nothing(aims, below, price):
            return
        for units in _units(aims, below, price):
            found.searched += 1
            work.spend(
                _STEPS_OF_A_CANDIDATE,
                where="highest_price",
                smaller="lower highest_price or prices_max, raise least_an_hour, or name the notes that players put in",
            )
            yield from _ladders(aims, prices[index + 1 :], (*below, Rung(price, units)), found, work)


def _leaves_nothing(aims: Aims, below: tuple[Rung, ...], price: int) -> bool:
    """Tell whether the notes below a price leave nothing: a higher price changes nothing about them."""
    notes = [note for note in aims.notes if note < price]
    return not notes or all(_on_the_way_up(aims, below).sell(note).left == 0 for note in notes)


def _on_the_way_up(aims: Aims, below: tuple[Rung, ...]) -> Ladder:
    """Return the rungs below a higher price as they count there: a climb starts over at its own top only."""
    return Ladder(below, "repeat" if aims.counting == "repeat" else "climb_once")


def _units(aims: Aims, below: tuple[Rung, ...], price: int) -> range:
    """Return the units that a price may buy: more than the prices below it give, no more than the hour allows."""
    step = aims.limits.units_step
    least = aims.limits.units_least
    if below:
        given = max(_on_the_way_up(aims, below).total(price), below[-1].units)
        least = max(least, (given // step + 1) * step)
    return range(least, aims.units_max(price) + 1, step)


def _measured(aims: Aims, rungs: tuple[Rung, ...], coins: Mapping[int, int]) -> Measured:
    ladder = Ladder(rungs, aims.counting)
    first = rungs[0]
    plain = sum(note // first.price * first.units for note in aims.notes)
    bonus = Fraction(sum(ladder.total(note) for note in aims.notes) - plain, plain) if plain else Fraction(0)
    return Measured(
        ladder=ladder,
        an_hour=min(an_hour(aims, rung) for rung in rungs),
        bonus=bonus,
        few_coins=-coins[first.price],
        few_prices=-len(rungs),
        few_coins_in_all=-sum(coins[rung.price] for rung in rungs),
    )


def an_hour(aims: Aims, rung: Rung) -> Fraction:
    """Return what an hour of play brings (minor units) while everybody buys at one price."""
    return Fraction(rung.price * 60, rung.units * aims.minutes_a_unit)
