"""An agreement between operator and venue: the terms of a settlement, as values that are valid or do not exist.

- It is dated and versioned (D3): it begins on the trading date ``effective_on``, which also starts its first week.
- The venue's share is one of: a flat percentage, steps by contract week, tiers by amount; never two of them.
- Contract week 1 is the seven trading days from ``effective_on``; a later week is found by counting.
- Steps begin at week 1 and tiers at amount 0, both strictly rising: some share holds for every week and amount.
- A percentage lies between 0 and 100 and is exact.
- First money has a name of its own, since what could not be taken is carried forward by name (D2); spread by days is
  only what has days to spread over; and money due once falls due while the agreement runs, or never would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from itertools import pairwise
from typing import Literal, get_args

from ..pricing.errors import DomainError, Fault, domain_error
from ..pricing.money import MAX_MINOR
from ..tax_areas.percents import percent_faults

FirstMoneyPer = Literal["collection", "week", "month", "year", "once"]

Party = Literal["operator", "venue"]
SettlesOn = Literal["counted", "expected", "higher"]
Pays = Literal["at_visit", "monthly"]
ShareTierMode = Literal["marginal", "whole"]
MinimumKind = Literal["front", "guarantee"]
CapAfter = Literal["gross", "returns", "tax", "first_money", "minimum"]


MAX_ENTRIES = 100
"""No list in an agreement is longer than this."""


@dataclass(frozen=True, slots=True)
class WeekStep:
    """From contract week ``from_week`` on (1 is the first), the venue has ``venue_percent``."""

    from_week: int
    venue_percent: Fraction

    def __post_init__(self) -> None:
        _raise(_count_faults("from_week", self.from_week, 1) + percent_faults("venue_percent", self.venue_percent))


@dataclass(frozen=True, slots=True)
class AmountTier:
    """From the amount ``from_minor`` on, the venue has ``venue_percent``."""

    from_minor: int
    venue_percent: Fraction

    def __post_init__(self) -> None:
        _raise(_count_faults("from", self.from_minor, 0) + percent_faults("venue_percent", self.venue_percent))


@dataclass(frozen=True, slots=True)
class AmountTiers:
    """``marginal``: each tier's percentage for the money inside it; ``whole``: the highest tier reached, for all of it."""

    mode: ShareTierMode
    tiers: tuple[AmountTier, ...]

    def __post_init__(self) -> None:
        faults = _choice_faults("mode", self.mode, get_args(ShareTierMode))
        _raise(faults + _rising_faults("tiers", [tier.from_minor for tier in self.tiers], "from", 0, money=True))


@dataclass(frozen=True, slots=True)
class FirstMoney:
    """A reimbursement or service charge that the operator takes first: ``amount`` minor units ``per`` so long.

    ``starts_on`` is the first day of the first period. Whole, it falls due on each period's first day; ``spread``, in
    equal parts on each of its days.
    """

    name: str
    amount: int
    per: FirstMoneyPer
    starts_on: date
    spread: bool = False

    def __post_init__(self) -> None:
        faults = _name_faults(self.name) + _count_faults("amount", self.amount, 0)
        if self.amount == 0:
            faults.append(Fault("bad_count", "amount", "0", "more than 0", (0, 0)))
        faults += _choice_faults("per", self.per, get_args(FirstMoneyPer))
        if self.spread and self.per in ("collection", "once"):
            faults.append(Fault("nothing_to_spread", "spread", f"per {self.per}", "per week, month or year"))
        _raise(faults)


@dataclass(frozen=True, slots=True)
class OperatorMinimum:
    """``amount`` minor units of each collection: as ``front`` money, or as a ``guarantee`` of the operator's share."""

    amount: int
    kind: MinimumKind

    def __post_init__(self) -> None:
        _raise(_count_faults("amount", self.amount, 0) + _choice_faults("kind", self.kind, get_args(MinimumKind)))


@dataclass(frozen=True, slots=True)
class ShareCap:
    """A legal cap on the venue's share, by its own name: at most so much of what is left ``after`` a step (D4)."""

    name: str
    venue_percent_max: Fraction
    after: CapAfter = "first_money"

    def __post_init__(self) -> None:
        faults = _name_faults(self.name) + percent_faults("venue_percent_max", self.venue_percent_max)
        _raise(faults + _choice_faults("after", self.after, get_args(CapAfter)))


@dataclass(frozen=True, slots=True)
class Agreement:
    """The terms of one published version; ``id`` and ``version`` are what a settlement names (D3).

    Refuses, all at once: ``exactly_one_share_rule``, ``steps_not_rising``, ``bad_percent``, ``bad_choice``,
    ``name_used_twice``, ``never_due``.
    """

    effective_on: date
    venue_percent: Fraction | None = None
    steps: tuple[WeekStep, ...] = ()
    amount_tiers: AmountTiers | None = None
    first_money: tuple[FirstMoney, ...] = ()
    operator_minimum: OperatorMinimum | None = None
    settles_on: SettlesOn = "counted"
    pays: Pays = "at_visit"
    odd_unit_to: Party = "operator"
    loan_repay_percent: Fraction = Fraction(0)
    cap: ShareCap | None = None
    id: str = ""
    version: int = 1

    def __post_init__(self) -> None:
        _raise(_share_faults(self) + _first_money_faults(self) + _other_faults(self))

    def week_on(self, on: date) -> int:
        """Return the contract week of a trading date, 1 for the first; refuse earlier ones (``not_in_force``)."""
        if on < self.effective_on:
            raise domain_error("not_in_force", where="trading_on", found=on, expected=f"{self.effective_on} or later")
        return (on - self.effective_on).days // 7 + 1

    def venue_part(self, amount: int, *, on: date) -> Fraction:
        """Return what the venue has of ``amount`` minor units settled on a trading date: exact, not rounded."""
        week = self.week_on(on)
        if self.amount_tiers is not None:
            return _tiered(self.amount_tiers, amount)
        if self.steps:
            return amount * [step for step in self.steps if step.from_week <= week][-1].venue_percent / 100
        return amount * (self.venue_percent or Fraction(0)) / 100


def in_force(versions: Sequence[Agreement], *, on: date) -> Agreement | None:
    """Return the version that holds on a trading date (the last published of the latest date), or None (D3)."""
    begun = [agreement for agreement in versions if agreement.effective_on <= on]
    return max(begun, key=lambda agreement: (agreement.effective_on, agreement.version), default=None)


def _tiered(tiers: AmountTiers, amount: int) -> Fraction:
    reached = [tier for tier in tiers.tiers if tier.from_minor <= amount]
    if tiers.mode == "whole":
        return amount * reached[-1].venue_percent / 100
    ends = [tier.from_minor for tier in reached[1:]] + [amount]
    parts = (tier.venue_percent * (end - tier.from_minor) for tier, end in zip(reached, ends, strict=True))
    return sum(parts, Fraction(0)) / 100


def _share_faults(agreement: Agreement) -> list[Fault]:
    ways = {
        "venue_percent": agreement.venue_percent is not None,
        "steps": bool(agreement.steps),
        "amount_tiers": agreement.amount_tiers is not None,
    }
    given = [name for name, there in ways.items() if there]
    faults = []
    if len(given) != 1:
        expected = "one of venue_percent, steps and amount_tiers"
        faults.append(Fault("exactly_one_share_rule", "", " and ".join(given) or "no share rule", expected))
    if agreement.venue_percent is not None:
        faults += percent_faults("venue_percent", agreement.venue_percent)
    if agreement.steps:
        faults += _rising_faults("steps", [step.from_week for step in agreement.steps], "from_week", 1)
    return faults


def _first_money_faults(agreement: Agreement) -> list[Fault]:
    faults, seen = [], set()
    for index, item in enumerate(agreement.first_money):
        if item.name in seen:
            faults.append(Fault("name_used_twice", f"first_money[{index}].name", repr(item.name), "a name of its own"))
        seen.add(item.name)
        if item.per == "once" and item.starts_on < agreement.effective_on:
            expected = f"{agreement.effective_on} or later: before the agreement begins it never falls due"
            faults.append(Fault("never_due", f"first_money[{index}].starts_on", str(item.starts_on), expected))
    if len(agreement.first_money) > MAX_ENTRIES:
        faults.append(_too_many("first_money", len(agreement.first_money)))
    return faults


def _other_faults(agreement: Agreement) -> list[Fault]:
    return [
        *_choice_faults("settles_on", agreement.settles_on, get_args(SettlesOn)),
        *_choice_faults("pays", agreement.pays, get_args(Pays)),
        *_choice_faults("odd_unit_to", agreement.odd_unit_to, get_args(Party)),
        *percent_faults("loan_repay_percent", agreement.loan_repay_percent),
    ]


def _rising_faults(where: str, found: list[int], what: str, first: int, *, money: bool = False) -> list[Fault]:
    code = f"{where}_not_rising"
    if not found or found[0] != first:
        first_found = str(found[0]) if found else "nothing"
        amounts = (found[0], first) if money and found else None
        return [Fault(code, f"{where}[0].{what}", first_found, f"{first}, so that every case is settled", amounts)]
    faults = [
        Fault(
            code,
            f"{where}[{index}].{what}",
            str(value),
            f"more than the {before} before it",
            (value, before) if money else None,
        )
        for index, (before, value) in enumerate(pairwise(found), start=1)
        if value <= before
    ]
    return [*faults, _too_many(where, len(found))] if len(found) > MAX_ENTRIES else faults


def _too_many(where: str, found: int) -> Fault:
    return Fault("too_many_entries", where, str(found), f"at most {MAX_ENTRIES}")


def _count_faults(where: str, found: object, least: int) -> list[Fault]:
    if type(found) is int and least <= found <= MAX_MINOR:
        return []
    return [Fault("bad_count", where, repr(found), f"a whole number from {least} to {MAX_MINOR}")]


def _name_faults(name: str) -> list[Fault]:
    return [] if name.strip() else [Fault("no_name", "name", repr(name), "a name")]


def _choice_faults(where: str, found: object, among: tuple[str, ...]) -> list[Fault]:
    return [] if found in among else [Fault("bad_choice", where, repr(found), f"one of {', '.join(among)}")]


def _raise(faults: list[Fault]) -> None:
    if faults:
        raise DomainError(*faults)
