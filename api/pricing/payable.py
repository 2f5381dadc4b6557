"""What a table's coin slots can take: the amounts that its denominations make up (P6).

- A table accepts a set of denominations, any number of each, and gives no change.
- An amount is payable if it is a sum of them; nothing is always payable.

Method: among the sums that leave the same remainder by the smallest denomination all are payable from the shortest one
on. The shortest sum of each remainder is found by walking every other denomination's cycles of remainders twice
(Böcker and Lipták, "A fast and simple algorithm for the Money Changing Problem", Algorithmica 48, 2007); so an amount
may be as large as it likes.
"""

from __future__ import annotations

from functools import lru_cache
from math import gcd

from .errors import pricing_error
from .money import MAX_MINOR

MAX_DENOMINATIONS = 50
MAX_REMAINDERS = 20_000
"""The smallest denomination holds the common step of all of them no more often than this (``denominations_too_complex``)."""


def payable(accepts: tuple[int, ...], money: int) -> bool:
    """Tell whether ``money`` can be made up from the denominations that a table accepts; all in minor units."""
    return next_payable(accepts, money) == money


def next_payable(accepts: tuple[int, ...], money: int) -> int:
    """Return the least payable amount of at least ``money``; all in minor units.

    Refuses (``bad_denominations``) an empty set and denominations that are no positive amounts.
    """
    step, shortest = _shortest_sums(accepts)
    smallest, wanted = len(shortest), -(-money // step)
    return step * min(max(least, wanted + (least - wanted) % smallest) for least in shortest)


@lru_cache(maxsize=256)
def _shortest_sums(accepts: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
    """Return the common step of the denominations and, in steps, the shortest sum of each remainder."""
    _check(accepts)
    step = gcd(*accepts)
    smallest, *others = sorted({denomination // step for denomination in accepts})
    if smallest > MAX_REMAINDERS:
        expected = f"denominations of which the smallest is at most {MAX_REMAINDERS} times their common step"
        raise pricing_error("denominations_too_complex", where="accepts", found=list(accepts), expected=expected)
    # Fewer than ``smallest`` coins reach every remainder, so no shortest sum is as long as this.
    beyond = smallest * (max(others, default=0) + 1)
    shortest = [0] + [beyond] * (smallest - 1)
    for other in others:
        for start in range(gcd(smallest, other)):
            remainder = start
            for _ in range(2 * (smallest // gcd(smallest, other))):
                longer = shortest[remainder] + other
                remainder = (remainder + other) % smallest
                shortest[remainder] = min(shortest[remainder], longer)
    return step, tuple(shortest)


def _check(accepts: tuple[int, ...]) -> None:
    if not 1 <= len(accepts) <= MAX_DENOMINATIONS:
        expected = f"1 to {MAX_DENOMINATIONS} denominations"
        raise pricing_error(
            "bad_denominations", where="accepts", found=f"{len(accepts)} denominations", expected=expected
        )
    for index, denomination in enumerate(accepts):
        if type(denomination) is not int or not 1 <= denomination <= MAX_MINOR:
            expected = f"minor units from 1 to {MAX_MINOR}"
            raise pricing_error(
                "bad_denominations", where=f"accepts[{index}]", found=repr(denomination), expected=expected
            )
