"""A collection as its message writes it: decimal strings in, the values of its boxes out, and its one normal form.

- A count is by denomination (C2): an amount above 0 in the venue's currency, named once, whether or not the table takes
  it. All mistakes of a body are reported at once, each with the place where it stands (E3).
- The normal form of a body is the same for all that says the same: money in full decimals, instants in UTC, what is
  absent filled in. Sent again, an id with the same normal form is the same collection (C5, R2).
- The shape (names, types, nothing unknown) has been checked before; what is read here are the values.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from ..pricing.errors import DomainError, Fault
from ..pricing.money import MOST_MINOR, format_money, parse_money

MOST_WEIGHT_G = 1_000_000

MONEY_NAMES = ("refunds_from_box", "refunds_by_venue", "test_money", "house_money")
Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCount:
    """What was found in one table's box and read off its meters; money in minor units, ``counts`` by denomination."""

    table_id: str
    meters: Mapping[str, int]
    counts: Mapping[int, int]
    weighed_g: Mapping[int, Decimal]
    other: tuple[tuple[str, int], ...] = ()
    refunds_from_box: int = 0
    refunds_by_venue: int = 0
    test_games: int = 0
    test_money: int = 0
    house_money: int = 0

    @property
    def counted(self) -> int:
        """What the coins and notes come to."""
        return sum(value * count for value, count in self.counts.items())


def read_boxes(body: Body, currency: str) -> tuple[BoxCount, ...]:
    """Return the boxes of a collection's body; refuse it with every fault there is.

    Refuses ``bad_money``, ``bad_denomination``, ``bad_weight``, ``table_named_twice`` and more money than the engine
    handles (``too_much_money``).
    """
    faults: list[Fault] = []
    boxes = [_Reader(currency, f"tables[{i}]", faults).box(table) for i, table in enumerate(body["tables"])]
    ids = [box.table_id for box in boxes]
    for i, id_ in enumerate(ids):
        if id_ in ids[:i]:
            faults.append(Fault("table_named_twice", f"tables[{i}].table_id", id_, "each table once"))
    most = MOST_MINOR // 10
    for i, box in enumerate(boxes):
        if box.counted > most or sum(getattr(box, name) for name in MONEY_NAMES) > most:
            expected = f"at most {format_money(most, currency)}"
            faults.append(Fault("too_much_money", f"tables[{i}].counted", "more", expected))
    if faults:
        raise DomainError(*faults)
    return tuple(boxes)


class _Reader:
    """Reads one table of a body and keeps the faults of what does not read."""

    def __init__(self, currency: str, where: str, faults: list[Fault]) -> None:
        self.currency, self.where, self.faults = currency, where, faults

    def box(self, table: Body) -> BoxCount:
        return BoxCount(
            table_id=str(table["table_id"]),
            meters=dict(table.get("meters") or {}),
            counts=self.by_denomination("counted", table["counted"]),
            weighed_g={
                value: self.grams(f"weighed_g.{value}", text)
                for value, text in self.by_denomination("weighed_g", table.get("weighed_g") or {}).items()
            },
            other=tuple((item["what"], item["count"]) for item in table.get("other") or ()),
            test_games=table.get("test_games", 0),
            **{name: self.money(name, table.get(name, "0")) for name in MONEY_NAMES},
        )

    def by_denomination(self, name: str, found: Body) -> dict[int, Any]:
        values: dict[int, Any] = {}
        for text, item in found.items():
            value = self.money(f"{name}.{text}", text)
            if value < 1 or value in values:
                stands = f"{text} again" if value in values else text
                self.fault("bad_denomination", f"{name}.{text}", stands, "a coin or note above 0, named once")
            values[value] = item
        return dict(sorted(values.items()))

    def grams(self, where: str, text: str) -> Decimal:
        grams = Decimal(text)
        if not 0 <= grams <= MOST_WEIGHT_G:
            self.fault("bad_weight", where, text, f"grams from 0 to {MOST_WEIGHT_G}")
        return grams

    def money(self, where: str, text: str) -> int:
        try:
            return parse_money(text, self.currency, where=f"{self.where}.{where}")
        except DomainError as error:
            self.faults += error.faults
            return 0

    def fault(self, code: str, where: str, found: str, expected: str) -> None:
        if not any(fault.where == f"{self.where}.{where}" for fault in self.faults):
            self.faults.append(Fault(code, f"{self.where}.{where}", found, expected))


def normal_form(body: Body, boxes: tuple[BoxCount, ...], currency: str) -> dict[str, Any]:
    """Return what a collection says, in plain JSON values, the same for every way of writing it."""
    head = {name: body.get(name, "") for name in ("collector", "witness", "bag", "seal")}
    return {
        "venue_id": str(body["venue_id"]),
        "collected_at": _utc(body["collected_at"]),
        **head,
        "tables": [_normal_box(box, currency) for box in boxes],
    }


def _normal_box(box: BoxCount, currency: str) -> dict[str, Any]:
    return {
        "table_id": box.table_id,
        "meters": dict(sorted(box.meters.items())),
        "counted": {format_money(value, currency): count for value, count in box.counts.items()},
        "weighed_g": {format_money(value, currency): f"{g.normalize():f}" for value, g in box.weighed_g.items()},
        "other": [{"what": what, "count": count} for what, count in box.other],
        "test_games": box.test_games,
        **{name: format_money(getattr(box, name), currency) for name in MONEY_NAMES},
    }


def _utc(instant: datetime | str) -> str:
    read = datetime.fromisoformat(instant) if isinstance(instant, str) else instant
    return read.astimezone(UTC).isoformat()


def what_differs(stored: object, sent: object, where: str = "") -> Iterator[Fault]:
    """Yield every place at which one normal form differs from another: what was stored is expected, what is sent found."""
    if isinstance(stored, dict) and isinstance(sent, dict):
        for name in dict.fromkeys((*stored, *sent)):
            yield from what_differs(stored.get(name), sent.get(name), f"{where}.{name}" if where else str(name))
    elif isinstance(stored, list) and isinstance(sent, list) and len(stored) == len(sent):
        for i, (one, other) in enumerate(zip(stored, sent, strict=True)):
            yield from what_differs(one, other, f"{where}[{i}]")
    elif stored != sent:
        yield Fault("same_id_other_content", where, _shown(sent), _shown(stored))


def _shown(value: object) -> str:
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return "nothing" if value is None else str(value)[:80]
