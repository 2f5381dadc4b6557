"""What somebody may take out of the box before the rest is split, and what is carried forward where it could not.

- Claims are taken oldest first, as far as the money reaches; never below zero (D2).
- What could not be taken is carried forward by kind, with the date on which it fell due, and is taken like any other
  claim next time, also under a later agreement.
- A claim below zero says that too much of its kind was taken before a correction (C5).
- What was claimed = what was taken + what is carried forward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

ClaimCode = Literal["refunds_by_venue", "house_money", "test_money", "first_money", "operator_minimum"]

LineCode = Literal[
    "gross",
    "refunds_by_venue",
    "house_money",
    "test_money",
    "tax",
    "correction",
    "first_money",
    "operator_minimum",
    "operator_share",
    "operator_guarantee",
    "loan_repayment",
    "to_venue_now",
    "to_venue_balance",
]
WhoGets = Literal["operator", "venue", "tax_office", "all"]


RETURNS: tuple[ClaimCode, ...] = ("refunds_by_venue", "house_money", "test_money")
"""The claims of step 2, in their order: what was never takings."""
_WHO: dict[ClaimCode, WhoGets] = {
    "refunds_by_venue": "venue",
    "house_money": "venue",
    "test_money": "operator",
    "first_money": "operator",
    "operator_minimum": "operator",
}
_WORDS: dict[ClaimCode, str] = {
    "refunds_by_venue": "Refunds that the venue paid",
    "house_money": "House money",
    "test_money": "Test money",
    "first_money": "First money",
    "operator_minimum": "Operator's minimum",
}


@dataclass(frozen=True, slots=True)
class Claim:
    """``amount`` minor units of one kind, due since ``due_on``; ``name`` is that of a first money.

    Claims of the same code and name are of one kind.
    """

    code: ClaimCode
    amount: int
    due_on: date
    name: str = ""

    @property
    def kind(self) -> tuple[ClaimCode, str]:
        return (self.code, self.name)

    @property
    def words(self) -> str:
        """The claim as a line names it."""
        return f"{self.name or _WORDS[self.code]}, due {self.due_on}"


@dataclass(frozen=True, slots=True)
class SettlementLine:
    """One line of a settlement: ``amount`` minor units for ``to``, reckoned from ``basis`` minor units."""

    code: LineCode
    basis: int
    amount: int
    what: str
    to: WhoGets


@dataclass(frozen=True, slots=True)
class Taken:
    """What claims took: a line for each that took something, their sum, and what is carried forward."""

    lines: tuple[SettlementLine, ...]
    total: int
    carried: tuple[Claim, ...]


def take(claims: Sequence[Claim], *, available: int) -> Taken:
    """Take claims out of ``available`` minor units, oldest first and then in the order given, each as far as it goes.

    A claim below zero takes nothing and is carried forward.
    """
    lines, carried, left = [], [], available
    for claim in sorted(claims, key=lambda claim: claim.due_on):
        taken = min(max(claim.amount, 0), left)
        left -= taken
        if taken:
            lines.append(SettlementLine(claim.code, claim.amount, taken, claim.words, _WHO[claim.code]))
        if taken != claim.amount:
            carried.append(replace(claim, amount=claim.amount - taken))
    return Taken(tuple(lines), available - left, tuple(carried))


def give_back(claims: Sequence[Claim]) -> Taken:
    """Give back what was taken too much: a line below zero for each claim below zero; the others are carried on."""
    lines = tuple(
        SettlementLine("correction", claim.amount, claim.amount, f"Taken too much: {claim.words}", _WHO[claim.code])
        for claim in claims
        if claim.amount < 0
    )
    return Taken(lines, sum(line.amount for line in lines), tuple(claim for claim in claims if claim.amount >= 0))


def offset(claims: Sequence[Claim]) -> tuple[Claim, ...]:
    """Set claims below zero against claims of the same kind, the oldest first; their sum by kind stays the same."""
    over: dict[tuple[ClaimCode, str], int] = {}
    for claim in claims:
        over[claim.kind] = over.get(claim.kind, 0) - min(claim.amount, 0)
    rest = []
    for claim in sorted(claims, key=lambda claim: claim.due_on):
        used = min(max(claim.amount, 0), over[claim.kind])
        over[claim.kind] -= used
        if claim.amount > used:
            rest.append(replace(claim, amount=claim.amount - used))
    newest = {claim.kind: claim for claim in claims}
    return (*rest, *(replace(newest[kind], amount=-amount) for kind, amount in over.items() if amount))
