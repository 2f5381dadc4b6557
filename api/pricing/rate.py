"""A metered rate: what time on a table costs when it is paid for afterwards.

- The first tier starts at 0, the others strictly later; a price may be 0.
- Under ``add`` a tier has a price for so many minutes, and its length is a whole number of its steps (M2).
- Under ``set`` a tier has the price of the whole play and nothing else (M3).
- A minimum above the maximum is refused (M5).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from .errors import Fault, PricingError
from .money import MAX_MINOR

TierMode = Literal["add", "set"]
Per = Literal["table", "player"]

MAX_TIERS = 50
TIER_MINUTES_MAX = 525_600
"""No tier starts later than this, and no step, price unit or capped slice is longer: a year."""


@dataclass(frozen=True, slots=True)
class Tier:
    """One tier; refuses numbers out of bounds (``bad_tier``).

    Under ``add``: from elapsed minute ``from_minutes`` on, ``price`` (minor units) for every ``per_minutes``, billed in
    started steps of ``step_minutes`` (default: ``per_minutes``). Under ``set``: ``price`` is that of the whole play once
    it goes on past ``from_minutes``.
    """

    from_minutes: int
    price: int
    per_minutes: int | None = None
    step_minutes: int | None = None

    def __post_init__(self) -> None:
        _must_be_within(
            "bad_tier",
            ("from_minutes", self.from_minutes, 0, TIER_MINUTES_MAX),
            ("price", self.price, 0, MAX_MINOR),
            ("per_minutes", self.per_minutes, 1, TIER_MINUTES_MAX),
            ("step_minutes", self.step_minutes, 1, TIER_MINUTES_MAX),
        )

    @property
    def unit(self) -> int:
        """The minutes that the price is for; 1 where it is for the whole play."""
        return self.per_minutes or 1

    @property
    def step(self) -> int:
        """The minutes of a step."""
        return self.step_minutes or self.unit


@dataclass(frozen=True, slots=True)
class Cap:
    """The most (minor units) that each slice of ``per_minutes``, or else the whole play, costs; refuses ``bad_cap``."""

    amount: int
    per_minutes: int | None = None

    def __post_init__(self) -> None:
        _must_be_within(
            "bad_cap", ("amount", self.amount, 0, MAX_MINOR), ("per_minutes", self.per_minutes, 1, TIER_MINUTES_MAX)
        )


@dataclass(frozen=True, slots=True)
class Rate:
    """What metered time costs the table, or each player at it; amounts in minor units.

    Refuses, all at once: ``bad_rate`` (an unknown word, a number out of bounds, no tiers or too many, a tier without
    what its mode needs or with what it does not know), ``tiers_not_rising``, ``tier_not_whole_steps`` and
    ``minimum_above_maximum``.
    """

    tiers: tuple[Tier, ...]
    tier_mode: TierMode = "add"
    start_fee: int = 0
    per: Per = "table"
    minimum: int = 0
    maximum: Cap | None = None

    def __post_init__(self) -> None:
        faults = [
            *_faults_of_form(self),
            *_faults_of_tiers(self),
            *_faults_of_order(self.tiers),
            *_faults_of_steps(self),
        ]
        if self.maximum is not None and self.minimum > self.maximum.amount:
            expected = f"at most the maximum, {self.maximum.amount}"
            amounts = (self.minimum, self.maximum.amount)
            faults.append(Fault("minimum_above_maximum", "minimum", str(self.minimum), expected, amounts))
        if faults:
            raise PricingError(*faults)


Bound = tuple[str, int | None, int, int]


def _out_of_bounds(code: str, *bounds: Bound) -> Iterator[Fault]:
    for where, found, least, most in bounds:
        if found is not None and (type(found) is not int or not least <= found <= most):
            yield Fault(code, where, repr(found), f"a whole number from {least} to {most}")


def _must_be_within(code: str, *bounds: Bound) -> None:
    if faults := list(_out_of_bounds(code, *bounds)):
        raise PricingError(*faults)


def _faults_of_form(rate: Rate) -> Iterator[Fault]:
    for where, found, known in (("tier_mode", rate.tier_mode, ("add", "set")), ("per", rate.per, ("table", "player"))):
        if found not in known:
            yield Fault("bad_rate", where, repr(found), " or ".join(known))
    if not 1 <= len(rate.tiers) <= MAX_TIERS:
        yield Fault("bad_rate", "tiers", f"{len(rate.tiers)} tiers", f"1 to {MAX_TIERS} tiers")
    yield from _out_of_bounds(
        "bad_rate", ("start_fee", rate.start_fee, 0, MAX_MINOR), ("minimum", rate.minimum, 0, MAX_MINOR)
    )


def _faults_of_tiers(rate: Rate) -> Iterator[Fault]:
    for index, tier in enumerate(rate.tiers):
        where = f"tiers[{index}]"
        if rate.tier_mode == "add" and tier.per_minutes is None:
            yield Fault("bad_rate", f"{where}.per_minutes", "nothing", "the minutes that the price is for")
        if rate.tier_mode == "set":
            for name, minutes in (("per_minutes", tier.per_minutes), ("step_minutes", tier.step_minutes)):
                if minutes is not None:
                    yield Fault("bad_rate", f"{where}.{name}", str(minutes), "nothing: the price is the whole play's")


def _faults_of_order(tiers: tuple[Tier, ...]) -> Iterator[Fault]:
    if tiers and tiers[0].from_minutes != 0:
        yield Fault("tiers_not_rising", "tiers[0].from_minutes", str(tiers[0].from_minutes), "0 in the first tier")
    for index, (below, tier) in enumerate(pairwise(tiers), start=1):
        if tier.from_minutes <= below.from_minutes:
            expected = f"more than the {below.from_minutes} of the tier before"
            yield Fault("tiers_not_rising", f"tiers[{index}].from_minutes", str(tier.from_minutes), expected)


def _faults_of_steps(rate: Rate) -> Iterator[Fault]:
    if rate.tier_mode == "set":
        return
    for index, (tier, above) in enumerate(pairwise(rate.tiers)):
        length = above.from_minutes - tier.from_minutes
        if length > 0 and length % tier.step:
            found = f"steps of {tier.step} minutes in a tier of {length}"
            where = f"tiers[{index}].{'step_minutes' if tier.step_minutes else 'per_minutes'}"
            yield Fault("tier_not_whole_steps", where, found, "a tier that is a whole number of its steps")
