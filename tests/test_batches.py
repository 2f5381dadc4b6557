"""Batches of keyings, collections and reports of faults from a phone that was offline (O3, R3, C9)."""

import gc
import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest
from baizebook.collections import service as collections
from baizebook.readings.schemas import ReadingsIn
from fastapi.testclient import TestClient

from tests.conftest import Route

METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 6, "resets": "never"}]
PLACED = "2026-10-01T12:00:00Z"
NOWHERE = str(UUID(int=99))


class Phone:
    """Two tables at two venues, and items of a phone, each with an id of its own."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route, self.made = client, route, 0
        tariff = route.tariff()["id"]
        self.venues = [route.venue(name=name)["id"] for name in ("The Copper Lantern", "Harbour Steps")]
        self.schedules = [route.schedule(venue, tariff)["id"] for venue in self.venues]
        self.tables = [route.table(venue, placed_at=PLACED, meters=METERS)["id"] for venue in self.venues]
        for venue in self.venues:
            route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})

    def _id(self) -> str:
        self.made += 1
        return str(UUID(int=self.made))

    def keying(self, day: int = 20, at: int = 0, **changes: Any) -> dict[str, Any]:
        instant = f"2026-11-{day:02d}T20:00:00Z"
        ids = {"id": self._id(), "table_id": self.tables[at], "schedule_id": self.schedules[at]}
        return {**ids, "keyed_at": instant, "by": "Bram", **changes}

    def collection(self, day: int = 20, at: int = 0, counts: int = 40, **changes: Any) -> dict[str, Any]:
        box = {"table_id": self.tables[at], "meters": {"cash": 100 + 40 * day}, "counted": {"0.25": counts}}
        instant = f"2026-11-{day:02d}T20:00:00Z"
        return {"id": self._id(), "venue_id": self.venues[at], "collected_at": instant, "tables": [box], **changes}

    def job(self, day: int = 20, at: int = 0, **changes: Any) -> dict[str, Any]:
        instant = f"2026-11-{day:02d}T20:00:00Z"
        return {
            "id": self._id(), "table_id": self.tables[at], "reported_at": instant, "fault": "lamp_out", "playable": True,
            **changes,
        }  # fmt: skip

    def send(self, kind: str, items: list[Any], **options: Any) -> dict[str, Any]:
        answer = self.client.post(f"/v1/{kind}/batch", json={kind: items}, **options)
        assert answer.status_code == 200, answer.text
        return answer.json()  # type: ignore[no-any-return]

    def all_of(self, kind: str) -> list[dict[str, Any]]:
        paths = {"keyings": [f"/tables/{table}/keyings" for table in self.tables]}.get(kind, [f"/{kind}"])
        return [item for path in paths for item in self.client.get(f"/v1{path}").json()["items"]]


@pytest.fixture
def phone(at_noon: TestClient, route: Route) -> Phone:
    """A phone that comes back on 25 November at noon in New York."""
    return Phone(at_noon, route)


@dataclass(frozen=True)
class Kind:
    """A kind of item: a good one, what sends it alone, and what makes it other content."""

    name: str
    one: Callable[..., dict[str, Any]]
    alone: Callable[[dict[str, Any]], tuple[str, dict[str, Any]]]
    other: dict[str, Any]


def _keying_alone(item: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    return f"/tables/{item['table_id']}/keyings", {name: item[name] for name in item if name != "table_id"}


KINDS = [
    Kind("keyings", Phone.keying, _keying_alone, {"by": "Odile"}),
    Kind("collections", Phone.collection, lambda item: ("/collections", item), {"bag": "B-7"}),
    Kind("jobs", Phone.job, lambda item: ("/jobs", item), {"playable": False}),
]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_each_item_has_its_outcome_and_a_bad_one_neither_hides_nor_blocks_the_others(phone: Phone, kind: Kind) -> None:
    first, second = kind.one(phone, 20), kind.one(phone, 21, at=1)
    late = next(name for name in ("keyed_at", "collected_at", "reported_at") if name in first)
    future = {**kind.one(phone), late: "2027-01-01T12:00:00Z"}
    items = [first, future, {**kind.one(phone), "color": "red"}, 7, {**first, **kind.other}, first, second]
    answer = phone.send(kind.name, items)
    assert [result["outcome"] for result in answer["results"]] == [
        "recorded", "refused", "refused", "refused", "refused", "duplicate", "recorded",
    ]  # fmt: skip
    assert [answer[name] for name in ("recorded", "duplicate", "refused")] == [2, 1, 4]
    ids = [result["id"] for result in answer["results"]]
    assert ids == [first["id"], future["id"], items[2]["id"], None, first["id"], first["id"], second["id"]]
    codes = [result["problem"] and result["problem"]["code"] for result in answer["results"]]
    assert codes == [None, "invalid", "invalid", "invalid", "same_id_other_content", None, None]
    places = [[error["where"] for error in answer["results"][i]["problem"]["errors"]] for i in (1, 2, 4)]
    assert places == [[late], ["color"], [*kind.other]]
    path, body = kind.alone(future)
    assert phone.client.post(f"/v1{path}", json=body).json() == answer["results"][1]["problem"]

    before = phone.all_of(kind.name)
    again = phone.send(kind.name, items)
    assert [again[name] for name in ("recorded", "duplicate", "refused")] == [0, 3, 4]
    assert phone.all_of(kind.name) == before
    assert sorted(item["id"] for item in before) == sorted([first["id"], second["id"]])
    path, body = kind.alone(first)
    assert phone.route.post(path, body)["id"] == first["id"]
    assert phone.all_of(kind.name) == before


@pytest.mark.parametrize(
    ("kind", "most"), [(KINDS[0], 100), (KINDS[1], 25), (KINDS[2], 100)], ids=["keyings", "collections", "jobs"]
)
def test_a_batch_is_bounded(phone: Phone, kind: Kind, most: int) -> None:
    items = [kind.one(phone) for _ in range(most + 1)]
    answer = phone.client.post(f"/v1/{kind.name}/batch", json={kind.name: items})
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (422, kind.name)
    assert phone.all_of(kind.name) == []


def test_a_batch_of_collections_is_bounded_by_its_tables(phone: Phone) -> None:
    box = {"table_id": phone.tables[0], "counted": {}}
    items = [phone.collection(tables=[box] * 51), phone.collection(tables=[box] * 50)]
    answer = phone.client.post("/v1/collections/batch", json={"collections": items})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["expected"] == "at most 100 tables in all collections of a batch, not 101"


def test_a_crash_in_the_middle_leaves_nothing_and_the_same_batch_then_records_all(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    items = [phone.collection(day) for day in (20, 21, 22)]
    decide, calls = collections.decide_collection, []

    def crash(*args: Any) -> Any:
        calls.append(args)
        if len(calls) == 2:
            raise RuntimeError("the power is gone")
        return decide(*args)

    with monkeypatch.context() as broken:
        broken.setattr(collections, "decide_collection", crash)
        assert phone.client.post("/v1/collections/batch", json={"collections": items}).status_code == 500
    assert phone.all_of("collections") == []
    assert phone.client.get("/v1/ledger/entries").json()["items"] == []
    assert phone.send("collections", items)["recorded"] == 3
    assert phone.client.get("/v1/ledger/verify").json()["entries"] == 3


def test_the_order_of_arrival_does_not_matter(phone: Phone) -> None:
    """Four boxes shuffled in one batch, and last first one by one: the same expectations (C9)."""
    boxes = [phone.collection(day, counts=40 + day) for day in (10, 12, 14, 16)]
    phone.send("collections", random.Random(12).sample(boxes, 4))
    in_one = {item["id"]: (item["expected"], item["difference"]) for item in phone.all_of("collections")}
    one_by_one = [{**phone.collection(int(box["collected_at"][8:10]), at=1), "tables": [
        {**box["tables"][0], "table_id": phone.tables[1]}
    ]} for box in boxes]  # fmt: skip
    for box in reversed(one_by_one):
        phone.send("collections", [box])
    reversed_ = {item["id"]: (item["expected"], item["difference"]) for item in phone.all_of("collections")}
    assert [in_one[box["id"]] for box in boxes] == [reversed_[box["id"]] for box in one_by_one]
    assert in_one[boxes[3]["id"]] == ({"least": "20.00", "most": "20.00"}, "-6.00")
    assert not any("late_arrival" in item["cautions"] for item in phone.all_of("collections")[:4])


def test_two_batches_that_name_the_same_venues_the_other_way_round_both_get_through(phone: Phone) -> None:
    batches = [
        [phone.collection(day, at=at, counts=day) for day, at in zip(range(10, 16), order * 3, strict=True)]
        for order in ([0, 1], [1, 0])
    ]
    with ThreadPoolExecutor(2) as threads:
        answers = list(threads.map(lambda items: phone.send("collections", items), batches))
    assert [answer["recorded"] for answer in answers] == [6, 6]
    verified = phone.client.get("/v1/ledger/verify").json()
    assert (verified["ok"], verified["entries"]) == (True, 12)


def test_a_venue_sends_reports_of_its_own_tables_only(phone: Phone) -> None:
    headers = phone.route.token("venue", venue_id=phone.venues[0])
    mine, theirs = phone.job(), phone.job(at=1)
    nowhere = phone.job(table_id=NOWHERE)
    answer = phone.send("jobs", [mine, theirs, nowhere], headers=headers)
    assert [result["outcome"] for result in answer["results"]] == ["recorded", "refused", "refused"]
    assert answer["results"][1]["problem"] == answer["results"][2]["problem"]
    answer = phone.client.post("/v1/collections/batch", json={"collections": []}, headers=headers)
    assert answer.status_code == 403


def test_a_duplicate_stays_one_after_the_table_has_left_and_after_its_keying_was_voided(phone: Phone) -> None:
    keying, job = phone.keying(20), phone.job(20)
    phone.send("keyings", [keying])
    phone.send("jobs", [job])
    phone.route.post(f"/keyings/{keying['id']}/void", {"reason": "Another table."})
    end = {"how": "lost", "at": "2026-11-24T12:00:00Z"}
    phone.route.post(f"/tables/{phone.tables[0]}/retirement", end)
    for kind, item in (("keyings", keying), ("jobs", job)):
        assert phone.send(kind, [item])["duplicate"] == 1
    assert phone.all_of("keyings")[0]["voided"]["reason"] == "Another table."
    late = [phone.keying(23), phone.keying(25)]
    assert [result["outcome"] for result in phone.send("keyings", late)["results"]] == ["recorded", "refused"]


def test_what_cannot_be_read_is_freed_with_its_batch_and_leaves_no_circles_of_garbage():
    gc.collect()
    gc.disable()
    try:
        for _ in range(2):
            ReadingsIn.model_validate({"readings": [{"x": "y"}] * 200})
        assert gc.collect() < 50
    finally:
        gc.enable()
