"""A meter that is reset at each collection goes down then, and only then, without a question."""

from fastapi.testclient import TestClient

from tests.conftest import Route

METER = {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 6, "resets": "at_collection"}


def reading(number: int, table_id: str, at: str, cash: int) -> dict[str, object]:
    id_ = f"01932c5c-0000-7000-8000-{number:012d}"
    return {"id": id_, "table_id": table_id, "taken_at": at, "meters": {"cash": cash}}


def test_a_meter_reset_at_a_collection_needs_no_review(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"], meters=[METER])
    first = "2026-11-25T17:00:30Z"
    collected = {
        "id": "01932c5c-1111-7000-8000-000000000001",
        "venue_id": venue["id"],
        "collected_at": "2026-11-25T17:02:00Z",
        "tables": [{"table_id": table["id"], "meters": {"cash": 420}, "counted": {"0.25": 400}}],
    }
    route.post("/readings", {"readings": [reading(1, table["id"], first, 400)]})
    route.post("/collections", collected)
    route.post("/readings", {"readings": [reading(2, table["id"], "2026-11-25T17:04:00Z", 12)]})
    (cash,) = at_noon.get(f"/v1/tables/{table['id']}/health").json()["meters"]
    assert cash["needs_review"] == []


def test_the_same_meter_going_down_without_a_collection_needs_review(at_noon: TestClient, route: Route) -> None:
    table = route.table(route.venue()["id"], meters=[METER])
    readings = [
        reading(3, table["id"], "2026-11-25T17:01:00Z", 400),
        reading(4, table["id"], "2026-11-25T17:04:00Z", 12),
    ]
    route.post("/readings", {"readings": readings})
    (cash,) = at_noon.get(f"/v1/tables/{table['id']}/health").json()["meters"]
    assert [(step["before"], step["value"]) for step in cash["needs_review"]] == [(400, 12)]
