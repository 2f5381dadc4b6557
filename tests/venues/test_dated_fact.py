"""Dated facts of a venue: what holds on a date, and the payees of a period (D3, L6)."""

from datetime import date

from baizebook.venues.dated_fact import DatedFact, Payee, PayeeSpell, payee_on, payee_spells, value_on

FACTS = [
    DatedFact("legal_name", None, 1, "Corner Tavern LLC"),
    DatedFact("tax_area", date(2026, 3, 1), 2, "five"),
    DatedFact("legal_name", date(2026, 7, 1), 3, "Lantern Inc."),
    DatedFact("tax_number", date(2026, 7, 1), 4, "22"),
    DatedFact("tax_area", date(2026, 3, 1), 5, "six"),
    DatedFact("tax_area", date(2026, 2, 1), 6, "four"),
    DatedFact("tax_area", date(2026, 9, 1), 7, None),
    DatedFact("payee", date(2026, 10, 1), 8, "A bank"),
]


def test_a_fact_holds_until_the_next_of_its_name_and_the_later_recorded_of_one_date_wins() -> None:
    found = [
        value_on(FACTS, "tax_area", date(2026, *day)) for day in ((1, 31), (2, 1), (2, 28), (3, 1), (8, 31), (9, 1))
    ]
    assert found == [None, "four", "four", "six", "six", None]
    assert value_on(FACTS, "legal_name", date.min) == "Corner Tavern LLC"


def test_a_payee_that_is_not_said_is_the_legal_name() -> None:
    assert payee_on(FACTS, date(2026, 6, 30)) == Payee("Corner Tavern LLC", "Corner Tavern LLC", "")
    assert payee_on(FACTS, date(2026, 12, 1)) == Payee("Lantern Inc.", "A bank", "22")


def test_the_payees_of_a_period_cover_it_in_turn() -> None:
    assert payee_spells(FACTS, from_on=date(2026, 1, 1), to_on=date(2026, 12, 31)) == (
        PayeeSpell(date(2026, 1, 1), date(2026, 6, 30), Payee("Corner Tavern LLC", "Corner Tavern LLC", "")),
        PayeeSpell(date(2026, 7, 1), date(2026, 9, 30), Payee("Lantern Inc.", "Lantern Inc.", "22")),
        PayeeSpell(date(2026, 10, 1), date(2026, 12, 31), Payee("Lantern Inc.", "A bank", "22")),
    )
    assert payee_spells([], from_on=date(2026, 1, 1), to_on=date(2026, 1, 1)) == (
        PayeeSpell(date(2026, 1, 1), date(2026, 1, 1), Payee("", "", "")),
    )
