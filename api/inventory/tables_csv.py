"""The list of all tables as CSV: one line a table.

- RFC 4180: a header, CRLF after every line; text that a spreadsheet could take for a formula is guarded.
- Instants are local at the table's venue, and in UTC where it is at none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from ..web.csv_text import CsvText, csv_text, text_cell

TABLE_COLUMNS = (
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


def tables_csv(tables: Iterable[Mapping[str, Any]], zones: Mapping[UUID, ZoneInfo]) -> CsvText:
    """Return tables, each by the names of its message, as CSV text; ``zones`` has the zone of each venue."""
    return csv_text(TABLE_COLUMNS, (_line(table, zones.get(table["place"]["venue_id"])) for table in tables))


def _line(table: Mapping[str, Any], zone: ZoneInfo | None) -> tuple[object, ...]:
    place, sells = table["place"], table["sells"] or {}
    return (
        table["id"],
        text_cell(table["label"]),
        text_cell(table["frame_number"] or ""),
        place["kind"],
        place["venue_id"] or "",
        text_cell(place["venue"] or ""),
        _local(place["since"], zone),
        text_cell(table["controller"]["version"] or ""),
        _local(table["last_reading_at"], zone),
        _local(table["last_collection_at"], zone),
        sells.get("basis", ""),
        _local(sells.get("since"), zone),
        sells.get("schedule_id") or "",
        table["open_work"],
        table["open_jobs"],
        "yes" if table["out_of_order"] else "no",
    )


def _local(at: datetime | None, zone: ZoneInfo | None) -> datetime | None:
    return at if at is None or zone is None else at.astimezone(zone)
