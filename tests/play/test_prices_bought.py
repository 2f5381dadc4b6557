"""How often each price was bought: against all ways to buy, for small lists of prices."""

from itertools import product
from random import Random

import pytest
from baizebook.play.prices_bought import Bought, Paid, spent_on, times_bought
from baizebook.pricing.ladder import Ladder, Rung

LADDERS = (
    ((100, 1), (400, 5)),
    ((100, 12), (800, 105)),
    ((50, 3), (200, 14)),
    ((100, 1), (400, 5), (900, 12)),
    ((125, 1), (450, 4), (1100, 11)),
)


def all_ways(rungs: list[Rung], units: int, paid: Paid) -> list[tuple[int, ...]]:
    """Return every whole way in which the prices add up to the figures, found by trying them all."""
    each = [range(units // rung.units + 1) for rung in rungs]
    return [
        times
        for times in product(*each)
        if sum(n * rung.units for n, rung in zip(times, rungs, strict=True)) == units
        and paid.least <= sum(n * rung.price for n, rung in zip(times, rungs, strict=True)) <= paid.most
    ]


@pytest.mark.parametrize("prices", LADDERS)
def test_every_way_to_buy_lies_in_the_range_and_two_prices_are_exact(prices: tuple[tuple[int, int], ...]) -> None:
    rungs = [Rung(*price) for price in prices]
    seed = Random(8117)
    compared = 0
    for _ in range(60):
        bought = [seed.randint(0, 5) for _ in rungs]
        units = sum(n * rung.units for n, rung in zip(bought, rungs, strict=True))
        money = sum(n * rung.price for n, rung in zip(bought, rungs, strict=True)) + seed.choice((-250, -50, 0, 0, 50))
        paid = spent_on(max(money, 0), first_price=rungs[0].price, accepts=seed.choice(((25,), (50, 100), ())))
        if len(rungs) > 2 and units > 80:
            continue
        ways, found = all_ways(rungs, units, paid), times_bought(units, paid, rungs)
        if not ways:
            assert found is None or len(rungs) > 2
            continue
        assert found is not None
        for i, price in enumerate(found):
            least, most = min(way[i] for way in ways), max(way[i] for way in ways)
            assert price.least <= least <= most <= price.most
            assert len(rungs) > 2 or (price.least, price.most) == (least, most)
            compared += 1
    assert compared > 20


def test_coins_of_the_first_price_leave_nothing_so_two_prices_are_told_exactly() -> None:
    """40 games for 34.00 at 1.00 a game and 5 for 4.00: six times the break saves 6.00."""
    paid = spent_on(3400, first_price=100, accepts=(100, 500))
    assert paid == Paid(3400, 3400)
    assert times_bought(40, paid, [Rung(100, 1), Rung(400, 5)]) == (
        Bought(Rung(100, 1), 10, 10),
        Bought(Rung(400, 5), 6, 6),
    )


def test_a_meter_that_counts_in_dollars_hides_quarters() -> None:
    assert spent_on(3400, first_price=100, accepts=(25, 100), counted_in=100) == Paid(3400 - 150, 3400 + 150)


def test_what_was_left_below_a_dearer_first_price_is_spent_at_the_cheaper_one() -> None:
    paid = spent_on(1000, first_price=75, first_price_before=125, accepts=(25,))
    assert paid == Paid(1000 - 50, 1000 + 100)


def test_figures_that_no_way_to_buy_gives_are_a_contradiction() -> None:
    assert times_bought(40, Paid(4100, 4100), [Rung(100, 1), Rung(400, 5)]) is None
    assert times_bought(40, Paid(3100, 3100), [Rung(100, 1), Rung(400, 5)]) is None
    assert times_bought(7, Paid(0, 9999), [Rung(100, 2)]) is None


@pytest.mark.parametrize("counting", ["repeat", "climb", "climb_once"])
def test_purchases_of_every_way_of_counting_lie_in_the_range(counting: str) -> None:
    """The rule that a purchase is a sum of its prices is the engine's own (E1): many purchases, their prices noted."""
    ladder = Ladder((Rung(100, 1), Rung(400, 5), Rung(900, 12)), counting)  # type: ignore[arg-type]
    seed = Random(4)
    for _ in range(30):
        units = money = left = 0
        times = dict.fromkeys(ladder.rungs, 0)
        for _ in range(seed.randint(1, 30)):
            put_in = 50 * seed.randint(1, 60)
            sale = ladder.sell(put_in + left)
            units, money, left = units + sale.units, money + put_in, sale.left
            for rung, count in sale.sold:
                times[rung] += count
        found = times_bought(units, spent_on(money, first_price=100, accepts=(50,)), ladder.rungs)
        assert found is not None
        assert all(price.least <= times[price.rung] <= price.most for price in found)
