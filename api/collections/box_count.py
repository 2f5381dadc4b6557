"""The count of a collection: decimal strings in, the values of its boxes out.

- A count is by denomination (C2): an amount above 0 in the venue's currency, named once, whether or not the table takes
  it. All mistakes of a body are reported at once, each with its place (E3).
- The shape (names, types, nothing unknown) has been checked before; the values are read here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from ..pricing.errors import DomainError, Fault
from ..pricing.money import MAX_MINOR, format_money, parse_money

MAX_WEIGHT_G = 1_000_000

MONEY_NAMES = ("refunds_from_box", "refunds_by_venue", "test_money", "house_money")
CountBody = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class EmptiedBefore:
    """A box that was emptied before the books began: when, and what its meters showed then."""

    at: datetime
    meters: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCount:
    """One table's box and its meters; money in minor units, ``counts`` and ``weighed_g`` by denomination."""

    table_id: UUID
    meters: Mapping[str, int]
    counts: Mapping[int, int]
    weighed_g: Mapping[int, Decimal]
    other: tuple[tuple[str, int], ...] = ()
    refunds_from_box: int = 0
    refunds_by_venue: int = 0
    test_games: int = 0
    test_money: int = 0
    house_money: int = 0
    emptied_before: EmptiedBefore | None = None

    @property
    def counted(self) -> int:
        """The sum of the coins and notes."""
        return sum(value * count for value, count in self.counts.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectionCount:
    """A collection as it was counted; ``collector`` is None where nobody was named."""

    id: UUID
    venue_id: UUID
    currency: str
    collected_at: datetime
    collector: str | None
    witness: str
    bag: str
    seal: str
    boxes: tuple[BoxCount, ...]


def read_collection(body: CountBody, currency: str) -> CollectionCount:
    """Return the count of a collection's body; refuse it with every fault of its boxes."""
    return CollectionCount(
        id=body["id"],
        venue_id=body["venue_id"],
        currency=currency,
        collected_at=body["collected_at"],
        collector=body.get("collector"),
        **{name: body.get(name, "") for name in ("witness", "bag", "seal")},
        boxes=read_boxes(body, currency),
    )


def read_boxes(body: CountBody, currency: str) -> tuple[BoxCount, ...]:
    """Return the boxes of a collection's body; refuse it with every fault there is.

    Refuses ``bad_money``, ``bad_denomination``, ``bad_weight``, ``table_named_twice``, a box emptied before that was
    not emptied before this collection (``not_before``), and more money than the engine handles (``too_much_money``).
    """
    faults: list[Fault] = []
    boxes = [_TableReader(currency, f"tables[{i}]", faults).box(table) for i, table in enumerate(body["tables"])]
    ids = [box.table_id for box in boxes]
    for i, id_ in enumerate(ids):
        if id_ in ids[:i]:
            faults.append(Fault("table_named_twice", f"tables[{i}].table_id", str(id_), "each table once"))
        emptied = boxes[i].emptied_before
        if emptied is not None and emptied.at >= body["collected_at"]:
            expected = f"before {body['collected_at'].isoformat()}"
            faults.append(Fault("not_before", f"tables[{i}].emptied_before.at", emptied.at.isoformat(), expected))
    most = MAX_MINOR // 10
    for i, box in enumerate(boxes):
        if box.counted > most or sum(getattr(box, name) for name in MONEY_NAMES) > most:
            expected = f"at most {format_money(most, currency)}"
            faults.append(Fault("too_much_money", f"tables[{i}].counted", "more", expected))
    if not faults and sum(box.counted for box in boxes) > most:
        faults.append(Fault("too_much_money", "tables", "more", f"at most {format_money(most, currency)} in all"))
    if faults:
        raise DomainError(*faults)
    return tuple(boxes)


class _TableReader:
    """Reads one table of a body and keeps the faults of every value that cannot be read."""

    def __init__(self, currency: str, where: str, faults: list[Fault]) -> None:
        self.currency, self.where, self.faults = currency, where, faults

    def box(self, table: CountBody) -> BoxCount:
        return BoxCount(
            table_id=table["table_id"],
            meters=dict(table.get("meters") or {}),
            counts=self.by_denomination("counted", table["counted"]),
            weighed_g={
                value: self.grams(f"weighed_g.{value}", text)
                for value, text in self.by_denomination("weighed_g", table.get("weighed_g") or {}).items()
            },
            other=tuple((item["what"], item["count"]) for item in table.get("other") or ()),
            test_games=table.get("test_games", 0),
            emptied_before=EmptiedBefore(**emptied) if (emptied := table.get("emptied_before")) else None,
            **{name: self.money(name, table.get(name, "0")) for name in MONEY_NAMES},
        )

    def by_denomination(self, name: str, found: CountBody) -> dict[int, Any]:
        values: dict[int, Any] = {}
        for text, item in found.items():
            value = self.money(f"{name}.{text}", text)
            if value < 1 or value in values:
                found_text = f"{text} again" if value in values else text
                self.fault("bad_denomination", f"{name}.{text}", found_text, "a coin or note above 0, named once")
            values[value] = item
        return dict(sorted(values.items()))

    def grams(self, where: str, text: str) -> Decimal:
        grams = Decimal(text)
        if not 0 <= grams <= MAX_WEIGHT_G:
            self.fault("bad_weight", where, text, f"grams from 0 to {MAX_WEIGHT_G}")
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
