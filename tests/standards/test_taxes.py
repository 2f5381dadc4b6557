"""Taxes inside the price, against statutes and rulings: each row with its source and mark."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from baizebook.tax_areas.percents import parse_divisor
from baizebook.tax_areas.tax_area import TaxArea, TaxRate

FROM = date(2000, 1, 1)


# Florida s. 212.05(1)(h) and Rule 12A-15.011: divisors published, taxes on 1000.00 derived.
@pytest.mark.parametrize(
    ("divisor", "tax"), [("1.040", 3846), ("1.045", 4306), ("1.050", 4762), ("1.055", 5213), ("1.060", 5660)]
)
def test_florida_divides_the_gross_by_a_divisor_for_each_surtax(divisor: str, tax: int) -> None:
    assert TaxRate(FROM, divisor=parse_divisor(divisor, where="divisor")).inside(1000_00) == tax


def test_kansas_divides_by_1_049_before_any_commission() -> None:
    # K.A.R. 92-19-23a(c), opinion O-2000-033: rule published, figures derived.
    tax = TaxRate(FROM, divisor=Fraction("1.049")).inside(100_00)
    assert (100_00 - tax, tax) == (95_33, 4_67)


def test_arkansas_divides_by_one_and_the_sum_of_its_rates() -> None:
    # Arkansas Gross Receipts Tax Rules, GR-16: rule published; 6.5 % state and 2 % local are invented, the figure is derived.
    by_rate = TaxRate(FROM, rate_percent=Fraction("8.5")).inside(100_00)
    assert by_rate == TaxRate(FROM, divisor=1 + Fraction("0.065") + Fraction("0.02")).inside(100_00) == 7_83


def test_british_takings_include_a_sixth_of_value_added_tax() -> None:
    # HM Revenue & Customs, manual VAT Betting and Gaming, VBANDG12200: rule published, the fraction 1/6 at 20 % from memory, the figure derived.
    assert TaxRate(FROM, rate_percent=Fraction(20)).inside(250_00) == 41_67


def test_south_dakotas_rate_belongs_to_a_date() -> None:
    # SDCL 10-58: published, 4 % and from 2016-06-01 4.5 %. Its first date is left out here: 2000-01-01 stands for it.
    area = TaxArea(
        "SD",
        "South Dakota",
        (TaxRate(FROM, rate_percent=Fraction(4)), TaxRate(date(2016, 6, 1), rate_percent=Fraction("4.5"))),
    )
    on_the_eve, on_the_day = area.rate_on(date(2016, 5, 31)), area.rate_on(date(2016, 6, 1))
    assert on_the_eve is not None
    assert on_the_eve.rate_percent == 4
    assert on_the_day is not None
    assert on_the_day.rate_percent == Fraction("4.5")
    assert area.rate_on(date(1999, 12, 31)) is None
