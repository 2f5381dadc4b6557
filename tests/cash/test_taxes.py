"""Tax areas and rates: what they refuse, and how they round."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.tax_areas.percents import format_percent, parse_divisor, parse_percent, percent_in_words
from baizebook.tax_areas.tax_area import TaxArea, TaxRate

FROM = date(2026, 1, 1)


def test_a_tax_of_half_a_cent_is_a_cent() -> None:
    # 1.01 at a divisor of 1.01 holds 0.01; half of that amount holds half a cent.
    rate = TaxRate(FROM, rate_percent=Fraction(100, 101))
    assert [rate.inside(base) for base in (0, 50, 51, 101, 102)] == [0, 0, 1, 1, 1]


def test_a_divisor_and_the_same_rate_take_the_same() -> None:
    by_rate, by_divisor = TaxRate(FROM, rate_percent=Fraction("6.75")), TaxRate(FROM, divisor=Fraction("1.0675"))
    assert [by_rate.inside(base) for base in range(500)] == [by_divisor.inside(base) for base in range(500)]


@pytest.mark.parametrize(
    ("rate", "code"),
    [
        ({"rate_percent": Fraction(100)}, "bad_tax_rate"),
        ({"rate_percent": Fraction(-1)}, "bad_tax_rate"),
        ({"rate_percent": 6.5}, "bad_tax_rate"),
        ({"divisor": Fraction(2)}, "bad_tax_rate"),
        ({"divisor": Fraction("0.99")}, "bad_tax_rate"),
        ({}, "one_of_rate_and_divisor"),
        ({"rate_percent": Fraction(5), "divisor": Fraction("1.05")}, "one_of_rate_and_divisor"),
    ],
)
def test_a_rate_that_cannot_be_a_tax_is_refused(rate: dict[str, Fraction], code: str) -> None:
    with pytest.raises(DomainError) as refused:
        TaxRate(FROM, **rate)
    assert refused.value.code == code


def test_no_tax_is_inside_an_amount_below_zero() -> None:
    with pytest.raises(DomainError):
        TaxRate(FROM, rate_percent=Fraction(5)).inside(-1)


def test_an_areas_rates_stand_in_the_order_of_their_dates() -> None:
    rate = TaxRate(FROM, rate_percent=Fraction(5))
    with pytest.raises(DomainError) as refused:
        TaxArea("X", "Invented", (rate, rate))
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("rates_not_rising", "rates[1].from_on")]
    with pytest.raises(DomainError):
        TaxArea("X", "Invented", ())


def test_percentages_are_read_exactly_and_written_plainly() -> None:
    assert parse_percent("12.5", where="") == Fraction(25, 2)
    assert parse_divisor("1.0675", where="") == Fraction(10675, 10000)
    assert [percent_in_words(Fraction(text)) for text in ("50", "12.50", "0", "1.0675")] == [
        "50",
        "12.5",
        "0",
        "1.0675",
    ]
    assert [format_percent(Fraction(-1000, 302)), format_percent(Fraction(0))] == ["-3.31", "0.00"]


@pytest.mark.parametrize("text", ["", "50%", "5,0", "٥", "5 ", "+5", ".5", "5.", "1_0", "Infinity", "9" * 999])
def test_what_is_no_plain_decimal_is_no_percentage(text: str) -> None:
    with pytest.raises(DomainError):
        parse_percent(text, where="venue_percent")
    with pytest.raises(DomainError):
        parse_divisor(text, where="divisor")
