"""The prices that a table sold at between two instants: the newest thing known of its controller (W8)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..controllers.sells import Machine, sold_between
from ..pricing import DomainError
from ..pricing.ladder import Ladder


@dataclass(frozen=True, slots=True, kw_only=True)
class LaddersSold:
    """The ladders that a table sold by between two readings, and whether play was free at times.

    ``covered`` tells that it is known, or listed, what the table sold all that time.
    """

    games: tuple[Ladder, ...] = ()
    minutes: tuple[Ladder, ...] = ()
    free: bool = False
    covered: bool = True


def prices_between(machine: Machine | None, *, from_at: datetime, to_at: datetime) -> LaddersSold:
    """Return what a table sold between two instants; no price where what is stored of its controller is contradictory."""
    if machine is None:
        return LaddersSold(covered=False)
    try:
        found = sold_between(machine, from_at=from_at, to_at=to_at)
    except DomainError:  # a contradiction in the settings never keeps a count from being recorded
        return LaddersSold(covered=False)
    tariffs = [span.tariff for span in found.spans if span.tariff is not None]
    return LaddersSold(
        games=tuple(dict.fromkeys(tariff.games for tariff in tariffs if tariff.games)),
        minutes=tuple(dict.fromkeys(tariff.minutes for tariff in tariffs if tariff.minutes)),
        free=any(tariff.free for tariff in tariffs),
        covered=found.covered,
    )
