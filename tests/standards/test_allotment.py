"""Splitting and rounding money, against published results.

Sources: moneyphp documentation and tests (MIT) for allotment; Hamilton's method in *For All Practical Purposes*, 10th
ed., ch. 14; the table of java.math.RoundingMode; ISO 4217 by way of the ``iso4217`` package.
"""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import iso4217
import pytest
from baizebook.pricing.money import allot, exponent, round_half_up

# moneyphp documentation and tests: published.
MONEYPHP = [
    (5, [3, 7], [2, 3]),
    (5, [7, 3], [4, 1]),
    (100, [1, 1, 1], [34, 33, 33]),
    (101, [1, 1, 1], [34, 34, 33]),
    (101, [7, 3], [71, 30]),
    (2, [1, 1, 1], [1, 1, 0]),
    (5, [0, 7, 3], [0, 4, 1]),
    (800, [1, 1, 1], [267, 267, 266]),
    (15, [1, 1], [8, 7]),
    (10, [1, 1, 1], [4, 3, 3]),
]


@pytest.mark.parametrize(("amount", "weights", "parts"), MONEYPHP)
def test_money_is_split_as_published(amount: int, weights: list[int], parts: list[int]) -> None:
    assert allot(amount, weights) == parts


def test_the_first_house_of_representatives_is_apportioned_by_hamiltons_method() -> None:
    # For All Practical Purposes, 10th ed., ch. 14: seen second-hand. Quotas of 120 seats, census of 1790.
    quotas = {
        "NJ": ("5.959", 6),
        "VA": ("20.926", 21),
        "CT": ("7.860", 8),
        "SC": ("6.844", 7),
        "DE": ("1.843", 2),
        "VT": ("2.839", 3),
        "MA": ("15.774", 16),
        "NC": ("11.732", 12),
        "NH": ("4.707", 5),
        "PA": ("14.366", 14),
        "GA": ("2.351", 2),
        "KY": ("2.280", 2),
        "RI": ("2.271", 2),
        "MD": ("9.243", 9),
        "NY": ("11.004", 11),
    }
    seats = allot(120, [Fraction(quota) for quota, _ in quotas.values()])
    assert dict(zip(quotas, seats, strict=True)) == {state: seat for state, (_, seat) in quotas.items()}


def test_one_more_seat_may_take_a_seat_away() -> None:
    # The Alabama paradox (1880, 299 to 300 seats, 8 to 7) in small, derived: nothing promises that a part only grows.
    assert allot(10, [6, 6, 2]) == [4, 4, 2]
    assert allot(11, [6, 6, 2]) == [5, 5, 1]


def test_the_odd_unit_of_a_tie_goes_where_the_agreement_says() -> None:
    # Derived from D1.
    assert allot(101, [1, 1], tie_to=0) == [51, 50]
    assert allot(101, [1, 1], tie_to=1) == [50, 51]


def test_mill_v_commissioner_splits_three_ways() -> None:
    # Mill v. Commissioner (1945): 75 / 5 / 20; the amounts are derived.
    assert allot(10000, [75, 5, 20]) == [7500, 500, 2000]
    assert allot(10007, [75, 5, 20]) == [7505, 500, 2002]


# java.math.RoundingMode: published. Money here is rounded half-up; the other two modes show what it is not.
@pytest.mark.parametrize(
    ("value", "half_up", "half_even", "down"),
    [("5.5", 6, 6, 5), ("2.5", 3, 2, 2), ("1.1", 1, 1, 1), ("-2.5", -3, -2, -2)],
)
def test_money_is_rounded_half_up(value: str, half_up: int, half_even: int, down: int) -> None:
    assert round_half_up(Fraction(value)) == half_up
    modes = (ROUND_HALF_UP, ROUND_HALF_EVEN, ROUND_DOWN)
    assert [int(Decimal(value).quantize(Decimal(1), mode)) for mode in modes] == [half_up, half_even, down]


# ISO 4217 table of active codes: published.
@pytest.mark.parametrize(
    ("currency", "decimals"),
    [
        ("USD", 2),
        ("EUR", 2),
        ("GBP", 2),
        ("JPY", 0),
        ("KRW", 0),
        ("CLP", 0),
        ("KWD", 3),
        ("BHD", 3),
        ("TND", 3),
        ("IQD", 3),
        ("CLF", 4),
    ],
)
def test_minor_units_are_those_of_iso_4217(currency: str, decimals: int) -> None:
    assert exponent(currency) == decimals == iso4217.Currency(currency).exponent
