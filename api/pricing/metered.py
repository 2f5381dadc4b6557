"""Metered time (M): pay afterwards, as halls do: the rate, what a play at it costs, and how long money lasts.

- A rate's first tier starts at 0, the others strictly later; a price may be 0.
- Under ``add`` a tier's length is a whole number of its steps; under ``set`` a tier has a price and nothing else.
- A minimum above the maximum is refused (M5).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from .errors import Fault, PricingError
from .money import MOST_MINOR

MOST_TIERS = 50
MOST_MINUTES = 525_600
"""No tier starts later than this and no step, price unit or capped slice is longer: a year."""


@dataclass(frozen=True, slots=True)
class Tier:
    """One tier of a rate, judged by the rate it belongs to.

    Under ``add``: from elapsed minute ``from_minutes`` on, ``price`` (minor units) for every ``per_minutes``, billed in
    started steps of ``step_minutes``. Under ``set``: ``price`` is that of the whole play once it goes past
    ``from_minutes``.
    """

    from_minutes: int
    price: int
    per_minutes: int | None = None
    step_minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Cap:
    """The most (minor units) that each slice of ``per_minutes``, or else the whole play, costs a party (M5)."""

    amount: int
    per_minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """What metered time costs the table, or each player at it; amounts in minor units.

    Refuses, all faults at once: numbers out of bounds (``bad_rate``), tiers that do not rise from 0
    (``tiers_not_rising``), a tier that is no whole number of its steps (``tier_not_whole_steps``), and a minimum
    above the maximum (``minimum_above_maximum``).
    """

    tiers: tuple[Tier, ...]
    tier_mode: Literal["add", "set"] = "add"
    start_fee: int = 0
    per: Literal["table", "player"] = "table"
    minimum: int = 0
    maximum: Cap | None = None

    def __post_init__(self) -> None:
        faults = [*_rate_faults(self), *_tier_faults(self)]
        # Only sound numbers are compared with each other.
        faults = faults or [*_order_faults(self.tiers), *_step_faults(self), *_cap_faults(self)]
        if faults:
            raise PricingError(*faults)


def _whole(where: str, value: object, least: int, most: int) -> Iterator[Fault]:
    if type(value) is not int or not least <= value <= most:
        yield Fault("bad_rate", where, repr(value), f"a whole number from {least} to {most}")


def _rate_faults(rate: Rate) -> Iterator[Fault]:
    for where, found, known in (("tier_mode", rate.tier_mode, ("add", "set")), ("per", rate.per, ("table", "player"))):
        if found not in known:
            yield Fault("bad_rate", where, repr(found), " or ".join(known))
    if not 1 <= len(rate.tiers) <= MOST_TIERS:
        yield Fault("bad_rate", "tiers", f"{len(rate.tiers)} tiers", f"1 to {MOST_TIERS} tiers")
    yield from _whole("start_fee", rate.start_fee, 0, MOST_MINOR)
    yield from _whole("minimum", rate.minimum, 0, MOST_MINOR)
    if rate.maximum is not None:
        yield from _whole("maximum.amount", rate.maximum.amount, 0, MOST_MINOR)
        if rate.maximum.per_minutes is not None:
            yield from _whole("maximum.per_minutes", rate.maximum.per_minutes, 1, MOST_MINUTES)


def _tier_faults(rate: Rate) -> Iterator[Fault]:
    for index, tier in enumerate(rate.tiers):
        where = f"tiers[{index}]"
        yield from _whole(f"{where}.from_minutes", tier.from_minutes, 0, MOST_MINUTES)
        yield from _whole(f"{where}.price", tier.price, 0, MOST_MINOR)
        lengths = (("per_minutes", tier.per_minutes), ("step_minutes", tier.step_minutes))
        for name, minutes in lengths:
            if rate.tier_mode == "set":
                if minutes is not None:
                    yield Fault(
                        "bad_rate", f"{where}.{name}", repr(minutes), "none: its price is that of the whole play"
                    )
            elif minutes is not None or name == "per_minutes":
                yield from _whole(f"{where}.{name}", minutes, 1, MOST_MINUTES)


def _order_faults(tiers: tuple[Tier, ...]) -> Iterator[Fault]:
    if tiers[0].from_minutes != 0:
        yield Fault(
            "tiers_not_rising", "tiers[0].from_minutes", str(tiers[0].from_minutes), "0: the first tier starts there"
        )
    for index in range(1, len(tiers)):
        before, found = tiers[index - 1].from_minutes, tiers[index].from_minutes
        if found <= before:
            yield Fault("tiers_not_rising", f"tiers[{index}].from_minutes", str(found), f"more than {before}")


def _step_faults(rate: Rate) -> Iterator[Fault]:
    if rate.tier_mode == "set":
        return
    for index in range(len(rate.tiers) - 1):
        tier, length = rate.tiers[index], rate.tiers[index + 1].from_minutes - rate.tiers[index].from_minutes
        step = tier.step_minutes or tier.per_minutes or 1
        if length > 0 and length % step:
            yield Fault(
                "tier_not_whole_steps",
                f"tiers[{index}].step_minutes",
                f"a tier of {length} minutes in steps of {step}",
                "a tier that is a whole number of its steps",
            )


def _cap_faults(rate: Rate) -> Iterator[Fault]:
    if rate.maximum is not None and rate.minimum > rate.maximum.amount:
        yield Fault(
            "minimum_above_maximum", "minimum", str(rate.minimum), f"at most the maximum, {rate.maximum.amount}"
        )
