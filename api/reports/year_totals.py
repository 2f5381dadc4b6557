"""What each venue was given in a calendar year, beside the threshold of the year's tax form. No tax advice.

- ``given`` is what the venue got of its own: paid at visits and later, plus its share that repaid its loan, less the
  refunds and house money that only went back to it; a reversal counts in the year that it is booked for.
- A threshold belongs to a currency and to years; where the table does not know a year's figure, it says so by None.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..ledger.export.period import Period
from ..ledger.journal import Entry
from .statement import Figures, figures_of


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
    """One venue's year in one currency, minor units; ``reaches`` is None where no threshold is known."""

    venue_id: str
    currency: str
    year: int
    figures: Figures
    threshold: Threshold | None

    @property
    def given(self) -> int:
        return self.figures.paid + self.figures.loan_repaid - self.figures.returned

    @property
    def reaches(self) -> bool | None:
        if self.threshold is None or self.threshold.amount_minor is None:
            return None
        return self.given >= self.threshold.amount_minor


def threshold_of(year: int, currency: str) -> Threshold | None:
    """Return the threshold in force in a year for a currency, or None where the table has none."""
    rows = [row for row in THRESHOLDS if row.currency == currency and row.from_year <= year]
    return max(rows, key=lambda row: row.from_year, default=None)


def year_totals(entries: Iterable[Entry], year: int) -> tuple[YearTotals, ...]:
    """Return the totals of every venue that has an entry in the year, by venue id and currency."""
    period, sums = Period.of_year(year), dict[tuple[str, str], Figures]()
    for entry in entries:
        if entry.venue_id and entry.on in period:
            key = entry.venue_id, entry.currency
            sums[key] = sums.get(key, Figures()) + figures_of(entry)
    return tuple(
        YearTotals(venue_id, currency, year, sums[venue_id, currency], threshold_of(year, currency))
        for venue_id, currency in sorted(sums)
    )
