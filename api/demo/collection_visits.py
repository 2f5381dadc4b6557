"""Three months of collections for the demo: who came when, what the meters showed, what was in the box.

- Copper Lantern, Marigold and Keiler are visited every second week, Harbour Lane every week; Keiler not for six weeks.
- What is counted is what the meters say, give or take a coin; but ``Downstairs`` has come up short since its seventh
  visit, always with the same collector. The chart of differences finds it.
- A count at Marigold was entered wrongly, reversed and entered again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from ..pricing.money import format_money, parse_money
from .table_troubles import HABITS, meters

_EVERY_WEEKS = {"lantern": 2, "harbour": 1, "marigold": 2, "keiler": 2}

_LAST_WEEKS_AGO = {"keiler": 6}
_AT = timedelta(hours=15)
_COLLECTORS = ("Rosalind", "Ignatius")
_SHORT, _SHORT_SINCE, _SHORT_PERCENT = "Downstairs", 7, 6


MISCOUNTED = ("marigold", 3)
"""The visit whose count was entered wrongly first: venue and number."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit to a venue: its number, counted from 0, when it was, and the collection as it is sent."""

    venue: str
    number: int
    at: datetime
    collection: dict[str, Any]


def visits(
    venue: str,
    venue_id: UUID,
    tables: dict[str, tuple[UUID, Sequence[str]]],
    *,
    currency: str,
    began_at: datetime,
    now: datetime,
) -> Iterator[Visit]:
    """Yield the visits to a venue; ``tables`` are its tables' ids and denominations by label."""
    start = began_at.replace(hour=0, minute=0, second=0, microsecond=0) + _AT
    last = now - timedelta(weeks=_LAST_WEEKS_AGO.get(venue, 0))
    before = began_at
    for number in range(100):
        at = start + timedelta(weeks=_EVERY_WEEKS[venue] * number + 1)
        if at >= last:
            return
        boxes = [
            _box(label, table_id, accepts, currency, number=number, before=before, at=at, began_at=began_at)
            for label, (table_id, accepts) in tables.items()
        ]
        collection = {
            "id": str(uuid5(NAMESPACE_URL, f"{venue_id}/visit/{number}")),
            "venue_id": str(venue_id),
            "collected_at": at.isoformat(),
            "collector": _COLLECTORS[1] if venue == "harbour" else _COLLECTORS[number % 2],
            "bag": f"{venue[:2].upper()}-{number + 1:03d}",
            "tables": boxes,
        }
        yield Visit(venue, number, at, collection)
        before = at


def miscounted(visit: Visit) -> dict[str, Any]:
    """Return a visit's collection as it was first entered: twice the largest notes of the first table."""
    first, *others = visit.collection["tables"]
    largest = max(first["counted"], key=lambda value: int(value.replace(".", "")))
    wrong = {**first, "counted": {**first["counted"], largest: 2 * first["counted"][largest] + 1}}
    return {**visit.collection, "id": str(UUID(int=UUID(visit.collection["id"]).int ^ 1)), "tables": [wrong, *others]}


def _box(
    label: str,
    table_id: UUID,
    accepts: Sequence[str],
    currency: str,
    *,
    number: int,
    before: datetime,
    at: datetime,
    began_at: datetime,
) -> dict[str, Any]:
    shown = meters(label, began_at=began_at, at=at)
    counts = shown["cash"] - meters(label, began_at=began_at, at=before)["cash"]
    unit = parse_money(HABITS[label].unit_value, currency)
    amount = counts * unit
    if label == _SHORT and number >= _SHORT_SINCE:
        amount -= amount * _SHORT_PERCENT // 100 // unit * unit
    elif number % 3 == 1:
        amount += unit * (1 if number % 2 else -1)
    return {"table_id": str(table_id), "meters": shown, "counted": _pieces(amount, accepts, currency)}


def _pieces(amount: int, accepts: Sequence[str], currency: str) -> dict[str, int]:
    """Make an amount up as players would have paid it: about a third in each of the larger notes, the rest small."""
    values = sorted((parse_money(text, currency) for text in accepts), reverse=True)
    counted: dict[str, int] = {}
    for value in values[:-1]:
        counted[format_money(value, currency)] = amount // 3 // value
        amount -= amount // 3 // value * value
    counted[format_money(values[-1], currency)] = amount // values[-1]
    return {value: count for value, count in counted.items() if count}
