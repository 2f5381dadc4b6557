"""What is carried along a trip: the money and the weight of its coins after each stop, and how many bags that takes (O2).

- What a box will hold is an expectation; a box of which nothing is known adds nothing, and the stop says so.
- Notes weigh next to nothing. A bag takes at most 16 kg of coins; each stop with money has at least one, and its seal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from ..collections.coins import HALVE_ABOVE_KG


@dataclass(frozen=True, slots=True)
class Picked:
    """What a stop adds: minor units of its currency, grams of coins, and how many boxes are emptied."""

    currency: str
    amount: int
    coins_g: Decimal
    boxes: int


@dataclass(frozen=True, slots=True)
class Carried:
    """What is carried after a stop: minor units by currency, grams of coins, and the bags that this stop fills."""

    amounts: Mapping[str, int]
    coins_g: Decimal
    bags: int


def carried_along(stops: Sequence[Picked]) -> list[Carried]:
    """Return what is carried after each stop."""
    amounts: dict[str, int] = {}
    coins_g, found = Decimal(0), []
    for stop in stops:
        if stop.amount:
            amounts = {**amounts, stop.currency: amounts.get(stop.currency, 0) + stop.amount}
        coins_g += stop.coins_g
        bags = max(1, ceil(stop.coins_g / (HALVE_ABOVE_KG * 1_000))) if stop.boxes else 0
        found.append(Carried(dict(sorted(amounts.items())), coins_g, bags))
    return found
