"""Several separate purchases that are cheaper than one (P5).

- A purchase is worth the rungs it is made of, each bought on its own; so the cheapest plan for so many units is the
  cheapest choice of rungs that gives at least as many: a covering problem, solved for every smaller number of units
  on the way to it.
- Rungs are made one purchase wherever that buys no less, so that a plan has few parts.
- The parts must stay separate (T2): paid in one go they are one purchase, which buys less.
"""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from itertools import combinations_with_replacement

from .effort import Effort
from .ladder import Ladder, Rung


def split(ladder: Ladder, units: int, *, work: Effort | None = None) -> tuple[int, ...]:
    """Return the cheapest separate purchases that together buy at least ``units``, in minor units, dearest first.

    Empty where no such plan is cheaper than a single purchase. Refuses what ``Ladder.least`` refuses, and
    ``too_much_work``: a step is a price tried for a number of units.
    """
    single = ladder.least(units)
    smaller = "ask for fewer units, of a tariff with fewer prices, or ask fewer questions at once"
    (work or Effort()).spend(_reach(units) * len(ladder.rungs), where="units", smaller=smaller)
    cost, purchases = _cheapest(ladder.rungs, units)
    return _merged(ladder, purchases) if cost < single else ()


def _cheapest(rungs: tuple[Rung, ...], units: int) -> tuple[int, Counter[int]]:
    costs, bought = _cover(rungs, _reach(units))
    purchases: Counter[int] = Counter()
    short = units
    while short > 0:
        rung = rungs[bought[short]]
        purchases[rung.price] += 1
        short -= rung.units
    return costs[units], purchases


def _reach(units: int) -> int:
    """Return up to how many units a plan is worked out, so that nearby questions share it."""
    return 1 << (units - 1).bit_length()


@lru_cache(maxsize=16)
def _cover(rungs: tuple[Rung, ...], reach: int) -> tuple[list[int], list[int]]:
    """Return, for each number of units up to ``reach``, the least cost and the index of one rung that it buys.

    A rung that reaches past the units wanted is bought alone, so only the lowest such rung matters; one that costs
    more than the rungs below it do together is never bought. Of equal costs the highest rung is bought: fewer parts.
    """
    costs, bought = [0], [0]
    worth: list[tuple[int, Rung]] = []
    above = 0
    for units in range(1, reach + 1):
        cost, index = rungs[-1].price * units, 0
        for each, rung in worth:
            together = costs[units - rung.units] + rung.price
            if together <= cost:
                cost, index = together, each
        if above < len(rungs) and rungs[above].price <= cost:
            cost, index = rungs[above].price, above
            if rungs[above].units == units:
                worth.append((above, rungs[above]))
        if above < len(rungs) and rungs[above].units == units:
            above += 1
        costs.append(cost)
        bought.append(index)
    return costs, bought


def _merged(ladder: Ladder, purchases: Counter[int]) -> tuple[int, ...]:
    """Make one purchase of two wherever it buys no less, until there are no such two."""
    merging = True
    while merging:
        merging = False
        for one, other in combinations_with_replacement(sorted(purchases), 2):
            times = purchases[one] // 2 if one == other else min(purchases[one], purchases[other])
            if times and ladder.total(one + other) >= ladder.total(one) + ladder.total(other):
                purchases[one] -= times
                purchases[other] -= times
                purchases[one + other] += times
                merging = True
    return tuple(sorted(purchases.elements(), reverse=True))
