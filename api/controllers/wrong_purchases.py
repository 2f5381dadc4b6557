"""What other prices than the wanted ones give away or take: the units that each amount buys under both (S2, S4)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..pricing.ladder import Ladder
from ..pricing.lines import Kind


@dataclass(frozen=True, slots=True)
class WrongPurchase:
    """``amount`` minor units buy ``found`` games or minutes where they should buy ``wanted``."""

    sells: Kind
    amount: int
    wanted: int
    found: int

    @property
    def gives_away(self) -> int:
        """Units given away; negative where they are taken from the player."""
        return self.found - self.wanted


def effects(
    sells: Kind, *, wanted: Ladder | None, found: Ladder | None, amounts: Iterable[int] = ()
) -> tuple[WrongPurchase, ...]:
    """Return where two ladders differ: at every rung of either, and at ``amounts`` (minor units), rising.

    None is a kind that is not sold: no money buys any of it.
    """
    rungs = {rung.price for ladder in (wanted, found) if ladder for rung in ladder.rungs}
    rows = [WrongPurchase(sells, at, _units(wanted, at), _units(found, at)) for at in sorted(rungs.union(amounts))]
    return tuple(row for row in rows if row.gives_away)


def _units(ladder: Ladder | None, amount: int) -> int:
    return ladder.total(amount) if ladder else 0
