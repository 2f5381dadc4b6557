"""Money: integers of a currency's minor unit; the one place that reads, writes, rounds and splits it.

- Inside, money is an ``int`` of minor units; outside, a decimal string in the currency's own unit. No float anywhere.
- ISO 4217 says how many decimals a currency has; more than it has is refused, never rounded away.
- Rounding is half-up (away from zero at the half), once, at the end.
- Splitting is by largest remainder: the parts add up to the whole, and a zero share never gets a unit.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from math import lcm

from .errors import Fault, pricing_error

MAX_MINOR = 10**15
"""No amount the engine handles is larger, in minor units, than this."""

# ISO 4217, table of active currency codes: those whose minor unit is not 2.
_EXPONENTS = {
    **dict.fromkeys("BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split(), 0),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
    **dict.fromkeys("CLF UYW".split(), 4),
}
_TWO_DECIMALS = frozenset(
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE CHF "
    "CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL "
    "HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU "
    "MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR "
    "SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED "
    "VES WST XAD XCD XCG YER ZAR ZMW ZWG".split()
)
_AMOUNT = re.compile(r"(?P<sign>-?)(?P<whole>[0-9]{1,15})(?:\.(?P<part>[0-9]{1,4}))?", re.ASCII)


def exponent(currency: str) -> int:
    """Return the number of decimals of an ISO 4217 currency; refuse a code that is none (``unknown_currency``)."""
    if currency in _TWO_DECIMALS:
        return 2
    try:
        return _EXPONENTS[currency]
    except KeyError:
        raise pricing_error(
            "unknown_currency", where="currency", found=repr(currency), expected="an ISO 4217 code such as USD"
        ) from None


@lru_cache(maxsize=4096)
def parse_money(text: str, currency: str, *, where: str = "money") -> int:
    """Return a decimal string as minor units: ``parse_money("10.00", "USD") == 1000``.

    Refuses (``bad_money``) what is no plain decimal, and more decimals than the currency has.
    """
    decimals = exponent(currency)
    match = _AMOUNT.fullmatch(text)
    if match is None:
        raise pricing_error(
            "bad_money", where=where, found=repr(text[:40]), expected='a decimal string such as "10.00"'
        )
    part = match["part"] or ""
    if len(part) > decimals:
        expected = (
            f"at most {decimals} decimals, as {currency} has" if decimals else f"no decimals: {currency} has none"
        )
        raise pricing_error("bad_money", where=where, found=repr(text), expected=expected)
    minor = int(match["whole"] + part.ljust(decimals, "0"))
    if minor > MAX_MINOR:
        raise pricing_error(
            "bad_money", where=where, found=repr(text), expected=f"at most {format_money(MAX_MINOR, currency)}"
        )
    return -minor if match["sign"] else minor


@lru_cache(maxsize=4096)
def format_money(minor: int, currency: str) -> str:
    """Return minor units as a decimal string with the currency's full decimals: ``"10.00"``, ``"1500"``, ``"1.250"``."""
    decimals = exponent(currency)
    sign, digits = ("-" if minor < 0 else ""), str(abs(minor)).rjust(decimals + 1, "0")
    return f"{sign}{digits[:-decimals]}.{digits[-decimals:]}" if decimals else f"{sign}{digits}"


def in_currency(fault: Fault, currency: str) -> Fault:
    """Return a fault with its amounts, if it speaks of any, as a message writes them (E3)."""
    if fault.amounts is None:
        return fault
    found, bound = fault.amounts
    expected = fault.expected.replace(str(bound), format_money(bound, currency))
    return replace(fault, found=format_money(found, currency), expected=expected, amounts=None)


def round_half_up(amount: Fraction) -> int:
    """Return the nearest whole minor unit, a half away from zero (java.math.RoundingMode.HALF_UP)."""
    whole = divide_half_up(abs(amount.numerator), amount.denominator)
    return -whole if amount < 0 else whole


def divide_half_up(amount: int, by: int) -> int:
    """Return ``amount / by`` to the nearest whole, a half up; ``amount`` is at least 0, ``by`` at least 1."""
    return (2 * amount + by) // (2 * by)


def allot(total: int, weights: Sequence[int | Fraction], *, tie_to: int = 0) -> list[int]:
    """Split ``total`` minor units in proportion to ``weights`` by largest remainder (Hamilton's method).

    The parts add up to ``total``; a part of zero weight is zero. Among equal remainders the odd unit goes first to
    the part at index ``tie_to``, then in order. Refuses (``bad_weights``) negative weights and an all-zero list,
    unless there is nothing to split.
    """
    if min(weights, default=0) < 0 or (total != 0 and not any(weights)):
        raise pricing_error(
            "bad_weights", where="weights", found=list(weights), expected="weights of at least 0, not all 0"
        )
    if total == 0:
        return [0] * len(weights)
    if len(weights) == 1:
        return [total]
    if total < 0:
        return [-part for part in allot(-total, weights, tie_to=tie_to)]
    common = lcm(*(weight.denominator for weight in weights))
    shares = [weight.numerator * (common // weight.denominator) for weight in weights]
    whole = sum(shares)
    parts = [total * share // whole for share in shares]
    order = sorted(range(len(shares)), key=lambda i: (-(total * shares[i] % whole), i != tie_to, i))
    for index in order[: total - sum(parts)]:
        parts[index] += 1
    return parts
