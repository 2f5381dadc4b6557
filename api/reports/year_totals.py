"""The total that each venue got in a calendar year, by payee, beside the threshold of the year's tax form. No tax advice.

- ``total_to_venue`` is what the venue got of its own: paid at visits and later, plus its share that repaid its loan, less
  the refunds and house money that only went back to it. A reversal counts in the year that it is booked for.
- A venue whose payee changed in the year has one total for each payee, of that payee's own dates (L6).
- The threshold is compared with the payee's total over all venues. It belongs to a currency and to years; where the
  table has no figure for a year, ``over_threshold`` is None.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ..ledger.entry import Entry
from ..ledger.export.period import ExportPeriod
from ..venues.dated_fact import Payee, PayeeSpell
from .statement import Figures, figures_of_entry


@dataclass(frozen=True, slots=True)
class Threshold:
    """From a year on, payments of at least ``amount_minor`` to one payee are reported; None: not known here."""

    currency: str
    from_year: int
    amount_minor: int | None
    form: str
    source: str
    mark: str


_SUMMARIES = "tax firms' summaries of the act of 4 July 2025, section 70433"


THRESHOLDS: tuple[Threshold, ...] = (
    Threshold(
        "USD", 2000, 600_00, "1099-MISC", "26 U.S.C. 6041 before 2026, as told in " + _SUMMARIES, "seen second-hand"
    ),
    Threshold(
        "USD", 2026, 2000_00, "1099-MISC", "26 U.S.C. 6041 from 2026, as told in " + _SUMMARIES, "seen second-hand"
    ),
    Threshold(
        "USD", 2027, None, "1099-MISC", "adjusted every year from 2027 on, as told in " + _SUMMARIES, "seen second-hand"
    ),
)
"""The newest row up to a year holds; add a row for each year when its figure is published."""


@dataclass(frozen=True, slots=True)
class YearTotals:
    """One venue's part of a year under one payee, in one currency, minor units.

    ``total_to_payee`` is the payee's total of the year over all venues.
    """

    venue_id: str
    currency: str
    year: int
    spell: PayeeSpell
    figures: Figures
    total_to_payee: int
    threshold: Threshold | None

    @property
    def total_to_venue(self) -> int:
        return _total(self.figures)

    @property
    def over_threshold(self) -> bool | None:
        """Whether the payee's total is at least the threshold; None where no threshold is known."""
        if self.threshold is None or self.threshold.amount_minor is None:
            return None
        return self.total_to_payee >= self.threshold.amount_minor


def threshold_of(year: int, currency: str) -> Threshold | None:
    """Return the threshold in force in a year for a currency, or None where the table has none."""
    rows = [row for row in THRESHOLDS if row.currency == currency and row.from_year <= year]
    return max(rows, key=lambda row: row.from_year, default=None)


def year_totals(
    entries: Iterable[Entry], year: int, *, payees: Mapping[str, Sequence[PayeeSpell]]
) -> tuple[YearTotals, ...]:
    """Return the totals of every venue that has an entry in the year, by venue id, currency and payee in turn.

    ``payees`` are each venue's payees over the whole year, by its id.
    """
    period, sums = ExportPeriod.of_year(year), dict[tuple[str, str, int], Figures]()
    for entry in entries:
        if entry.venue_id and entry.on in period:
            turn = next(i for i, s in enumerate(payees[entry.venue_id]) if s.from_on <= entry.on <= s.to_on)
            key = entry.venue_id, entry.currency, turn
            sums[key] = sums.get(key, Figures()) + figures_of_entry(entry)
    to_payee: dict[tuple[str, Payee | str], int] = {}
    for (venue_id, currency, turn), figures in sums.items():
        whom = currency, _identity(venue_id, payees[venue_id][turn].payee)
        to_payee[whom] = to_payee.get(whom, 0) + _total(figures)
    return tuple(
        YearTotals(
            venue_id,
            currency,
            year,
            payees[venue_id][turn],
            sums[venue_id, currency, turn],
            to_payee[currency, _identity(venue_id, payees[venue_id][turn].payee)],
            threshold_of(year, currency),
        )
        for venue_id, currency, turn in sorted(sums)
    )


def _total(figures: Figures) -> int:
    return figures.paid_to_venue + figures.loan_repaid - figures.refunds_and_house_money


def _identity(venue_id: str, payee: Payee) -> Payee | str:
    """Tell payees apart: a venue of which no payee is known is one of its own."""
    return payee if payee != Payee("", "", "") else venue_id
