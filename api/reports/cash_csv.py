"""Cash in hand as CSV: a line for each bag, then one for each entry that no bag explains; ``in_hand`` sums to the books."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..web.csv_text import CsvText, csv_text, text_cell

CASH_COLUMNS = (
    "line",
    "person",
    "bag",
    "currency",
    "filled",
    "banked",
    "in_hand",
    "first_collected_at",
    "bank_by",
    "late",
    "entry_id",
    "kind",
    "on",
    "reference",
)


def cash_csv(found: Mapping[str, Any]) -> CsvText:
    """Return cash in hand, by the names of its message, as CSV text."""
    return csv_text(CASH_COLUMNS, _lines(found))


def _lines(found: Mapping[str, Any]) -> Iterator[tuple[object, ...]]:
    for bag in found["bags"]:
        yield (
            "bag",
            text_cell(bag["person"]),
            text_cell(bag["bag"]),
            bag["currency"],
            bag["filled"],
            bag["banked"],
            bag["in_hand"],
            bag["first_collected_at"],
            bag["bank_by"],
            "yes" if bag["late"] else "no",
            *[""] * 4,
        )
    for one in found["unassigned"]:
        yield (
            "unassigned",
            "",
            text_cell("; ".join(one["bags"])),
            one["currency"],
            "",
            "",
            one["amount"],
            *[""] * 3,
            one["entry_id"],
            one["kind"],
            one["on"],
            text_cell(one["reference"]),
        )
