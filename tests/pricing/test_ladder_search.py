"""Thousands of random ladders against a search through all amounts that shares no code with the engine."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations_with_replacement
from random import Random

import pytest
from baizebook.pricing import Counting, Ladder, PricingError, Rung, advice, split
from baizebook.pricing.split import cheapest

Pairs = tuple[tuple[int, int], ...]
UNITS = 20
"""Plans are searched for up to so many units."""


def sells(rungs: Pairs, counting: Counting, money: int) -> int:
    """Rule P1, word for word."""
    reached = [rung for rung in rungs if rung[0] <= money]
    if not reached:
        return 0
    pays, units = reached[-1]
    if counting == "climb_once" and reached == list(rungs):
        return units + rungs[0][1] * ((money - pays) // rungs[0][0])
    return units + sells(rungs, counting, money - pays)


def random_ladders(seed: int, count: int) -> Iterator[tuple[Pairs, Counting]]:
    """Yield ladders of one to five rungs that do not step back (P3)."""
    random = Random(seed)
    while count:
        counting: Counting = "repeat" if random.random() < 0.5 else "climb_once"
        pays, units = (sorted(random.sample(range(1, 30), size)) for size in [random.randint(1, 5)] * 2)
        rungs = tuple(zip(pays, units, strict=True))
        steps_back = any(rung[1] < sells(rungs[:below], "repeat", rung[0]) for below, rung in enumerate(rungs))
        if steps_back:
            with pytest.raises(PricingError, match="what the rungs below it give"):
                Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        else:
            count -= 1
            yield rungs, counting


def advised(rungs: Pairs, counting: Counting) -> list[tuple[str, int, int, int, tuple[int, ...]]]:
    """Search for all advice: code, amount, units, instead_units, parts."""
    reach = 2 * rungs[-1][0]
    totals = [sells(rungs, counting, money) for money in range(reach + 1)]
    found: list[tuple[str, int, int, int, tuple[int, ...]]] = []
    for below, (pays, units) in enumerate(rungs):
        if below and units == sells(rungs[:below], "repeat", pays):
            found.append(("break_adds_nothing", pays, units, units, ()))
    without = [rungs[:gone] + rungs[gone + 1 :] for gone in range(1, len(rungs))]
    for money in range(reach + 1):
        better = [sells(rest, counting, money) for rest in without]
        if max(better, default=0) > totals[money]:
            found.append(("higher_break_takes_away", money, totals[money], max(better), ()))
            break
    pairs = ((a + b, a, b) for a in range(1, reach) for b in range(a, reach + 1 - a))
    paying = [pair for pair in pairs if totals[pair[1]] + totals[pair[2]] > totals[pair[0]]]
    if paying:
        both, a, b = min(paying)
        found.append(("splitting_pays", both, totals[both], totals[a] + totals[b], (a, b)))
    return found + free_runs([totals.index(next(t for t in totals if t >= n)) for n in range(1, rungs[-1][1] + 1)])


def free_runs(prices: list[int]) -> list[tuple[str, int, int, int, tuple[int, ...]]]:
    """Return the runs of units that cost no more than the one before, from the price of each number of units."""
    runs: list[tuple[str, int, int, int, tuple[int, ...]]] = []
    for units in range(2, len(prices) + 1):
        if prices[units - 1] == prices[units - 2]:
            first = runs.pop()[2] if runs and runs[-1][3] == units - 1 else units
            runs.append(("free_unit", prices[units - 1], first, units, ()))
    return runs


def test_what_money_buys_the_least_and_the_next_break_are_those_of_a_search() -> None:
    for rungs, counting in random_ladders(seed=1, count=2_500):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        reach = 3 * rungs[-1][0]
        totals = [sells(rungs, counting, money) for money in range(reach + 1)]
        assert [ladder.total(money) for money in range(reach + 1)] == totals
        for units in range(1, totals[-1] + 1):
            assert ladder.least(units) == next(money for money, total in enumerate(totals) if total >= units)
        breaks = [money for money in range(1, reach + 1) if completes_a_break(rungs, counting, money)]
        for money in range(2 * rungs[-1][0]):
            at = next((at for at in breaks if at > money), None)
            found = ladder.next_break(money)
            assert (found and (money + found.add, found.units)) == (at and (at, totals[at]))


def completes_a_break(rungs: Pairs, counting: Counting, money: int) -> bool:
    """Tell whether the last thing that this money buys, to the last minor unit, is a rung above the first."""
    reached = [rung for rung in rungs if rung[0] <= money]
    if not reached:
        return False
    if reached[-1][0] == money:
        return len(reached) > 1
    if counting == "climb_once" and reached == list(rungs):
        return False
    return completes_a_break(rungs, counting, money - reached[-1][0])


def test_advice_is_that_of_a_search_through_all_amounts_and_pairs() -> None:
    for rungs, counting in random_ladders(seed=2, count=2_500):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        given = [
            (one.code, one.amount, one.units, one.instead_units, one.parts) for one in advice(ladder, "games", "USD")
        ]
        assert given == advised(rungs, counting)


def test_a_plan_of_separate_purchases_is_the_cheapest_there_is() -> None:
    for rungs, counting in random_ladders(seed=3, count=2_000):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        totals = [sells(rungs, counting, money) for money in range(UNITS * rungs[0][0] + rungs[-1][0])]
        singles = [next(m for m, total in enumerate(totals) if total >= units) for units in range(UNITS + 1)]
        best = list(singles)
        for units in range(1, UNITS + 1):
            best[units] = min(best[units - part] + singles[part] for part in range(1, units + 1))
            parts = split(ladder, units)
            assert cheapest(ladder, units) == best[units]
            assert bool(parts) == (best[units] < singles[units])
            if parts:
                assert sum(parts) == best[units]
                assert sum(totals[part] for part in parts) >= units
                assert no_two_are_as_good_as_one(parts, totals)


def no_two_are_as_good_as_one(parts: tuple[int, ...], totals: list[int]) -> bool:
    """Tell whether every two of the purchases buy less in one go."""
    pairs = (pair for pair in combinations_with_replacement(range(len(parts)), 2) if pair[0] != pair[1])
    return all(totals[parts[i] + parts[j]] < totals[parts[i]] + totals[parts[j]] for i, j in pairs)
