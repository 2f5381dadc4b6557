"""Coins and notes by weight: a check of a count, and how a heavy load is best carried.

- A coin's mass is its mint's; the weight expected is count × mass. Worn coins run light and new ones vary, so weight
  within a tolerance is a check of the count and never the count itself (C2).
- Where a denomination is both a coin and a note, the one that the weight fits better is taken.
- The tolerance is a share of the expected weight, but never less than half a piece.
- Packing and bags are those that banks take; more than 16 kg in one bag brings advice to halve it, never a ban.

Masses are grams, as exact decimals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Literal

from ..pricing.errors import domain_error
from ..pricing.money import round_half_up

DEFAULT_TOLERANCE_PERCENT = Fraction(1)


HALVE_ABOVE_KG = 16
"""Lifting filter of the British Health and Safety Executive for women."""


LOAD_CONSTANT_KG = 23
"""Load constant of the lifting equation, NIOSH publication 94-110: the most, and only in the ideal posture."""


@dataclass(frozen=True, slots=True)
class CoinOrNote:
    """One coin or note: its value in minor units, and its mass."""

    value: int
    grams: Decimal
    form: Literal["coin", "note"] = "coin"


def _piece(value: int, grams: str) -> CoinOrNote:
    return CoinOrNote(value, Decimal(grams))


PIECES: dict[str, tuple[CoinOrNote, ...]] = {
    # Masses: United States Mint, coin specifications. Notes: about a gram.
    "USD": (
        _piece(1, "2.500"),
        _piece(5, "5.000"),
        _piece(10, "2.268"),
        _piece(25, "5.670"),
        _piece(50, "11.340"),
        _piece(100, "8.1"),
        *(CoinOrNote(value, Decimal(1), "note") for value in (100, 200, 500, 1_000, 2_000, 5_000, 10_000)),
    ),
    # Council Regulation (EC) 975/98, as amended by 423/1999 (50 cent).
    "EUR": (
        _piece(5, "3.92"),
        _piece(10, "4.10"),
        _piece(20, "5.74"),
        _piece(50, "7.80"),
        _piece(100, "7.50"),
        _piece(200, "8.50"),
    ),
    # Royal Mint specifications.
    "GBP": (
        _piece(5, "3.25"),
        _piece(10, "6.50"),
        _piece(20, "5.0"),
        _piece(50, "8.0"),
        _piece(100, "8.75"),
        _piece(200, "12.00"),
    ),
}


@dataclass(frozen=True, slots=True)
class WeightCheck:
    """A weighing against a count: grams that the count should weigh, weighed less expected, and the count by weight.

    ``agrees`` says that the weight is within the tolerance.
    """

    piece: CoinOrNote
    expected_g: Decimal
    off_g: Decimal
    count_by_weight: int
    agrees: bool


@dataclass(frozen=True, slots=True)
class LiftingAdvice:
    """Carry a load of ``mass_g`` in ``loads`` parts: advice, never a ban."""

    mass_g: Decimal
    loads: int
    detail: str


def weigh(
    currency: str,
    value: int,
    *,
    count: int,
    weighed_g: Decimal,
    tolerance_percent: Fraction = DEFAULT_TOLERANCE_PERCENT,
) -> WeightCheck | None:
    """Compare a weight in grams with a count of one denomination; None where no mass is on record.

    ``value`` is the denomination in minor units. Refuses a weight below zero or above a tonne (``bad_weight``).
    """
    if not weighed_g.is_finite() or not 0 <= weighed_g <= 1_000_000:
        raise domain_error("bad_weight", where="weighed_g", found=weighed_g, expected="grams from 0 to 1000000")
    checks = [
        _weigh(piece, count, weighed_g, tolerance_percent) for piece in PIECES.get(currency, ()) if piece.value == value
    ]
    return min(checks, key=lambda check: abs(check.off_g), default=None)


def coins_mass_g(currency: str, counts: Mapping[int, int]) -> Decimal:
    """Return the grams of the coins in a count by denomination (minor units); notes and unknown pieces add nothing.

    A denomination that is both is taken for a note.
    """
    notes = {piece.value for piece in PIECES.get(currency, ()) if piece.form == "note"}
    masses = {piece.value: piece.grams for piece in PIECES.get(currency, ()) if piece.value not in notes}
    return sum((masses.get(value, Decimal(0)) * count for value, count in counts.items()), Decimal(0))


def lifting_advice(mass_g: Decimal) -> LiftingAdvice | None:
    """Return the advice to carry a heavy load in parts of at most 16 kg each; None where it is no more than that."""
    most_g = HALVE_ABOVE_KG * 1_000
    if mass_g <= most_g:
        return None
    loads = ceil(mass_g / most_g)
    bags = "half bags" if loads == 2 else f"{loads} bags"
    heavy = f", and more than {LOAD_CONSTANT_KG} kg even for an easy lift" if mass_g > LOAD_CONSTANT_KG * 1_000 else ""
    detail = f"{mass_g / 1_000:.2f} kg of coins in one bag is heavy to lift{heavy}: carry them in {bags}."
    return LiftingAdvice(mass_g, loads, detail)


def _weigh(piece: CoinOrNote, count: int, weighed_g: Decimal, tolerance_percent: Fraction) -> WeightCheck:
    expected_g = piece.grams * count
    off_g = weighed_g - expected_g
    allowed = max(Fraction(expected_g) * tolerance_percent / 100, Fraction(piece.grams) / 2)
    by_weight = round_half_up(Fraction(weighed_g) / Fraction(piece.grams))
    return WeightCheck(piece, expected_g, off_g, by_weight, abs(Fraction(off_g)) <= allowed)
