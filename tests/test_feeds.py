"""Feeds of what has changed: in order, nothing skipped and nothing twice, also while others write (L4)."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import UUID, uuid4

import pytest
from baizebook.store.feeds import note_changes
from fastapi.testclient import TestClient
from sqlmodel import Session

from tests.conftest import NOON, Route, patiently
from tests.test_batches import Phone, phone  # noqa: F401  (a fixture)

FEEDS = {"collections": "collection", "jobs": "job", "keyings": "keying", "worklist": "work"}


class Follower:
    """Reads a feed from where it has got to, page by page, and keeps what it has seen."""

    def __init__(self, client: TestClient, feed: str, *, limit: int = 2) -> None:
        self.client, self.feed, self.limit = client, feed, limit
        self.last = 0
        self.numbers: list[int] = []
        self.seen: dict[str, Any] = {}

    def catch_up(self) -> list[str]:
        """Read on to the end of the feed; return the ids of what came."""
        return [item["id"] for item in self._items()]

    def _items(self) -> Iterator[dict[str, Any]]:
        while True:
            query = {"after": self.last, "limit": self.limit}
            answer = patiently(lambda: self.client.get(f"/v1/{self.feed}/changes", params=query))  # noqa: B023
            assert answer.status_code == 200, answer.text
            page = answer.json()
            for item in page["items"]:
                self.numbers.append(item["number"])
                self.seen[item["id"]] = item[FEEDS[self.feed]]
                self.last = item["number"]
                yield item
            if page["next"] is None:
                return
            assert page["next"] == self.last
            assert f"after={self.last}" in answer.headers["Link"]


def follow(client: TestClient, feed: str, **options: int) -> Follower:
    follower = Follower(client, feed, **options)
    follower.catch_up()
    return follower


def state_of(seen: dict[str, Any]) -> Any:
    """Return what of a thing is recorded; what a collection was expected to hold is judged by its neighbours."""
    return {name: seen[name] for name in ("status", "state", "person", "steps", "reversal", "counted") if name in seen}


def test_each_change_of_state_brings_a_collection_again(phone: Phone) -> None:  # noqa: F811
    first, second = phone.collection(18), phone.collection(19)
    assert phone.send("collections", [first, second, 7])["recorded"] == 2
    follower = Follower(phone.client, "collections")
    assert follower.catch_up() == [first["id"], second["id"]]
    assert follower.catch_up() == []
    dispute = {"by": "Odile", "claims": "20.00 more", "reason": "Refunds."}
    path = f"/collections/{first['id']}/disputes"
    made = phone.route.post(path, dispute)
    assert follower.catch_up() == [first["id"]]
    phone.route.post(f"{path}/{made['id']}/answer", {"by": "Bram", "answer": "Found."})
    phone.route.post(f"/collections/{second['id']}/reversal", {"reason": "Twice."})
    assert follower.catch_up() == [first["id"], second["id"]]
    assert follower.seen[second["id"]]["status"] == "reversed"
    assert follower.seen[first["id"]]["disputes"][0]["answer"] == "Found."
    phone.send("collections", [first])
    assert follower.catch_up() == [], "a duplicate changes nothing"
    assert follow(phone.client, "collections").seen == follower.seen


def test_a_collection_that_is_settled_later_comes_again(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    table = route.table(venue, placed_at="2026-10-01T12:00:00Z")["id"]
    id_ = str(uuid4())
    box = {"table_id": table, "counted": {"1.00": 4}}
    route.post("/collections", {"id": id_, "venue_id": venue, "collected_at": "2026-11-20T12:00:00Z", "tables": [box]})
    follower = follow(at_noon, "collections")
    assert follower.seen[id_]["status"] == "unsettled"
    route.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    route.post(f"/collections/{id_}/settle", {})
    assert follower.catch_up() == [id_]
    assert follower.seen[id_]["status"] == "settled"


def test_each_step_brings_a_job_again_and_a_void_a_keying(phone: Phone) -> None:  # noqa: F811
    job, keying = phone.job(), phone.keying()
    phone.send("jobs", [job])
    phone.send("keyings", [keying])
    jobs, keyings = Follower(phone.client, "jobs"), Follower(phone.client, "keyings")
    states = []
    for path, body in (
        ("assignment", {"person": "Bram"}),
        ("waiting", {"words": "A lamp."}),
        (
            "done",
            {"at": "2026-11-22T20:00:00Z", "found": "A lamp was out.", "parts": [{"name": "lamp", "cost": "4.00"}]},
        ),
    ):
        jobs.catch_up()
        states.append(jobs.seen[job["id"]]["state"])
        phone.route.post(f"/jobs/{job['id']}/{path}", body)
    assert jobs.catch_up() == [job["id"]]
    assert [*states, jobs.seen[job["id"]]["state"]] == ["open", "assigned", "waiting_for_parts", "done"]
    assert jobs.seen[job["id"]]["done"]["cost"] == "4.00"
    assert keyings.catch_up() == [keying["id"]]
    phone.route.post(f"/keyings/{keying['id']}/void", {"reason": "Another table."})
    assert keyings.catch_up() == [keying["id"]]
    assert keyings.seen[keying["id"]]["voided"]["reason"] == "Another table."


def test_work_comes_up_and_leaves(phone: Phone) -> None:  # noqa: F811
    phone.send("collections", [phone.collection(18)])
    short = phone.collection(19, counts=8)
    phone.send("collections", [short])
    work = follow(phone.client, "worklist")
    (difference,) = [item for item in work.seen.values() if item and item["code"] == "difference"]
    assert difference["refers_to"] == short["id"]
    listed = phone.client.get("/v1/worklist").json()["items"]
    assert {item["id"] for item in listed} <= set(work.seen)
    assert work.catch_up() == []
    phone.route.post(f"/worklist/{difference['id']}/deferral", {"until": "2026-12-01", "reason": "After the holiday."})
    assert work.catch_up() == [difference["id"]]
    words = {"outcome": "found", "words": "Behind the chute."}
    phone.route.post(f"/worklist/{difference['id']}/completion", words)
    assert work.catch_up() == [difference["id"]]
    assert work.seen[difference["id"]] is None
    phone.route.post(f"/collections/{short['id']}/reversal", {"reason": "Twice."})
    assert difference["id"] not in work.catch_up()


def test_while_many_write_nothing_is_skipped_and_nothing_comes_twice(phone: Phone) -> None:  # noqa: F811
    """Three write jobs and collections and change them; one follows all the while; what it has is what there is."""
    client = phone.client
    batches = [[phone.job(day, at=at) for at in (0, 1)] for day in range(10, 19)]
    boxes = [phone.collection(day, at=day % 2) for day in range(10, 19)]

    def post(path: str, body: dict[str, Any]) -> None:
        answer = patiently(lambda: client.post(f"/v1{path}", json=body))
        assert answer.is_success, answer.text

    def write(part: int) -> None:
        for jobs, box in list(zip(batches, boxes, strict=True))[part::3]:
            post("/jobs/batch", {"jobs": jobs})
            post("/collections", box)
            post(f"/jobs/{jobs[part % 2]['id']}/assignment", {"person": "Bram"})
            post(f"/collections/{box['id']}/reversal", {"reason": "Twice."})

    followers = [Follower(client, feed) for feed in ("jobs", "collections")]
    with ThreadPoolExecutor(3) as threads:
        writing = [threads.submit(write, part) for part in range(3)]
        while not all(one.done() for one in writing):
            for follower in followers:
                follower.catch_up()
        for one in writing:
            one.result()
    for follower in followers:
        follower.catch_up()
        assert follower.numbers == sorted(set(follower.numbers))
        whole = follow(client, follower.feed, limit=500)
        assert {id_: state_of(seen) for id_, seen in follower.seen.items()} == {
            id_: state_of(seen) for id_, seen in whole.seen.items()
        }
        assert follower.last == whole.last
    assert len(followers[0].seen) == 18
    assert {item["status"] for item in followers[1].seen.values()} == {"reversed"}


def test_what_is_noted_twice_in_a_transaction_comes_once_at_its_last_number(session: Session) -> None:
    first, second = uuid4(), uuid4()
    note_changes(session, "jobs", [first, second, first], now=NOON)
    note_changes(session, "jobs", [first], now=NOON)
    rows = session.connection().exec_driver_sql("SELECT subject_id, number FROM last_change ORDER BY number").all()
    assert [(UUID(str(id_)), number) for id_, number in rows] == [(second, 2), (first, 3)]


@pytest.mark.parametrize("after", ["-1", "x", str(2**63)])
def test_a_place_that_is_none_is_refused(at_noon: TestClient, after: str) -> None:
    assert at_noon.get("/v1/jobs/changes", params={"after": after}).status_code == 422
    assert at_noon.get("/v1/jobs/changes", params={"after": str(2**63 - 1)}).json() == {"items": [], "next": None}
