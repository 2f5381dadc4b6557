"""Two collections under one id: the same content, or what differs between them.

- The normal form is the same for every way of writing the same content: money in full decimals, instants in UTC, and
  every absent value filled in (C5, R2).
- A collector who is not named is not compared: the token says who it was.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC
from typing import Any

from ..pricing.errors import Fault
from ..pricing.money import format_money
from .box_count import MONEY_NAMES, BoxCount, CollectionCount


def conflicts(*, stored: CollectionCount, sent: CollectionCount) -> list[Fault]:
    """Return every place at which a collection differs from the stored one of its id (``same_id_other_content``)."""
    known, said = _normal_form(stored), _normal_form(sent)
    if sent.collector is None or stored.collector is None:
        del known["collector"], said["collector"]
    return list(_differences(known, said))


def _normal_form(count: CollectionCount) -> dict[str, Any]:
    return {
        "venue_id": str(count.venue_id),
        "collected_at": count.collected_at.astimezone(UTC).isoformat(),
        **{name: getattr(count, name) for name in ("collector", "witness", "bag", "seal")},
        "tables": [_normal_box(box, count.currency) for box in count.boxes],
    }


def _normal_box(box: BoxCount, currency: str) -> dict[str, Any]:
    emptied = box.emptied_before
    return {
        "table_id": str(box.table_id),
        "meters": dict(sorted(box.meters.items())),
        "counted": {format_money(value, currency): count for value, count in box.counts.items()},
        "weighed_g": {format_money(value, currency): f"{g.normalize():f}" for value, g in box.weighed_g.items()},
        "other": [{"what": what, "count": count} for what, count in box.other],
        "test_games": box.test_games,
        **{name: format_money(getattr(box, name), currency) for name in MONEY_NAMES},
        "emptied_before": emptied
        and {"at": emptied.at.astimezone(UTC).isoformat(), "meters": dict(sorted(emptied.meters.items()))},
    }


def _differences(stored: object, sent: object, where: str = "") -> Iterator[Fault]:
    if isinstance(stored, dict) and isinstance(sent, dict):
        for name in dict.fromkeys((*stored, *sent)):
            yield from _differences(stored.get(name), sent.get(name), f"{where}.{name}" if where else str(name))
    elif isinstance(stored, list) and isinstance(sent, list) and len(stored) == len(sent):
        for i, (one, other) in enumerate(zip(stored, sent, strict=True)):
            yield from _differences(one, other, f"{where}[{i}]")
    elif stored != sent:
        yield Fault("same_id_other_content", where, _shown(sent), _shown(stored))


def _shown(value: object) -> str:
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return "nothing" if value is None else str(value)[:80]
