"""How often each price was bought, by what a meter counted and the money paid for it.

- A purchase of any way of counting (P1) is a sum of prices: its units and its money are those of the prices sold. Each
  price can be bought alone. So many units for so much money were bought in one of the ways in which whole numbers of
  times, one for each price, add up to both. *Derived* from P1, P2 and T2.
- Money below the first price is ``left`` and counts toward the next purchase (T2). What was left before and after moves
  the money spent by less than one first price, either way: the one that was sold when it was left.
- With two prices, the least and the most of these ways are exact. With more, each price has the least and the most of
  the ways that need not be whole, rounded inward: every real way lies inside, and the range may be wider by a few times.
- Where no way fits, the figures contradict each other, and nobody can tell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, gcd

from ..pricing.ladder import Rung


@dataclass(frozen=True, slots=True)
class Bought:
    """A price, and the least and the most times that it was bought."""

    rung: Rung
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class Paid:
    """What was paid for some units, in minor units: the least and the most."""

    least: int
    most: int


def spent_on(
    money: int, *, first_price: int, first_price_before: int = 0, accepts: Sequence[int] = (), counted_in: int = 1
) -> Paid:
    """Return what can have been spent where ``money`` was put in, for what may have been left before and after.

    ``first_price`` is the highest first price meanwhile, ``first_price_before`` that of before, if it was higher.
    ``accepts`` are the denominations, nothing where they are not known; ``counted_in`` is the money of one count. A
    meter that counts in more than the smallest coin shows the money to less than one count.
    """
    coin = gcd(*accepts) or 1
    hidden = max(counted_in - coin, 0)
    left_before, left = ((price - 1) // coin * coin for price in (max(first_price, first_price_before), first_price))
    return Paid(max(money - left - hidden, 0), money + left_before + hidden)


def times_bought(units: int, paid: Paid, rungs: Sequence[Rung]) -> tuple[Bought, ...] | None:
    """Return how often each price was bought, by price; None where no way to buy gives these figures.

    ``rungs`` are different prices of the ladders that were sold meanwhile.
    """
    ordered = sorted(set(rungs), key=lambda rung: (rung.price, rung.units))
    ways = list(_extreme_ways(units, paid, ordered))
    if not ways:
        return None
    ranges = [(ceil(min(way[i] for way in ways)), floor(max(way[i] for way in ways))) for i in range(len(ordered))]
    if len(ordered) == 2:
        ranges = _whole(units, ordered[0], ordered[1], ranges[1])
    if not ranges or any(least > most for least, most in ranges):
        return None
    return tuple(Bought(rung, *found) for rung, found in zip(ordered, ranges, strict=True))


def _extreme_ways(units: int, paid: Paid, rungs: Sequence[Rung]) -> Iterator[list[Fraction]]:
    """Yield the corners of all ways that need not be whole: at most two prices are bought in each."""
    for i, one in enumerate(rungs):
        times = Fraction(units, one.units)
        if paid.least <= times * one.price <= paid.most:
            yield _way(len(rungs), {i: times})
        for j, other in enumerate(rungs[i + 1 :], start=i + 1):
            apart = one.units * other.price - other.units * one.price
            for money in {paid.least, paid.most} if apart else ():
                first = Fraction(units * other.price - other.units * money, apart)
                second = Fraction(one.units * money - one.price * units, apart)
                if first >= 0 and second >= 0:
                    yield _way(len(rungs), {i: first, j: second})


def _way(width: int, times: dict[int, Fraction]) -> list[Fraction]:
    return [times.get(i, Fraction(0)) for i in range(width)]


def _whole(units: int, first: Rung, second: Rung, times: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the exact ranges of two prices; ``times`` has the range of the second, which may not be whole yet."""
    least, most = times

    def fits(count: int) -> bool:
        return (units - count * second.units) % first.units == 0

    low = next((n for n in range(least, min(most, least + first.units) + 1) if fits(n)), None)
    high = next((n for n in range(most, max(least, most - first.units) - 1, -1) if fits(n)), None)
    if low is None or high is None:
        return []
    of_first = [(units - n * second.units) // first.units for n in (high, low)]
    return [(of_first[0], of_first[1]), (low, high)]
