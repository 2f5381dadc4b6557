"""Many random ladders against a search through all amounts that shares no code with the engine."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from itertools import combinations_with_replacement, count
from random import Random

import pytest
from baizebook.pricing import Counting, Ladder, PricingError, Rung, advice, split
from baizebook.pricing.ladder import WAYS_OF_COUNTING

from tests.databases import DEEP

Pairs = tuple[tuple[int, int], ...]
LADDERS = 3_000 if DEEP else 800
EACH_WAY = pytest.mark.parametrize("counting", WAYS_OF_COUNTING)
UNITS = 20
"""Plans are searched for up to so many units."""


def totals_of(rungs: Pairs, counting: Counting, reach: int) -> list[int]:
    """Rule P1, word for word: what every amount up to ``reach`` buys."""
    totals: list[int] = []
    for money in range(reach + 1):
        reached = [rung for rung in rungs if rung[0] <= money]
        if not reached:
            totals.append(0)
            continue
        price, units = reached[-1]
        starts_over = counting == "repeat" or (counting == "climb" and reached == list(rungs))
        more = totals[money - price] if starts_over else rungs[0][1] * ((money - price) // rungs[0][0])
        totals.append(units + more)
    return totals


def sells(rungs: Pairs, counting: Counting, money: int) -> int:
    return totals_of(rungs, counting, money)[-1]


def spent_to_the_last(rungs: Pairs, counting: Counting, money: int) -> bool:
    """Tell whether nothing of this money is left (P2): a price is just reached, or first prices on top of one are full."""
    if counting == "repeat":
        while money and (reached := [price for price, _ in rungs if price <= money]):
            money -= reached[-1]
        return money == 0
    if counting == "climb":
        money %= rungs[-1][0]
    reached = [price for price, _ in rungs if price <= money]
    return money == 0 or bool(reached and (money - reached[-1]) % rungs[0][0] == 0)


def below(rungs: Pairs, counting: Counting, index: int) -> int:
    """Return what the prices below one give for its money, counted the same way (P3)."""
    on_the_way: Counting = "repeat" if counting == "repeat" else "climb_once"
    return sells(rungs[:index], on_the_way, rungs[index][0])


def random_ladders(seed: int, counting: Counting, wanted: int) -> Iterator[Pairs]:
    """Yield ladders of one to five rungs that do not step back (P3)."""
    random = Random(seed)
    while wanted:
        pays, units = (sorted(random.sample(range(1, 30), size)) for size in [random.randint(1, 5)] * 2)
        rungs = tuple(zip(pays, units, strict=True))
        steps_back = any(rung[1] < below(rungs, counting, index) for index, rung in enumerate(rungs) if index)
        if steps_back:
            with pytest.raises(PricingError, match="what the prices below it give"):
                Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        else:
            wanted -= 1
            yield rungs


def advised(rungs: Pairs, counting: Counting) -> list[tuple[str, int, int, int, tuple[int, ...]]]:
    """Search for all advice: code, amount, units, instead_units, parts."""
    reach = 2 * rungs[-1][0]
    totals = totals_of(rungs, counting, reach)
    found: list[tuple[str, int, int, int, tuple[int, ...]]] = []
    for index, (price, units) in enumerate(rungs):
        if index and units == below(rungs, counting, index):
            found.append(("break_adds_nothing", price, units, units, ()))
    without = [totals_of(rungs[:gone] + rungs[gone + 1 :], counting, reach) for gone in range(1, len(rungs))]
    for money in range(reach + 1):
        better = [rest[money] for rest in without]
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


@EACH_WAY
def test_what_money_buys_the_least_and_the_next_break_are_those_of_a_search(counting: Counting) -> None:
    for rungs in random_ladders(1, counting, wanted=LADDERS):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        reach = 3 * rungs[-1][0]
        totals = totals_of(rungs, counting, reach)
        sales = [ladder.sell(money) for money in range(reach + 1)]
        assert [sale.units for sale in sales] == totals == sorted(totals)
        full = [money for money in range(reach + 1) if spent_to_the_last(rungs, counting, money)]
        assert [sale.spends for sale in sales] == [full[bisect_right(full, m) - 1] for m in range(reach + 1)]
        assert all(sale.left == money - sale.spends for money, sale in enumerate(sales))
        assert all(sum(sold.times * sold.rung.price for sold in sale.sold) == sale.spends for sale in sales)
        assert all(sum(sold.times * sold.rung.units for sold in sale.sold) == sale.units for sale in sales)
        for units in range(1, totals[-1] + 1):
            assert ladder.least(units) == next(money for money, total in enumerate(totals) if total >= units)
        breaks = [money for money in range(1, reach + 1) if completes_a_break(rungs, counting, money)]
        for money in range(2 * rungs[-1][0]):
            at = next((at for at in breaks if at > money), None)
            found = ladder.next_break(money)
            assert (found and (money + found.add, found.units)) == (at and (at, totals[at]))


def completes_a_break(rungs: Pairs, counting: Counting, money: int) -> bool:
    """Tell whether a price above the first is newly reached with the last minor unit of this money (P7)."""
    higher = [price for price, _ in rungs[1:]]
    if counting == "climb_once":
        return money in higher
    if counting == "climb":
        return bool(higher) and (money % rungs[-1][0] or rungs[-1][0]) in higher
    reached = [price for price, _ in rungs if price <= money]
    return bool(reached) and (
        reached[-1] in higher if reached[-1] == money else completes_a_break(rungs, counting, money - reached[-1])
    )


@EACH_WAY
def test_advice_is_that_of_a_search_through_all_amounts_and_pairs(counting: Counting) -> None:
    for rungs in random_ladders(2, counting, wanted=LADDERS):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        given = [
            (one.code, one.amount, one.units, one.instead_units, one.parts) for one in advice(ladder, "games", "USD")
        ]
        assert given == advised(rungs, counting)


@EACH_WAY
def test_a_plan_of_separate_purchases_is_the_cheapest_there_is(counting: Counting) -> None:
    for rungs in random_ladders(3, counting, wanted=LADDERS):
        ladder = Ladder(tuple(Rung(*rung) for rung in rungs), counting)
        reach = next(reach for reach in count(100, 100) if sells(rungs, counting, reach) >= UNITS)
        totals = totals_of(rungs, counting, reach)
        singles = [next(m for m, total in enumerate(totals) if total >= units) for units in range(UNITS + 1)]
        best = list(singles)
        for units in range(1, UNITS + 1):
            best[units] = min(best[units - part] + singles[part] for part in range(1, units + 1))
            parts = split(ladder, units)
            assert bool(parts) == (best[units] < singles[units])
            if parts:
                assert sum(parts) == best[units]
                assert sum(totals[part] for part in parts) >= units
                assert no_two_are_as_good_as_one(parts, totals)


def no_two_are_as_good_as_one(parts: tuple[int, ...], totals: list[int]) -> bool:
    """Tell whether every two of the purchases buy less in one go."""
    pairs = (pair for pair in combinations_with_replacement(range(len(parts)), 2) if pair[0] != pair[1])
    return all(totals[parts[i] + parts[j]] < totals[parts[i]] + totals[parts[j]] for i, j in pairs)
