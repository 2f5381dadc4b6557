"""The list of all tables as CSV: one line a table, instants in UTC.

- RFC 4180: a header, CRLF after every line; text that a spreadsheet could take for a formula is guarded.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from ..web.csv_text import text_cell

COLUMNS = (
    "id",
    "label",
    "frame_number",
    "place",
    "venue_id",
    "venue",
    "since",
    "controller_version",
    "last_reading_at",
    "last_collection_at",
    "sells_basis",
    "sells_since",
    "sells_schedule_id",
    "open_work",
    "open_jobs",
    "out_of_order",
)


def tables_csv(tables: Iterable[Mapping[str, Any]]) -> str:
    """Return tables, each by the names of its message, as CSV text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows(_line(table) for table in tables)
    return out.getvalue()


def _line(table: Mapping[str, Any]) -> tuple[object, ...]:
    place, sells = table["place"], table["sells"] or {}
    return (
        table["id"],
        text_cell(table["label"]),
        text_cell(table["frame_number"] or ""),
        place["kind"],
        place["venue_id"] or "",
        text_cell(place["venue"] or ""),
        _instant(place["since"]),
        text_cell(table["controller"]["version"] or ""),
        _instant(table["last_reading_at"]),
        _instant(table["last_collection_at"]),
        sells.get("basis", ""),
        _instant(sells.get("since")),
        sells.get("schedule_id") or "",
        table["open_work"],
        table["open_jobs"],
        "yes" if table["out_of_order"] else "no",
    )


def _instant(at: datetime | None) -> str:
    return "" if at is None else at.isoformat().replace("+00:00", "Z")
