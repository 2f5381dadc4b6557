"""Six weeks of readings for the demo, taken twice a week, as the venues' staff would send them."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

from ..health.clock_changes import last_change
from ..pricing.week import WEEKDAYS
from .table_troubles import clock_error, meters, volts

_WEEKS = 6

_AT = timedelta(hours=17)
_SILENT_FOR = {"Stube": timedelta(weeks=5)}
_ON_MAINS = ("Hall 1", "Hall 2")


def readings_of(
    label: str, table_id: UUID, *, zone: ZoneInfo, began_at: datetime, now: datetime
) -> Iterator[dict[str, Any]]:
    """Yield a table's readings as they are sent to ``POST /v1/readings``; ids come of the table's id and the instant."""
    first = (now - timedelta(weeks=_WEEKS)).astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    change = last_change(zone, before=now)
    changed_at = None if change is None else change.at
    for day in range(_WEEKS * 7 + 1):
        at = first + timedelta(days=day) + _AT
        silent = now - at < _SILENT_FOR.get(label, timedelta())
        if at.weekday() not in (0, 3) or at >= now or silent:
            continue
        yield _reading(label, table_id, at=at, since=first, began_at=began_at, changed_at=changed_at)


def _reading(
    label: str, table_id: UUID, *, at: datetime, since: datetime, began_at: datetime, changed_at: datetime | None
) -> dict[str, Any]:
    shown = at + clock_error(label, since=since, at=at, changed_at=changed_at)
    reading: dict[str, Any] = {
        "id": str(uuid5(NAMESPACE_URL, f"{table_id}/{at.isoformat()}")),
        "table_id": str(table_id),
        "taken_at": at.isoformat(),
        "clock": {"weekday": WEEKDAYS[shown.weekday()], "time": f"{shown:%H:%M}", "display": "24h"},
        "meters": meters(label, began_at=began_at, at=at),
    }
    if label not in _ON_MAINS:
        reading["supply"] = {"volts": volts(label, since=since, at=at), "rested_minutes": 600}
    return reading


def settings_found(table_id: UUID, *, at: datetime, days: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the reading of somebody who looked at what a table is set to."""
    return {
        "id": str(uuid5(NAMESPACE_URL, f"{table_id}/settings/{at.isoformat()}")),
        "table_id": str(table_id),
        "taken_at": at.isoformat(),
        "settings": {"days": days},
        "note": "Looked at the settings.",
    }


def miskeyed(days: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return settings with a dollar a game keyed as 0.75 on the days of the weekday prices."""

    def rung(rung: dict[str, Any]) -> dict[str, Any]:
        return {**rung, "price": "0.75"} if rung == {"price": "1.00", "units": 1} else rung

    def ladder(ladder: dict[str, Any] | None) -> dict[str, Any] | None:
        return ladder and {**ladder, "prices": [rung(item) for item in ladder["prices"]]}

    return [
        {**day, "windows": [{**window, "games": ladder(window["games"])} for window in day["windows"]]} for day in days
    ]
