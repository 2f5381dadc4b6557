"""Percentages and tax divisors: exact fractions inside, decimal strings outside; no float.

- A percentage lies between 0 and 100 and has at most four decimals, a divisor at most six; all else is refused (E3).
- A computed percentage is written with two decimals, half-up.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from ..pricing.errors import Fault, domain_error
from ..pricing.money import round_half_up

_DIVISOR = re.compile(r"[0-9](?:\.[0-9]{1,6})?", re.ASCII)

_PERCENT = re.compile(r"[0-9]{1,3}(?:\.[0-9]{1,4})?", re.ASCII)


def parse_percent(text: str, *, where: str) -> Fraction:
    """Return a decimal string such as ``"12.5"`` as a percentage from 0 to 100; refuse all else (``bad_percent``)."""
    if _PERCENT.fullmatch(text) is None or Fraction(text) > 100:
        expected = 'a decimal string from "0" to "100", at most 4 decimals'
        raise domain_error("bad_percent", where=where, found=repr(text[:40]), expected=expected)
    return Fraction(text)


def parse_divisor(text: str, *, where: str) -> Fraction:
    """Return a published tax divisor such as ``"1.065"``, exact; refuse all else (``bad_divisor``)."""
    if _DIVISOR.fullmatch(text) is None:
        raise domain_error(
            "bad_divisor", where=where, found=repr(text[:40]), expected='a decimal string such as "1.065"'
        )
    return Fraction(text)


def format_percent(percent: Fraction) -> str:
    """Return a percentage with two decimals, half-up: ``"-3.31"``."""
    return str(Decimal(round_half_up(percent * 100)).scaleb(-2))


def percent_in_words(number: Fraction) -> str:
    """Return a percentage or a divisor as one would write it, at most six decimals: ``50``, ``12.5``, ``1.0675``."""
    return f"{Decimal(round_half_up(number * 1_000_000)).scaleb(-6).normalize():f}"


def percent_faults(where: str, percent: object) -> list[Fault]:
    """Return the fault of a percentage that is no exact number from 0 to 100 (``bad_percent``), or nothing."""
    if type(percent) in (int, Fraction) and 0 <= percent <= 100:  # type: ignore[operator]
        return []
    return [Fault("bad_percent", where, repr(percent), "an exact percentage from 0 to 100")]
