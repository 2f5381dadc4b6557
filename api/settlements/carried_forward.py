"""Claims on the box before the rest is split, and the claims that a settlement carries forward.

- Claims are taken oldest first, as far as the money reaches; never below zero (D2).
- A claim that the money does not reach is carried forward by kind, with the date on which it fell due. The next
  settlement takes it like any other claim, also under a later agreement.
- First money and minimums that no money ever reaches would grow for good: past the newest 100 claims that wait, the older
  ones of a kind are carried as one, due since the oldest of them. Their sum by kind stays the same.
- A claim below zero: too much of its kind was taken before a correction (C5), or too little was divided (C9).
- All claims = what was taken + what is carried forward.
- Every settlement changes what waits by the claims it raised less the claims it took. What waits is the sum of the
  changes of all settlements that were not reversed; a reversal takes its change out, and all balances are back (D2, C5).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

ClaimCode = Literal["refunds_by_venue", "house_money", "test_money", "expectation", "first_money", "operator_minimum"]

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
_FALLING_DUE: tuple[ClaimCode, ...] = ("first_money", "operator_minimum")
ONE_BY_ONE_MAX = 100
"""Claims carried forward one by one: two years of a weekly first money. Older ones are a sum for each kind."""
_WHO: dict[ClaimCode, WhoGets] = {
    "refunds_by_venue": "venue",
    "house_money": "venue",
    "test_money": "operator",
    "expectation": "operator",
    "first_money": "operator",
    "operator_minimum": "operator",
}
_WORDS: dict[ClaimCode, str] = {
    "refunds_by_venue": "Refunds that the venue paid",
    "house_money": "House money",
    "test_money": "Test money",
    "expectation": "Divided on an expectation that has changed",
    "first_money": "First money",
    "operator_minimum": "Operator's minimum",
}


@dataclass(frozen=True, slots=True)
class Claim:
    """``amount`` minor units of one kind, due since ``due_on``; ``name`` is that of a first money.

    Claims of the same code and name are of one kind. ``expectation`` is what an earlier settlement divided too much,
    by its expectation as it is judged now (C9); below zero, what it divided too little.
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
        if self.code == "expectation":
            return f"{_WORDS[self.code]}, collection of {self.due_on}"
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
            code: LineCode = "correction" if claim.code == "expectation" else claim.code
            lines.append(SettlementLine(code, claim.amount, taken, claim.words, _WHO[claim.code]))
        if taken != claim.amount:
            carried.append(replace(claim, amount=claim.amount - taken))
    return Taken(tuple(lines), available - left, tuple(carried))


def give_back(claims: Sequence[Claim]) -> Taken:
    """Give back what was taken too much: a line below zero for each claim below zero; carry the others on."""
    lines = tuple(
        SettlementLine(
            "correction",
            claim.amount,
            claim.amount,
            claim.words if claim.code == "expectation" else f"Taken too much: {claim.words}",
            _WHO[claim.code],
        )
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


def bounded(claims: Sequence[Claim]) -> tuple[Claim, ...]:
    """Return claims to carry forward, with the older first money and minimums of each kind in one where they are too many."""
    falling_due = [place for place, claim in enumerate(claims) if claim.code in _FALLING_DUE and claim.amount > 0]
    older = sorted(falling_due, key=lambda place: claims[place].due_on)[:-ONE_BY_ONE_MAX]
    sums: dict[tuple[ClaimCode, str], Claim] = {}
    for claim in (claims[place] for place in older):
        oldest = sums.setdefault(claim.kind, replace(claim, amount=0))
        sums[claim.kind] = replace(oldest, amount=oldest.amount + claim.amount)
    summed = set(older)
    return (*sums.values(), *(claim for place, claim in enumerate(claims) if place not in summed))


def claims_waiting(changes: Iterable[Sequence[Claim]]) -> tuple[Claim, ...]:
    """Return the claims that wait after these changes, oldest first; below zero where too much was taken."""
    return _added_up(claim for change in changes for claim in change)


def change(*, carried_in: Sequence[Claim], carried_forward: Sequence[Claim]) -> tuple[Claim, ...]:
    """Return by how much a settlement changed the claims that wait."""
    return _added_up(carried_forward, less=carried_in)


def _added_up(claims: Iterable[Claim], *, less: Iterable[Claim] = ()) -> tuple[Claim, ...]:
    """Return the sums of claims that differ in nothing but their amount, oldest first, without ``less``."""
    sums: dict[tuple[ClaimCode, date, str], int] = {}
    for sign, some in ((1, claims), (-1, less)):
        for claim in some:
            same = claim.code, claim.due_on, claim.name
            sums[same] = sums.get(same, 0) + sign * claim.amount
    by_date = sorted(sums.items(), key=lambda item: item[0][1])
    return tuple(Claim(code, amount, due_on, name) for (code, due_on, name), amount in by_date if amount)
