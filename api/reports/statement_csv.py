"""Statements and the year's totals as CSV: a line for each entry between opening and closing, a line for each venue and payee.

- RFC 4180: a header, CRLF after every line; text that a spreadsheet could take for a formula is guarded, numbers never.
- The columns of figures are those of ``Figures``; the opening line has balances only, the closing line also the totals.
- ``payee`` is the payee of the line's own date (L6).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date

from ..pricing.money import format_money
from ..web.csv_text import CsvText, csv_text, text_cell
from .statement import Figures, Statement
from .year_totals import YearTotals

_FIGURES = tuple(field.name for field in fields(Figures))


def statement_csv(found: Statement) -> CsvText:
    """Return a statement as CSV text, to be encoded as UTF-8."""

    def line(on: date, number: object, kind: str, reference: str, figures: Figures | None, *after: int) -> list[str]:
        cells = [""] * len(_FIGURES) if figures is None else _amounts(figures, found.currency)
        balances = [format_money(amount, found.currency) for amount in after]
        payee = next((spell.payee.payee for spell in found.payees if spell.from_on <= on <= spell.to_on), "")
        return [str(on), str(number), kind, text_cell(reference), *cells, *balances, found.currency, text_cell(payee)]

    period = found.period
    header = ("date", "entry", "kind", "reference", *_FIGURES, "payable_after", "loan_after", "currency", "payee")
    return csv_text(
        header,
        [
            line(period.from_on, "", "opening_balance", "", None, found.opening_owed, found.opening_loan),
            *(line(x.on, x.number, x.kind, x.reference, x.figures, x.owed_after, x.loan_after) for x in found.lines),
            line(period.to_on, "", "closing_balance", "", found.totals, found.closing_owed, found.closing_loan),
        ],
    )


_YEAR = ("year", "venue_id", "venue", "payee", "legal_name", "tax_number", "from", "to", "currency")
_YEAR_END = ("total_to_venue", "total_to_payee", "threshold", "over_threshold")


def year_csv(years: Iterable[YearTotals], venues: Mapping[str, str]) -> CsvText:
    """Return the year's totals as CSV text; ``venues`` has each venue's name by its id."""
    return csv_text((*_YEAR, *_FIGURES, *_YEAR_END), [_year_line(totals, venues[totals.venue_id]) for totals in years])


def _year_line(totals: YearTotals, name: str) -> list[str]:
    currency, spell = totals.currency, totals.spell
    threshold = None if totals.threshold is None else totals.threshold.amount_minor
    payee = spell.payee
    return [
        str(totals.year),
        totals.venue_id,
        *map(text_cell, (name, payee.payee, payee.legal_name, payee.tax_number)),
        str(spell.from_on),
        str(spell.to_on),
        currency,
        *_amounts(totals.figures, currency),
        format_money(totals.total_to_venue, currency),
        format_money(totals.total_to_payee, currency),
        "" if threshold is None else format_money(threshold, currency),
        {None: "", True: "yes", False: "no"}[totals.over_threshold],
    ]


def _amounts(figures: Figures, currency: str) -> list[str]:
    return [format_money(getattr(figures, name), currency) for name in _FIGURES]
