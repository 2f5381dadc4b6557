"""Weighing a count, and carrying it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from baizebook.collections.coins import coins_mass_g, lifting_advice, weigh
from baizebook.pricing.errors import DomainError


def test_a_weighing_that_fits_agrees_and_one_five_quarters_off_does_not() -> None:
    fits = weigh("USD", 25, count=142, weighed_g=Decimal("805.1"))
    assert fits is not None
    assert (fits.agrees, fits.expected_g, fits.off_g, fits.count_by_weight) == (
        True,
        Decimal("805.140"),
        Decimal("-0.040"),
        142,
    )
    off = weigh("USD", 25, count=147, weighed_g=Decimal("805.1"))
    assert off is not None
    assert (off.agrees, off.count_by_weight) == (False, 142)


def test_the_tolerance_is_a_setting_but_one_piece_of_a_few_is_always_seen() -> None:
    strict = weigh("USD", 25, count=142, weighed_g=Decimal("800.0"), tolerance_percent=Fraction(1, 10))
    lenient = weigh("USD", 25, count=142, weighed_g=Decimal("800.0"), tolerance_percent=Fraction(2))
    assert strict is not None
    assert not strict.agrees
    assert lenient is not None
    assert lenient.agrees
    one_of_ten = weigh("USD", 25, count=10, weighed_g=Decimal("51.03"))
    assert one_of_ten is not None
    assert not one_of_ten.agrees


def test_a_dollar_is_taken_for_the_coin_or_the_note_that_its_weight_fits() -> None:
    notes, coins = (weigh("USD", 100, count=22, weighed_g=Decimal(grams)) for grams in ("22.3", "178"))
    assert notes is not None
    assert coins is not None
    assert (notes.piece.form, notes.count_by_weight) == ("note", 22)
    assert (coins.piece.form, coins.count_by_weight) == ("coin", 22)


def test_no_mass_on_record_is_no_check() -> None:
    assert weigh("JPY", 100, count=5, weighed_g=Decimal(24)) is None
    assert weigh("USD", 3, count=5, weighed_g=Decimal(24)) is None


@pytest.mark.parametrize("grams", ["-0.1", "1000000.1", "NaN", "Infinity"])
def test_an_impossible_weight_is_refused(grams: str) -> None:
    with pytest.raises(DomainError) as refused:
        weigh("USD", 25, count=1, weighed_g=Decimal(grams))
    assert refused.value.code == "bad_weight"


def test_notes_and_foreign_pieces_add_nothing_to_what_the_coins_weigh() -> None:
    assert coins_mass_g("USD", {25: 142, 100: 22, 500: 4, 7: 3}) == Decimal("805.140")
    assert coins_mass_g("JPY", {100: 5}) == 0


@pytest.mark.parametrize(
    ("grams", "loads"), [("16000", None), ("16000.1", 2), ("32000", 2), ("32000.1", 3), ("45360", 3)]
)
def test_a_load_is_carried_in_parts_of_at_most_16_kg(grams: str, loads: int | None) -> None:
    advice = lifting_advice(Decimal(grams))
    assert (advice and advice.loads) == loads


def test_more_than_the_load_constant_is_said_to_be_more() -> None:
    advice = lifting_advice(Decimal(45_360))
    assert advice is not None
    assert "45.36 kg" in advice.detail
    assert "more than 23 kg" in advice.detail
    assert "3 bags" in advice.detail
