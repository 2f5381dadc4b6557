"""A collection as it is written: the same said in two ways is the same, and what differs is named."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from baizebook.collections.box_count import normal_form, read_boxes, what_differs
from baizebook.pricing.errors import DomainError


def body(**changes: Any) -> dict[str, Any]:
    """Return a collection of one table."""
    table = {"table_id": "t", "counted": {"0.25": 142, "1.00": 22}, **changes}
    return {"venue_id": "v", "collected_at": "2026-11-24T15:10:00-05:00", "tables": [table]}


def normal(sent: dict[str, Any], currency: str = "USD") -> dict[str, Any]:
    return normal_form(sent, read_boxes(sent, currency), currency)


def test_142_quarters_and_22_dollars_come_to_57_50() -> None:
    (box,) = read_boxes(body(weighed_g={"0.25": "805.10"}), "USD")
    assert (box.counted, box.weighed_g) == (5750, {25: Decimal("805.10")})


def test_money_follows_the_currency() -> None:
    (yen,) = read_boxes(body(counted={"100": 3, "500": 1}), "JPY")
    assert yen.counted == 800
    with pytest.raises(DomainError) as refused:
        read_boxes(body(counted={"0.5": 1}), "JPY")
    assert refused.value.code == "bad_money"


def test_the_same_said_in_another_way_has_the_same_normal_form() -> None:
    other = body(counted={"1": 22, "0.25": 142}, refunds_from_box="0", test_games=0, meters={})
    other["collected_at"] = "2026-11-24T20:10:00Z"
    other["bag"] = ""
    assert normal(other) == normal(body())


def test_every_place_that_differs_is_named_with_both_values() -> None:
    sent = body(counted={"0.25": 141, "5.00": 1}, house_money="2.00")
    faults = list(what_differs(normal(body()), normal(sent)))
    assert [(fault.where, fault.found, fault.expected) for fault in faults] == [
        ("tables[0].counted.0.25", "141", "142"),
        ("tables[0].counted.1.00", "nothing", "22"),
        ("tables[0].counted.5.00", "1", "nothing"),
        ("tables[0].house_money", "2.00", "0.00"),
    ]


def test_another_number_of_tables_differs_as_a_whole() -> None:
    two = body()
    two["tables"].append({"table_id": "u", "counted": {}})
    (fault,) = what_differs(normal(body()), normal(two))
    assert (fault.where, fault.found, fault.expected) == ("tables", "a list of 2", "a list of 1")
