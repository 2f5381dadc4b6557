"""What the settlements of a venue leave for the next: claims that still wait, and first money not reckoned yet.

- Every settlement changes what waits by what it raised less what it took. The sum of the changes of all settlements that
  stand is what waits; a reversal takes its change out, so that all balances are back (D2, C5).
- What such a sum finds below zero was taken too much before a correction, and is given back by the next settlement.
- Periodic first money is reckoned once for each trading date. A settlement reckons whatever dates up to its own no
  settlement that stands has reckoned; a reversal leaves its dates to the next.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from .agreement import Agreement
from .claims import Claim
from .first_money import first_money_due


@dataclass(frozen=True, slots=True)
class Period:
    """Trading dates from the day after ``after_on`` (None: from the first) to ``until_on``."""

    after_on: date | None
    until_on: date


def waiting(changes: Iterable[Sequence[Claim]]) -> tuple[Claim, ...]:
    """Return what waits to be taken after these changes, oldest first; below zero where too much was taken."""
    return _added_up(claim for change in changes for claim in change)


def change(*, carried_in: Sequence[Claim], carried_forward: Sequence[Claim]) -> tuple[Claim, ...]:
    """Return by how much a settlement changed what waits."""
    return _added_up((*carried_forward, *(replace(claim, amount=-claim.amount) for claim in carried_in)))


def unreckoned(reckoned: Iterable[Period], *, until_on: date) -> tuple[Period, ...]:
    """Return the trading dates up to ``until_on`` that lie in none of the periods."""
    gaps: list[Period] = []
    edge = date.min
    for period in sorted(reckoned, key=lambda period: period.after_on or date.min):
        after_on = min(period.after_on or date.min, until_on)
        if after_on > edge:
            gaps.append(Period(_after(edge), after_on))
        edge = max(edge, period.until_on)
    if edge < until_on:
        gaps.append(Period(_after(edge), until_on))
    return tuple(gaps)


def due(versions: Sequence[Agreement], periods: Sequence[Period], *, on: date) -> tuple[Claim, ...]:
    """Return the first money that a settlement on a trading date claims: that of these periods, and its own."""
    own = first_money_due(_only(versions, "collection"), after_on=on, until_on=on)
    periodic = _only(versions, "period")
    found = [first_money_due(periodic, after_on=period.after_on, until_on=period.until_on) for period in periods]
    return tuple(sorted((*(claim for claims in found for claim in claims), *own), key=lambda claim: claim.due_on))


def _only(versions: Sequence[Agreement], what: Literal["collection", "period"]) -> list[Agreement]:
    return [
        replace(
            agreement,
            first_money=tuple(
                item for item in agreement.first_money if (item.per == "collection") == (what == "collection")
            ),
        )
        for agreement in versions
    ]


def _after(edge: date) -> date | None:
    return None if edge == date.min else edge


def _added_up(claims: Iterable[Claim]) -> tuple[Claim, ...]:
    sums: Counter[Claim] = Counter()
    for claim in claims:
        sums[replace(claim, amount=0)] += claim.amount
    by_date = sorted(sums.items(), key=lambda item: item[0].due_on)
    return tuple(replace(claim, amount=amount) for claim, amount in by_date if amount)
