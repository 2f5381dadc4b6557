"""What an intake, counted by denomination, buys by a ladder, and what play may be lost before prices earn less (N4).

- Each coin or note that reaches the first price is a purchase of its own. Smaller ones, and what a purchase leaves, are
  put together and buy at the first price. Players who put more together get more: ``most`` is all of it at the best price.
- Break-even: 1 less the play that the money buys under the other prices per play that it buys under the current ones is
  the share of play that may be lost before the other prices bring in less. Below 0 it is the growth that they need.
- An elasticity is taken as arc elasticity: the change of play against its midpoint, per change of price against its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import gcd

from ..pricing import Ladder
from ..pricing.effort import Effort
from ..pricing.errors import domain_error

MAX_SUMS = 20_000


@dataclass(frozen=True, slots=True)
class IntakeUnits:
    """Units that an intake buys piece by piece, and the most that it can buy."""

    units: int
    most: int


def bought(ladder: Ladder, counts: Mapping[int, int]) -> IntakeUnits:
    """Return what an intake buys: ``counts`` are pieces by denomination, in minor units."""
    first = ladder.rungs[0]
    units, pool = 0, 0
    for value, count in counts.items():
        sale = ladder.sell(value)
        units += count * sale.units
        pool += count * sale.left
    units += pool // first.price * first.units
    whole = sum(value * count for value, count in counts.items())
    best = max(ladder.rungs, key=lambda rung: (Fraction(rung.units, rung.price), rung.price))
    times, rest = divmod(whole, best.price)
    return IntakeUnits(units, max(units, times * best.units + ladder.total(rest)))


def break_even_share(current: Fraction, other: Fraction) -> Fraction:
    """Return the share of play that may be lost: 1 − other / current, of what the same money buys (current above 0)."""
    return 1 - other / current


@dataclass(frozen=True, slots=True)
class Assumed:
    """Play and takings under the other prices, as shares of those under the current ones."""

    play: Fraction
    takings: Fraction


def at_elasticity(current: Fraction, other: Fraction, elasticity: Fraction) -> Assumed | None:
    """Return play and takings at an arc elasticity; ``current`` and ``other`` are what the same money buys, above 0.

    With prices p = 1/current and q = 1/other and k = (q − p) / (q + p), play changes to (1 + ek) / (1 − ek) of what it
    was, and to nothing where that falls below 0. None where play would grow without bound.
    """
    k = (current - other) / (current + other)
    if elasticity * k >= 1:
        return None
    play = max(Fraction(0), (1 + elasticity * k) / (1 - elasticity * k))
    return Assumed(play, play * current / other)


def fewest_pieces(accepts: tuple[int, ...], price: int, *, work: Effort) -> dict[int, int] | None:
    """Return the fewest coins and notes that make up a price exactly, by denomination; None where none do.

    Refuses ``denominations_too_complex``, and ``too_much_work``.
    """
    step = gcd(*accepts)
    if price % step:
        return None
    sums = price // step
    if sums > MAX_SUMS:
        expected = f"prices of at most {MAX_SUMS} times the common step of all denominations"
        raise domain_error("denominations_too_complex", where="accepts", found=price, expected=expected)
    work.spend(sums * len(accepts), where="accepts", smaller="compare lists with fewer or lower prices")
    best: list[tuple[int, int] | None] = [(0, 0)] + [None] * sums
    for total in range(1, sums + 1):
        for value in accepts:
            before = best[total - value // step] if value // step <= total else None
            if before is not None and (best[total] is None or before[0] + 1 < best[total][0]):  # type: ignore[index]
                best[total] = (before[0] + 1, value)
    pieces: dict[int, int] = {}
    while sums:
        last = best[sums]
        if last is None:
            return None
        pieces[last[1]] = pieces.get(last[1], 0) + 1
        sums -= last[1] // step
    return dict(sorted(pieces.items()))
