"""The search for prices against an independent enumeration of all ladders on small steps."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, product

import pytest
from baizebook.pool_tables.controller import Limits
from baizebook.pricing import Ladder, PricingError, Rung
from baizebook.pricing.effort import Effort
from baizebook.pricing.ladder import WAYS_OF_COUNTING, Counting
from baizebook.proposals.ladder_search import MEASURES, Aims, search

AIMS = Aims(
    least_an_hour=6_00, minutes_a_unit=4, accepts=(25, 100, 500), notes=(200,), first_price_max=100,
    highest_price=4_00, prices_max=3, limits=Limits(price_step=50, units_max=6),
)  # fmt: skip


def every_ladder(aims: Aims) -> Iterator[Ladder]:
    """Return every ladder of so many prices and units that meets the aims, asked of the engine one by one."""
    prices = range(aims.limits.price_step, aims.highest_price + 1, aims.limits.price_step)
    units = range(aims.limits.units_step, (aims.limits.units_max or 0) + 1, aims.limits.units_step)
    for count in range(1, aims.prices_max + 1):
        for chosen, sold in product(combinations(prices, count), combinations(units, count)):
            try:
                ladder = Ladder(tuple(map(Rung, chosen, sold)), aims.counting)
            except PricingError:
                continue
            enough = all(
                p * 60 >= u * aims.minutes_a_unit * aims.least_an_hour for p, u in zip(chosen, sold, strict=True)
            )
            adds = all(rung.units > ladder.units_below(i) for i, rung in enumerate(ladder.rungs) if i)
            rest = any(ladder.sell(note).left for note in aims.notes)
            if enough and adds and not rest and chosen[0] <= aims.first_price_max:
                yield ladder


def coins_for(price: int) -> int:
    return min(c + d + q for c in range(5) for d in range(9) for q in range(17) if 500 * c + 100 * d + 25 * q == price)


def measures(aims: Aims, ladder: Ladder) -> tuple[Fraction, Fraction, int, int, int]:
    first = ladder.rungs[0]
    hour = min(Fraction(rung.price * 60, rung.units * aims.minutes_a_unit) for rung in ladder.rungs)
    plain = sum(note // first.price * first.units for note in aims.notes)
    bonus = Fraction(sum(map(ladder.total, aims.notes)) - plain, plain) if plain else Fraction(0)
    return hour, bonus, -coins_for(first.price), -len(ladder.rungs), -sum(coins_for(r.price) for r in ladder.rungs)


@pytest.mark.parametrize("counting", WAYS_OF_COUNTING)
def test_the_best_of_all_ladders_are_proposed(counting: Counting) -> None:
    aims = replace(AIMS, counting=counting)
    found = search(aims, work=Effort())
    ladders = list(every_ladder(aims))
    assert found.met == len(ladders) > 20
    for place, measure in enumerate(MEASURES):
        best = found.best[measure]
        order = [place, *(other for other in range(4) if other != place), 4]
        keys = [tuple(measures(aims, ladder)[i] for i in order) for ladder in ladders]
        assert best.order(measure) == max(keys)
        mine = measures(aims, best.ladder)
        assert not any(
            all(theirs >= ours for theirs, ours in zip(other, mine[:4], strict=True)) and other != mine[:4]
            for other in (measures(aims, ladder)[:4] for ladder in ladders)
        )


def test_units_are_on_the_controllers_steps() -> None:
    aims = replace(AIMS, minutes_a_unit=1, limits=Limits(price_step=50, units_step=5, units_min=10, units_max=60))
    found = search(aims, work=Effort())
    assert found.met == sum(ladder.rungs[0].units >= 10 for ladder in every_ladder(aims)) > 0
    assert all(rung.units % 5 == 0 and rung.units >= 10 for one in found.best.values() for rung in one.ladder.rungs)


def test_aims_that_nothing_meets_find_nothing() -> None:
    assert search(replace(AIMS, least_an_hour=100_00), work=Effort()).best == {}


def test_a_search_beyond_the_budget_is_refused() -> None:
    wide = replace(AIMS, least_an_hour=1, notes=(), highest_price=20_00, limits=Limits(price_step=25))
    with pytest.raises(PricingError) as refused:
        search(wide, work=Effort(steps_max=300_000))
    assert refused.value.code == "too_much_work"


def test_a_highest_price_of_millions_is_refused_before_its_prices_are_listed() -> None:
    with pytest.raises(PricingError) as refused:
        search(replace(AIMS, highest_price=2_147_483_647_00), work=Effort())
    assert refused.value.code == "too_much_work"
