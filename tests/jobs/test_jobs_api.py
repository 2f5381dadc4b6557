"""Jobs over HTTP: reported once, mended by somebody, closed once, and reported by table and part."""

import csv
import io
from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from tests.conftest import Route

METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 5, "resets": "never"}]
PLACED = "2026-11-01T12:00:00Z"


class Workshop:
    """A venue with a table, and jobs at it; every report has an id of its own."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route, self.made = client, route, 0
        self.venue = route.venue()["id"]
        self.table = route.table(self.venue, placed_at=PLACED, meters=METERS)["id"]

    def body(self, **changes: Any) -> dict[str, Any]:
        self.made += 1
        return {
            "id": str(UUID(int=self.made)),
            "table_id": self.table,
            "reported_at": "2026-11-20T20:00:00Z",
            "fault": "ball_stuck",
            "playable": False,
            **changes,
        }

    def report(self, **changes: Any) -> dict[str, Any]:
        return self.route.post("/jobs", self.body(**changes))

    def close(self, job: dict[str, Any], **changes: Any) -> dict[str, Any]:
        return self.route.post(
            f"/jobs/{job['id']}/done", {"at": "2026-11-22T20:00:00Z", "found": "A split gutter.", **changes}
        )

    def refused(self, path: str, body: dict[str, Any], **options: Any) -> tuple[int, str, list[str]]:
        answer = self.client.post(f"/v1{path}", json=body, **options)
        problem = answer.json()
        places = [error["where"] for error in problem["errors"]]
        return answer.status_code, problem["type"].removeprefix("/problems/"), places

    def listed(self, headers: dict[str, str] | None = None, **query: str) -> list[str]:
        answer = self.client.get("/v1/jobs", params=query, headers=headers)
        assert answer.is_success, answer.text
        return [job["id"] for job in answer.json()["items"]]


@pytest.fixture
def shop(at_noon: TestClient, route: Route) -> Workshop:
    """A venue with a table since 1 November, on 25 November at noon in New York."""
    return Workshop(at_noon, route)


def test_a_job_goes_from_report_to_done(shop: Workshop) -> None:
    job = shop.report(words="The cue ball does not come back.")
    assert (job["state"], job["person"], job["done"], job["venue_id"]) == ("open", None, None, shop.venue)
    job = shop.route.post(f"/jobs/{job['id']}/assignment", {"person": "Rosalind"})
    assert (job["state"], job["person"]) == ("assigned", "Rosalind")
    job = shop.route.post(f"/jobs/{job['id']}/waiting", {"words": "A gutter, until Friday."})
    assert (job["state"], job["person"]) == ("waiting_for_parts", "Rosalind")
    job = shop.route.post(f"/jobs/{job['id']}/assignment", {"person": "Bram"})
    done = shop.close(
        job,
        parts=[{"name": "gutter", "cost": "18.50"}, {"name": "screw", "cost": "0.40"}],
        minutes=35,
        meters_before={"cash": 10},
        meters_after={"cash": 13},
        test_money="0.75",
    )
    assert done["state"] == "done"
    assert done["person"] == "Bram"
    assert [(step["state"], step["person"], step["words"]) for step in done["steps"]] == [
        ("assigned", "Rosalind", ""),
        ("waiting_for_parts", "", "A gutter, until Friday."),
        ("assigned", "Bram", ""),
    ]
    end = done["done"]
    assert (end["at"], end["found"], end["cost"], end["minutes"]) == (
        "2026-11-22T20:00:00Z", "A split gutter.", "18.90", 35,
    )  # fmt: skip
    assert (end["meters_before"], end["meters_after"], end["test_money"]) == ({"cash": 10}, {"cash": 13}, "0.75")
    assert shop.client.get(f"/v1/jobs/{job['id']}").json() == done


def test_a_phone_call_closes_a_job_without_parts(shop: Workshop) -> None:
    done = shop.close(shop.report(playable=True), found="It was not plugged in.")
    assert (done["done"]["parts"], done["done"]["cost"], done["done"]["minutes"]) == ([], "0.00", None)


def test_the_same_report_again_is_answered_and_changes_nothing(shop: Workshop) -> None:
    body = shop.body(words="Stuck.")
    first = shop.route.post("/jobs", body)
    shop.route.post(f"/jobs/{first['id']}/assignment", {"person": "Bram"})
    assert shop.route.post("/jobs", body)["state"] == "assigned"
    assert shop.listed() == [first["id"]]
    for name, value in (
        ("fault", "lamp_out"),
        ("playable", True),
        ("words", ""),
        ("reported_at", "2026-11-20T20:00:01Z"),
    ):
        assert shop.refused("/jobs", {**body, name: value}) == (409, "same_id_other_content", [name])
    other = shop.route.table(shop.venue, placed_at=PLACED)["id"]
    assert shop.refused("/jobs", {**body, "table_id": other}) == (409, "same_id_other_content", ["id"])


@pytest.mark.parametrize(
    ("changes", "status", "code", "places"),
    [
        ({"table_id": str(UUID(int=99))}, 404, "not_found", []),
        ({"reported_at": "2026-11-25T17:06:00Z"}, 422, "invalid", ["reported_at"]),
        ({"fault": "haunted"}, 422, "invalid", ["fault"]),
        ({"playable": "no"}, 422, "invalid", ["playable"]),
        ({"playable": None}, 422, "invalid", ["playable"]),
        ({"reported_at": "2026-11-20T20:00:00"}, 422, "invalid", ["reported_at"]),
        ({"words": "x" * 2001}, 422, "invalid", ["words"]),
    ],
)
def test_a_report_that_cannot_be(
    shop: Workshop, changes: dict[str, Any], status: int, code: str, places: list[str]
) -> None:
    assert shop.refused("/jobs", shop.body(**changes)) == (status, code, places)
    assert shop.listed() == []


@pytest.mark.parametrize(
    ("changes", "code", "places"),
    [
        ({"at": "2026-11-20T19:59:59Z"}, "invalid", ["at"]),
        ({"at": "2026-11-25T17:06:00Z"}, "invalid", ["at"]),
        ({"found": ""}, "invalid", ["found"]),
        ({"minutes": -1}, "invalid", ["minutes"]),
        ({"meters_before": {"plays": 3}}, "invalid", ["meters_before.plays"]),
        ({"meters_after": {"cash": 100_000}}, "invalid", ["meters_after.cash"]),
        ({"test_money": "0.001"}, "bad_money", ["test_money"]),
        ({"parts": [{"name": "gutter", "cost": "1.00"}, {"name": "felt", "cost": "1.001"}]}, "bad_money", ["parts[1].cost"]),
        ({"parts": [{"name": "", "cost": "1.00"}]}, "invalid", ["parts[0].name"]),
    ],
)  # fmt: skip
def test_an_end_that_cannot_be(shop: Workshop, changes: dict[str, Any], code: str, places: list[str]) -> None:
    job = shop.report()
    end = {"at": "2026-11-22T20:00:00Z", "found": "A split gutter.", **changes}
    assert shop.refused(f"/jobs/{job['id']}/done", end) == (422, code, places)
    assert shop.client.get(f"/v1/jobs/{job['id']}").json() == job


def test_a_job_is_closed_once_and_takes_no_step_after(shop: Workshop) -> None:
    job = shop.report()
    shop.close(job)
    end = {"at": "2026-11-22T20:00:00Z", "found": "Something else."}
    for path, body in (("done", end), ("assignment", {"person": "Bram"}), ("waiting", {})):
        assert shop.refused(f"/jobs/{job['id']}/{path}", body) == (409, "already_done", [])


def test_a_venue_reports_and_reads_its_own_and_no_costs(shop: Workshop, route: Route) -> None:
    elsewhere = route.venue(name="The Tin Fiddle")["id"]
    other = route.table(elsewhere, placed_at=PLACED)["id"]
    theirs = shop.report(table_id=other)
    venue = route.token("venue", venue_id=shop.venue)
    body = shop.body()
    mine = shop.client.post("/v1/jobs", json=body, headers=venue)
    assert mine.status_code == 201
    assert shop.listed(venue) == [body["id"]]
    assert shop.listed(venue, table_id=shop.table) == [body["id"]]
    assert shop.client.get(f"/v1/jobs/{theirs['id']}", headers=venue).status_code == 404
    assert shop.client.get("/v1/jobs", params={"table_id": other}, headers=venue).status_code == 404
    assert shop.client.get("/v1/jobs", params={"venue_id": elsewhere}, headers=venue).status_code == 404
    assert shop.refused("/jobs", shop.body(table_id=other), headers=venue) == (404, "not_found", [])
    taken = shop.refused("/jobs", {**shop.body(), "id": theirs["id"]}, headers=venue)
    assert taken == (409, "same_id_other_content", ["id"])
    assert shop.refused(f"/jobs/{body['id']}/assignment", {"person": "Bram"}, headers=venue)[0] == 403
    shop.close(body, parts=[{"name": "gutter", "cost": "18.50"}], minutes=20, test_money="0.75")
    end = shop.client.get(f"/v1/jobs/{body['id']}", headers=venue).json()["done"]
    assert (end["parts"], end["cost"]) == ([{"name": "gutter", "cost": None}], None)
    assert (end["minutes"], end["test_money"]) == (None, None)


def test_a_table_that_has_moved_away_keeps_its_old_jobs_at_the_old_venue(shop: Workshop, route: Route) -> None:
    job = shop.report(reported_at="2026-11-10T20:00:00Z")
    elsewhere = route.venue(name="The Tin Fiddle")["id"]
    route.post(f"/tables/{shop.table}/moves", {"venue_id": elsewhere, "moved_at": "2026-11-15T12:00:00Z"})
    later = shop.report()
    old, new = (route.token("venue", venue_id=venue) for venue in (shop.venue, elsewhere))
    assert shop.listed(old) == [job["id"]]
    assert shop.listed(new) == [later["id"]]
    assert shop.listed(venue_id=shop.venue) == [job["id"]]
    late = shop.body(reported_at="2026-11-11T20:00:00Z")
    assert shop.client.post("/v1/jobs", json=late, headers=old).status_code == 201
    assert shop.refused("/jobs", shop.body(reported_at="2026-11-11T20:00:00Z"), headers=new)[0] == 404


def test_jobs_are_listed_by_state_and_in_pages(shop: Workshop) -> None:
    jobs = [shop.report(reported_at=f"2026-11-{20 - i}T20:00:00Z")["id"] for i in range(4)]
    shop.route.post(f"/jobs/{jobs[1]}/assignment", {"person": "Bram"})
    shop.route.post(f"/jobs/{jobs[2]}/assignment", {"person": "Bram"})
    shop.route.post(f"/jobs/{jobs[2]}/waiting", {})
    shop.close({"id": jobs[3]})
    states = ("open", "assigned", "waiting_for_parts", "done")
    assert [shop.listed(state=state) for state in states] == [[job] for job in jobs]
    assert shop.listed() == jobs
    pages = [shop.listed(limit="2"), shop.listed(limit="2", after=jobs[1])]
    assert pages == [jobs[:2], jobs[2:]]
    first = shop.client.get("/v1/jobs", params={"limit": 3})
    assert first.json()["next"] == jobs[2]
    assert first.headers["Link"] == f'</v1/jobs?limit=3&after={jobs[2]}>; rel="next"'
    assert shop.client.get("/v1/jobs", params={"after": str(UUID(int=99))}).status_code == 422


def test_faults_of_a_period_by_table_and_by_part(shop: Workshop, route: Route) -> None:
    second = route.table(shop.venue, label="=Back", placed_at=PLACED)["id"]
    shop.close(shop.report(), parts=[{"name": "gutter", "cost": "18.50"}], minutes=35)  # two days
    shop.close(shop.report(reported_at="2026-11-21T20:00:00Z"), at="2026-11-23T20:00:00Z",
               parts=[{"name": "gutter", "cost": "19.50"}, {"name": "screw", "cost": "0.40"}])  # a third  # fmt: skip
    shop.report(fault="lamp_out", playable=True, reported_at="2026-11-24T20:00:00Z")
    shop.report(table_id=second, fault="no_power", reported_at="2026-11-24T17:00:00Z")  # a day until noon
    shop.close(shop.report(reported_at="2026-11-02T12:00:00Z"), at="2026-11-03T12:00:00Z",
               parts=[{"name": "cue tip", "cost": "2.00"}])  # fmt: skip
    query = {"from": "2026-11-04", "to": "2026-11-30"}
    report = shop.client.get("/v1/reports/faults", params=query).json()
    assert report == {
        "from": "2026-11-04",
        "to": "2026-11-30",
        "tables": [
            {
                "table_id": shop.table, "label": "Window side", "reported": 3, "open": 1, "days_out_of_order": "3.00",
                "minutes": 35, "cost": "38.40", "currency": "USD",
                "faults": [{"fault": "ball_stuck", "reported": 2}, {"fault": "lamp_out", "reported": 1}],
            },
            {
                "table_id": second, "label": "=Back", "reported": 1, "open": 1, "days_out_of_order": "1.00",
                "minutes": 0, "cost": "0.00", "currency": "USD", "faults": [{"fault": "no_power", "reported": 1}],
            },
        ],
        "parts": [
            {"name": "gutter", "currency": "USD", "used": 2, "cost": "38.00"},
            {"name": "screw", "currency": "USD", "used": 1, "cost": "0.40"},
        ],
    }  # fmt: skip
    answer = shop.client.get("/v1/reports/faults", params={**query, "format": "csv"})
    assert answer.headers["content-type"] == "text/csv; header=present; charset=utf-8"
    lines = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(x["label"], x["days_out_of_order"], x["cost"], x["ball_stuck"], x["no_power"]) for x in lines] == [
        ("Window side", "3.00", "38.40", "2", "0"),
        ("'=Back", "1.00", "0.00", "0", "1"),
    ]
    parts = shop.client.get("/v1/reports/faults", params={**query, "format": "csv", "of": "parts"}).text
    assert parts == "part,used,cost,currency\r\ngutter,2,38.00,USD\r\nscrew,1,0.40,USD\r\n"
    earlier = shop.client.get("/v1/reports/faults", params={"from": "2026-11-01", "to": "2026-11-03"}).json()
    assert [(x["cost"], x["days_out_of_order"]) for x in earlier["tables"]] == [("2.00", "1.00")]
    backwards = shop.client.get("/v1/reports/faults", params={"from": "2026-11-05", "to": "2026-11-04"})
    assert (backwards.status_code, backwards.json()["type"]) == (422, "/problems/period_backwards")


def test_a_day_of_the_report_is_a_trading_day_of_the_venue(shop: Workshop) -> None:
    """The day of 20 November begins at 06:00 in New York, 11:00 UTC, and ends a day later."""
    for at in ("2026-11-20T10:59:59Z", "2026-11-20T11:00:00Z", "2026-11-21T10:59:59Z", "2026-11-21T11:00:00Z"):
        shop.report(reported_at=at, playable=True)
    report = shop.client.get("/v1/reports/faults", params={"from": "2026-11-20", "to": "2026-11-20"}).json()
    assert [(table["reported"], table["open"]) for table in report["tables"]] == [(2, 3)]


@pytest.mark.parametrize("table", ["job", "job_step", "job_done", "job_part"])
def test_nothing_of_a_job_can_be_changed_or_deleted(shop: Workshop, engine: Engine, table: str) -> None:
    job = shop.report()
    shop.route.post(f"/jobs/{job['id']}/assignment", {"person": "Bram"})
    shop.close(job, parts=[{"name": "gutter", "cost": "18.50"}])
    column = "id" if table == "job" else "job_id"
    for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"):
        with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
            connection.execute(text(statement))


def test_the_same_closing_again_is_answered_and_posts_nothing(shop: Workshop) -> None:
    job, parts = shop.report(), [{"name": "fuse", "cost": "1.20"}]
    first = shop.close(job, parts=parts, meters_after={"cash": 13})
    entries = shop.client.get("/v1/ledger/entries").json()
    assert shop.close(job, parts=parts, meters_after={"cash": 13}) == first
    assert shop.client.get("/v1/ledger/entries").json() == entries
    body = {"at": "2026-11-22T20:00:00Z", "found": "A split gutter.", "meters_after": {"cash": 13}}
    for changes in ({}, {"parts": [{"name": "fuse", "cost": "1.30"}]}, {"parts": parts, "minutes": 5}):
        assert shop.refused(f"/jobs/{job['id']}/done", {**body, **changes}) == (409, "already_done", [])
