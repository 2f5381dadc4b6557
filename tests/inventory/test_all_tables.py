"""Every table of the route on one list: where it is, what it holds, what it needs."""

import csv
import io
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
CONTROLLER = {"games": {"prices_max": 5}}


class Fleet:
    """Two venues and three tables: at the first venue, in the workshop, in storage."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.venue, self.other = route.venue()["id"], route.venue(name="=The Tin Fiddle")["id"]
        first = {"frame_number": "A-17", "meters": METERS, "controller": CONTROLLER}
        self.first = self.table(self.venue, label="Window side", **first)
        self.second = self.table(self.other, label="Back")
        self.third = self.table(self.venue, label="Corner")
        self.move(self.second, moved_at="2026-11-10T12:00:00Z", venue_id=None)
        self.move(self.third, moved_at="2026-11-11T12:00:00Z", venue_id=None, to="storage")

    def table(self, venue: str, **changes: Any) -> str:
        return str(self.route.table(venue, placed_at="2026-11-01T12:00:00Z", **changes)["id"])

    def move(self, table: str, **move: Any) -> dict[str, Any]:
        return self.route.post(f"/tables/{table}/moves", move)

    def read(self, table: str, at: str, **seen: Any) -> None:
        reading = {"id": str(uuid4()), "table_id": table, "taken_at": at, **seen}
        assert self.route.post("/readings", {"readings": [reading]})["recorded"] == 1

    def listed(self, **query: Any) -> list[dict[str, Any]]:
        answer = self.client.get("/v1/tables", params=query)
        assert answer.is_success, answer.text
        return list(answer.json()["items"])

    def ids(self, **query: Any) -> list[str]:
        return [table["id"] for table in self.listed(**query)]


@pytest.fixture
def fleet(at_noon: TestClient, route: Route) -> Fleet:
    """A route on 25 November at noon in New York."""
    return Fleet(at_noon, route)


def test_a_table_in_the_workshop_or_in_storage_is_on_the_list(fleet: Fleet) -> None:
    assert [(table["label"], table["place"]) for table in fleet.listed()] == [
        (
            "Window side",
            {"kind": "venue", "venue_id": fleet.venue, "venue": "The Copper Lantern", "since": "2026-11-01T12:00:00Z"},
        ),
        ("Back", {"kind": "workshop", "venue_id": None, "venue": None, "since": "2026-11-10T12:00:00Z"}),
        ("Corner", {"kind": "storage", "venue_id": None, "venue": None, "since": "2026-11-11T12:00:00Z"}),
    ]


def test_a_table_is_listed_with_all_that_is_known_of_it(fleet: Fleet) -> None:
    route, table = fleet.route, fleet.first
    schedule = route.schedule(fleet.venue, route.tariff()["id"])["id"]
    before = fleet.listed(place="venue")[0]
    assert before["sells"] == {
        "basis": "listed", "since": "2026-01-01T11:00:00Z", "schedule_id": None, "caution": "never_keyed",
    }  # fmt: skip
    assert before["controller"] == {"stated": True, "version": None, "read_at": None}
    assert (before["last_reading_at"], before["last_collection_at"]) == (None, None)
    for at in ("2026-11-03T12:00:00Z", "2026-11-02T12:00:00Z"):
        route.post(f"/tables/{table}/keyings", {"schedule_id": schedule, "keyed_at": at, "by": "Ana"})
    fleet.read(table, "2026-11-12T12:00:00Z", controller_version="3.1")
    fleet.read(table, "2026-11-09T12:00:00Z", controller_version="3.0")
    fleet.read(table, "2026-11-14T12:00:00Z", meters={"cash": 12})
    collection = {
        "id": str(uuid4()), "venue_id": fleet.venue, "collected_at": "2026-11-13T12:00:00Z", "collector": "Ana",
        "tables": [{"table_id": table, "counted": {"1.00": 4}}],
    }  # fmt: skip
    route.post("/collections", collection)
    job = {"table_id": table, "reported_at": "2026-11-20T12:00:00Z", "fault": "lamp_out"}
    route.post("/jobs", {**job, "id": str(uuid4()), "playable": True})
    assert fleet.listed()[0]["out_of_order"] is False
    route.post("/jobs", {**job, "id": str(uuid4()), "playable": False})
    fleet.client.get("/v1/worklist")
    found = fleet.listed()[0]
    assert (found["label"], found["frame_number"]) == ("Window side", "A-17")
    assert found["controller"] == {"stated": True, "version": "3.1", "read_at": "2026-11-12T12:00:00Z"}
    assert found["last_reading_at"] == "2026-11-14T12:00:00Z"
    assert found["last_collection_at"] == "2026-11-13T12:00:00Z"
    assert (found["sells"]["basis"], found["sells"]["schedule_id"]) == ("keyed", schedule)
    assert found["sells"]["since"] == "2026-11-03T12:00:00Z"
    assert (found["open_jobs"], found["out_of_order"]) == (2, True)
    route.post(f"/collections/{collection['id']}/reversal", {"reason": "Another table."})
    assert fleet.listed()[0]["last_collection_at"] is None
    fleet.move(table, moved_at="2026-11-24T12:00:00Z", venue_id=fleet.other)
    assert fleet.listed()[0]["sells"]["caution"] == "keyed_elsewhere"
    fleet.move(table, moved_at="2026-11-24T13:00:00Z", venue_id=None)
    assert fleet.listed()[0]["sells"] is None


def test_open_work_is_what_the_worklist_shows(fleet: Fleet) -> None:
    fleet.read(fleet.first, "2026-11-24T12:00:00Z", supply={"volts": "11.40"})
    shown = [item["table_id"] for item in fleet.client.get("/v1/worklist", params={"limit": 500}).json()["items"]]
    assert shown
    counts = {table["id"]: table["open_work"] for table in fleet.listed()}
    assert counts == {table: shown.count(table) for table in (fleet.first, fleet.second, fleet.third)}
    for table in fleet.listed():
        assert sum(work["count"] for work in table["work"]) == table["open_work"]
        for work in table["work"]:
            assert table["id"] in fleet.ids(work=work["kind"])
    kinds = {work["kind"] for table in fleet.listed() for work in table["work"]}
    assert fleet.ids(work="licence") == ([] if "licence" not in kinds else fleet.ids(work="licence"))
    assert kinds


def test_the_list_is_narrowed_by_place_venue_version_and_last_reading(fleet: Fleet) -> None:
    fleet.read(fleet.first, "2026-11-20T12:00:00Z", controller_version="3.1")
    fleet.read(fleet.second, "2026-11-08T12:00:00Z", controller_version="3.0")
    fleet.read(fleet.second, "2026-11-07T12:00:00Z", controller_version="3.1")
    places = {place: fleet.ids(place=place) for place in ("venue", "workshop", "storage", "retired", "sold", "lost")}
    assert places == {
        "venue": [fleet.first], "workshop": [fleet.second], "storage": [fleet.third],
        "retired": [], "sold": [], "lost": [],
    }  # fmt: skip
    assert fleet.ids(venue_id=fleet.venue) == [fleet.first]
    assert fleet.ids(controller_version="3.1") == [fleet.first]
    assert fleet.ids(controller_version="3.0") == [fleet.second]
    assert fleet.ids(read_before="2026-11-20T12:00:00Z") == [fleet.second, fleet.third]
    assert fleet.ids(read_before="2026-11-20T12:00:01Z") == [fleet.first, fleet.second, fleet.third]
    assert fleet.ids(read_before="2026-11-20T12:00:00Z", place="storage") == [fleet.third]


def test_the_list_is_read_in_pages_and_as_csv_whole(fleet: Fleet) -> None:
    page = fleet.client.get("/v1/tables", params={"limit": 2})
    assert page.json()["next"] == fleet.second
    assert page.headers["Link"] == f'</v1/tables?limit=2&after={fleet.second}>; rel="next"'
    assert fleet.ids(limit=2, after=fleet.second) == [fleet.third]
    fleet.move(fleet.second, moved_at="2026-11-12T12:00:00Z", venue_id=fleet.other)
    answer = fleet.client.get("/v1/tables", params={"format": "csv", "limit": 1})
    assert answer.headers["content-type"] == "text/csv; header=present; charset=utf-8"
    lines = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(x["label"], x["frame_number"], x["place"], x["venue"], x["since"], x["since_offset"]) for x in lines] == [
        ("Window side", "A-17", "venue", "The Copper Lantern", "2026-11-01 07:00:00", "-05:00"),
        ("Back", "", "venue", "'=The Tin Fiddle", "2026-11-12 07:00:00", "-05:00"),
        ("Corner", "", "storage", "", "2026-11-11 12:00:00", "+00:00"),
    ]


def test_the_way_of_a_table_is_told_from_its_first_place_on(fleet: Fleet) -> None:
    fleet.move(fleet.third, moved_at="2026-11-12T12:00:00Z", venue_id=None, to="workshop")
    fleet.move(fleet.third, moved_at="2026-11-13T12:00:00Z", venue_id=fleet.other)
    moves = fleet.client.get(f"/v1/tables/{fleet.third}/moves").json()["items"]
    assert [(move["to"], move["venue_id"], move["moved_at"]) for move in moves] == [
        ("venue", fleet.venue, "2026-11-01T12:00:00Z"),
        ("storage", None, "2026-11-11T12:00:00Z"),
        ("workshop", None, "2026-11-12T12:00:00Z"),
        ("venue", fleet.other, "2026-11-13T12:00:00Z"),
    ]
    assert {move["table_id"] for move in moves} == {fleet.third}


@pytest.mark.parametrize(
    ("move", "status", "code", "where"),
    [
        ({"venue_id": None, "to": "storage"}, 409, "already_there", "venue_id"),
        ({"venue_id": "other", "to": "storage"}, 422, "invalid", "to"),
        ({"venue_id": None, "to": "sold"}, 422, "invalid", "to"),
        ({"venue_id": None, "to": "venue"}, 422, "invalid", "to"),
    ],
)
def test_a_move_that_cannot_be(fleet: Fleet, move: dict[str, Any], status: int, code: str, where: str) -> None:
    body = {"moved_at": "2026-11-12T12:00:00Z", **move}
    if move["venue_id"]:
        body["venue_id"] = fleet.other
    answer = fleet.client.post(f"/v1/tables/{fleet.third}/moves", json=body)
    problem = answer.json()
    assert (answer.status_code, problem["type"], problem["errors"][0]["where"]) == (status, f"/problems/{code}", where)
    assert fleet.ids(place="storage") == [fleet.third]


def test_the_number_on_the_frame_can_be_changed_and_taken_out(fleet: Fleet) -> None:
    for number in ("B-9", None):
        address = f"/v1/tables/{fleet.first}"
        etag = fleet.client.get(address).headers["ETag"]
        answer = fleet.client.patch(address, json={"frame_number": number}, headers={"If-Match": etag})
        assert answer.json()["frame_number"] == number
        assert fleet.listed()[0]["frame_number"] == number
