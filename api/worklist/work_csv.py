"""The worklist as CSV: one line a piece of work, instants in its venue's own time, lists separated by semicolons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from ..web.csv_text import CsvText, csv_text, text_cell

WORK_COLUMNS = (
    "id",
    "due_at",
    "kind",
    "code",
    "venue_id",
    "venue",
    "contact",
    "table_id",
    "table",
    "reason",
    "bring",
    "needs_key",
    "words",
    "refers_to",
    "closes_by",
    "closes_when",
    "person",
    "deferred_until",
    "deferred_reason",
)


def work_csv(items: Iterable[Mapping[str, Any]], zones: Mapping[UUID, ZoneInfo]) -> CsvText:
    """Return work, each by the names of its message, as CSV text; ``zones`` are those of the venues, else UTC."""
    return csv_text(WORK_COLUMNS, (_line(item, zones.get(item["venue_id"])) for item in items))


def _line(item: Mapping[str, Any], zone: ZoneInfo | None) -> tuple[object, ...]:
    put_off = item["deferral"] or {}
    return (
        item["id"],
        item["due_at"].astimezone(zone or UTC),
        item["kind"],
        item["code"],
        item["venue_id"] or "",
        text_cell(item["venue"] or ""),
        text_cell(item["contact"]),
        item["table_id"],
        text_cell(item["table"]),
        text_cell(item["reason"]),
        text_cell("; ".join(item["bring"])),
        "yes" if item["needs_key"] else "no",
        text_cell(item["words"]),
        item["refers_to"] or "",
        item["closes_by"],
        text_cell(item["closes_when"]),
        text_cell(item["person"] or ""),
        put_off.get("until", ""),
        text_cell(put_off.get("reason", "")),
    )
