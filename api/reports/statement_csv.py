"""Statements and the year's totals as CSV: one line an entry between the opening and the closing, one line a venue.

- RFC 4180: a header, CRLF after every line; text that a spreadsheet could take for a formula is guarded, numbers never.
- The columns of figures are those of ``Figures``; an opening has only what stood before, a closing also the totals.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import fields

from ..ledger.export.csv_journal import text_cell
from ..pricing.money import format_money
from .statement import Figures, Statement
from .year_totals import YearTotals

_FIGURES = tuple(field.name for field in fields(Figures))


def statement_csv(told: Statement) -> str:
    """Return a statement as CSV text, to be encoded as UTF-8."""

    def line(on: object, number: object, what: str, reference: str, figures: Figures | None, *after: int) -> list[str]:
        cells = [""] * len(_FIGURES) if figures is None else _amounts(figures, told.currency)
        standing = [format_money(amount, told.currency) for amount in after]
        return [str(on), str(number), what, text_cell(reference), *cells, *standing, told.currency]

    period = told.period
    return _written(
        ("date", "entry", "kind", "reference", *_FIGURES, "owed_after", "loan_after", "currency"),
        [
            line(period.from_on, "", "opening_balance", "", None, told.opening_owed, told.opening_loan),
            *(line(x.on, x.number, x.kind, x.reference, x.figures, x.owed_after, x.loan_after) for x in told.lines),
            line(period.to_on, "", "closing_balance", "", told.totals, told.closing_owed, told.closing_loan),
        ],
    )


def year_csv(years: Iterable[YearTotals], venues: Mapping[str, tuple[str, str]]) -> str:
    """Return the year's totals as CSV text; ``venues`` has each venue's name and legal name by its id."""
    header = ("year", "venue_id", "venue", "legal_name", "currency", *_FIGURES, "given", "threshold", "reaches")
    return _written(header, [_year_line(totals, *venues[totals.venue_id]) for totals in years])


def _year_line(totals: YearTotals, name: str, legal_name: str) -> list[str]:
    currency = totals.currency
    threshold = None if totals.threshold is None else totals.threshold.amount_minor
    return [
        str(totals.year),
        totals.venue_id,
        text_cell(name),
        text_cell(legal_name),
        currency,
        *_amounts(totals.figures, currency),
        format_money(totals.given, currency),
        "" if threshold is None else format_money(threshold, currency),
        {None: "", True: "yes", False: "no"}[totals.reaches],
    ]


def _amounts(figures: Figures, currency: str) -> list[str]:
    return [format_money(getattr(figures, name), currency) for name in _FIGURES]


def _written(header: Iterable[str], lines: Iterable[Iterable[str]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(lines)
    return out.getvalue()
