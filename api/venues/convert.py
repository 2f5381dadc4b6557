"""Between venues as stored, as values and as sent."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from .dated_fact import DatedFact, payee_on, value_on
from .rows import VenueRow
from .schemas import VenueFactOut, VenueOut


def read_fact(row: Any) -> DatedFact:
    """Return a stored fact (its row, or a result with its columns) as a value."""
    return DatedFact(row.name, row.from_on, row.sequence, row.value)


def venue_out(row: VenueRow, facts: Sequence[DatedFact], *, on: date, with_tax_number: bool) -> VenueOut:
    """Write a venue as it is on a trading date."""
    payee = payee_on(facts, on)
    shown = [fact for fact in facts if with_tax_number or fact.name != "tax_number"]
    by_date = sorted(shown, key=lambda fact: (fact.from_on or date.min, fact.sequence))
    return VenueOut(
        **row.model_dump(include=set(VenueOut.model_fields)),
        legal_name=payee.legal_name,
        payee=value_on(facts, "payee", on) or "",
        tax_number=payee.tax_number if with_tax_number else "",
        tax_area=value_on(facts, "tax_area", on),
        dated=[VenueFactOut(name=fact.name, from_on=fact.from_on, value=fact.value) for fact in by_date],
    )
