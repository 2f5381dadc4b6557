"""Expected cash in a box by one meter of its table.

- C1: a money meter gives a figure. A games or minutes meter gives a range: the least and the most that so many units
  can have cost on the ladders that the table sold between the readings.
- The least is the cheapest way to at least so many units, in as many purchases as that takes, on any of those ladders.
  Where play was free for part of the time, it is nothing.
- The most is the dearest way to exactly so many units (to the next number that can be bought at all, if that is not
  one), and on top of it the most that can be ``left`` below a first rung. What was left goes on into the next purchase
  (T2), so one such rest is in the box, not one for each purchase.
- What denominations cannot make up is not in the box: the least goes up, the most down to what they can.
- C3: test games are started without money: they count on a games meter and never on a money meter. Test money counts
  on the money meter, buys games like any other, and lies in the box. Refunds out of the box lower the expectation, but
  not below nothing. Refunds that the venue paid and house money are in the box.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import gcd

from ..pricing.errors import DomainError, Fault
from ..pricing.ladder import Ladder, Rung
from ..pricing.money import MAX_MINOR
from ..settlements.expected_range import Expected

SEARCH_STEPS_MAX = 200_000
"""Up to so many units times rungs a range is searched out exactly; beyond, a price per unit bounds it, never too
narrowly."""


def by_money_meter(counts: int, *, unit_value: int) -> Expected:
    """Return the figure of a money meter that went on by ``counts`` of ``unit_value`` minor units each."""
    _check(counts=counts, unit_value=unit_value)
    return Expected(counts * unit_value, counts * unit_value)


def by_units_meter(
    units: int,
    ladders: Sequence[Ladder],
    *,
    accepts: Sequence[int] = (),
    free: bool = False,
    test_games: int = 0,
) -> Expected | None:
    """Return the range of a games or minutes meter that went on by ``units``, or None where no price is known.

    ``ladders`` are those in force at some time between the readings, of the meter's own kind; ``free`` says that play
    was free for part of it; ``accepts`` are the denominations, in minor units, or nothing where they are not known.
    ``test_games`` are units that were started without money.
    """
    _check(units=units, test_games=test_games)
    sold = max(units - test_games, 0)
    if not ladders and not free and sold:
        return None
    rungs = sorted({rung for ladder in ladders for rung in ladder.rungs}, key=lambda rung: (rung.price, rung.units))
    least = 0 if free or not sold else _least(sold, rungs)
    most = _most(sold, rungs) if rungs and sold else 0
    left = max((ladder.rungs[0].price for ladder in ladders), default=1) - 1
    coin = gcd(*accepts) or 1
    least, most = -(-least // coin) * coin, (most + left) // coin * coin
    return Expected(least, max(most, least))


def less_refunds(expected: Expected, *, refunds_from_box: int) -> Expected:
    """Take out what was refunded from the box, down to nothing (C3)."""
    _check(refunds_from_box=refunds_from_box)
    return Expected(max(expected.least - refunds_from_box, 0), max(expected.most - refunds_from_box, 0))


def _least(units: int, rungs: Sequence[Rung]) -> int:
    """Return the least money for at least ``units``, in any number of purchases of these rungs.

    Fewer other rungs are worth buying than the cheapest has units: so many of them hold some that add up to a multiple
    of its units, for which it is no dearer. Far up, therefore, all that is added is the cheapest rung.
    """
    best = min(rungs, key=lambda rung: Fraction(rung.price, rung.units))
    search = min(units, best.units * max(rung.units for rung in rungs))
    if search * len(rungs) > SEARCH_STEPS_MAX:
        return -(-units * best.price // best.units)
    times = -(-(units - search) // best.units)
    return times * best.price + _least_cost(units - times * best.units, rungs)


def _most(units: int, rungs: Sequence[Rung]) -> int:
    """Return the most money for exactly ``units``, or for the next number that these rungs can make up."""
    worst = max(rungs, key=lambda rung: Fraction(rung.price, rung.units))
    most_units = max(rung.units for rung in rungs)
    search = min(units, worst.units * most_units) + most_units
    if search * len(rungs) > SEARCH_STEPS_MAX:
        return (units + most_units) * worst.price // worst.units
    times = max(-(-(units + most_units - search) // worst.units), 0)
    costs = _most_costs(search, rungs)
    return times * worst.price + next(cost for cost in costs[max(units - times * worst.units, 0) :] if cost >= 0)


def _least_cost(units: int, rungs: Sequence[Rung]) -> int:
    """Return the least cost of at least so many units in rungs."""
    costs = [0] * max(rung.units for rung in rungs)  # nothing for no units, nor for fewer
    sold = [(rung.units, rung.price) for rung in rungs]
    for _ in range(units):
        costs.append(min([price + costs[-of] for of, price in sold]))
    return costs[-1]


def _most_costs(units: int, rungs: Sequence[Rung]) -> list[int]:
    """Return, for 0 to ``units``, the most cost of exactly that many units in rungs; -1 where they cannot make it up."""
    before = [-1] * (max(rung.units for rung in rungs) - 1)
    costs, sold = [*before, 0], [(rung.units, rung.price) for rung in rungs]
    for _ in range(units):
        costs.append(max([price + costs[-of] for of, price in sold if costs[-of] >= 0], default=-1))
    return costs[len(before) :]


def _check(**counts: int) -> None:
    faults = [
        Fault("bad_count", where, repr(count), f"a whole number from 0 to {MAX_MINOR}")
        for where, count in counts.items()
        if type(count) is not int or not 0 <= count <= MAX_MINOR
    ]
    if faults:
        raise DomainError(*faults)
