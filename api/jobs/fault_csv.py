"""The report of faults as CSV: one line for each table, or one for each part.

- RFC 4180: a header, CRLF after every line; text that a spreadsheet could take for a formula is guarded.
"""

from __future__ import annotations

from ..pricing.money import format_money
from ..web.csv_text import CsvText, csv_text, text_cell
from .fault_report import FaultReport
from .faults import FAULTS
from .out_of_order import two_decimals


def faults_by_table_csv(report: FaultReport) -> CsvText:
    """Return one line a table; a column for each fault says how often it was reported."""
    header = ("table_id", "label", "reported", "open", "days_out_of_order", "minutes", "cost", "currency", *FAULTS)
    return csv_text(
        header,
        (
            (
                str(found.table.id),
                text_cell(found.table.label),
                found.reported,
                found.open,
                two_decimals(found.days_out_of_order),
                found.minutes,
                format_money(found.cost_minor, found.table.currency),
                found.table.currency,
                *(found.faults.get(fault, 0) for fault in FAULTS),
            )
            for found in report.tables
        ),
    )


def parts_csv(report: FaultReport) -> CsvText:
    """Return one line a part: how often it was used, and what that cost."""
    return csv_text(
        ("part", "used", "cost", "currency"),
        (
            (text_cell(use.name), use.used, format_money(use.cost_minor, use.currency), use.currency)
            for use in report.parts
        ),
    )
