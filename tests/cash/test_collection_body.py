"""A collection as it is written: the same said in two ways is the same, and what differs is named."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from baizebook.collections.box_count import CollectionCount, read_boxes, read_collection
from baizebook.collections.conflicts import conflicts
from baizebook.pricing.errors import DomainError

TABLE, OTHER = UUID(int=1), UUID(int=2)


def body(**changes: Any) -> dict[str, Any]:
    """Return a collection of one table."""
    table = {"table_id": TABLE, "counted": {"0.25": 142, "1.00": 22}, **changes}
    at = datetime.fromisoformat("2026-11-24T15:10:00-05:00")
    return {"id": UUID(int=9), "venue_id": UUID(int=8), "collected_at": at, "tables": [table]}


def count(sent: dict[str, Any]) -> CollectionCount:
    return read_collection(sent, "USD")


def test_142_quarters_and_22_dollars_come_to_57_50() -> None:
    (box,) = read_boxes(body(weighed_g={"0.25": "805.10"}), "USD")
    assert (box.counted, box.weighed_g) == (5750, {25: Decimal("805.10")})


def test_money_follows_the_currency() -> None:
    (yen,) = read_boxes(body(counted={"100": 3, "500": 1}), "JPY")
    assert yen.counted == 800
    with pytest.raises(DomainError) as refused:
        read_boxes(body(counted={"0.5": 1}), "JPY")
    assert refused.value.code == "bad_money"


def test_the_same_said_in_another_way_does_not_differ() -> None:
    other = body(counted={"1": 22, "0.25": 142}, refunds_from_box="0", test_games=0, meters={})
    other["collected_at"] = datetime.fromisoformat("2026-11-24T20:10:00+00:00")
    other["bag"] = ""
    assert conflicts(stored=count(body()), sent=count(other)) == []


def test_a_collector_who_is_not_named_again_does_not_differ_and_another_does() -> None:
    named, other = {**body(), "collector": "Ana"}, {**body(), "collector": "Bo"}
    assert conflicts(stored=count(named), sent=count(body())) == []
    (fault,) = conflicts(stored=count(named), sent=count(other))
    assert (fault.where, fault.found, fault.expected) == ("collector", "Bo", "Ana")


def test_every_place_that_differs_is_named_with_both_values() -> None:
    emptied = {"at": datetime.fromisoformat("2026-10-01T12:00:00+00:00"), "meters": {"cash": 5}}
    sent = body(counted={"0.25": 141, "5.00": 1}, house_money="2.00", emptied_before=emptied)
    faults = conflicts(stored=count(body()), sent=count(sent))
    assert [(fault.where, fault.found, fault.expected) for fault in faults][:4] == [
        ("tables[0].counted.0.25", "141", "142"),
        ("tables[0].counted.1.00", "nothing", "22"),
        ("tables[0].counted.5.00", "1", "nothing"),
        ("tables[0].house_money", "2.00", "0.00"),
    ]
    assert [fault.where for fault in faults][4:] == ["tables[0].emptied_before"]


def test_another_number_of_tables_differs_as_a_whole() -> None:
    two = body()
    two["tables"].append({"table_id": OTHER, "counted": {}})
    (fault,) = conflicts(stored=count(body()), sent=count(two))
    assert (fault.where, fault.found, fault.expected) == ("tables", "a list of 2", "a list of 1")
