"""Expenses: what for, at which table, of which venue; and the parts of jobs, posted as they are closed (J3)."""

from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

SPENT = {"kind": "expense", "what": "cloth", "amount": "120.00", "on": "2026-11-20"}


@pytest.fixture
def places(at_noon: TestClient, route: Route) -> dict[str, str]:
    """A venue with a table since 1 November, which went to the workshop on the 15th."""
    assert route.client is at_noon
    venue = route.venue()["id"]
    table = route.table(venue, placed_at="2026-11-01T12:00:00Z")["id"]
    route.post(f"/tables/{table}/moves", {"venue_id": None, "moved_at": "2026-11-15T12:00:00Z"})
    return {"venue": venue, "table": table}


def plain(entry: dict[str, Any]) -> list[tuple[str, str | None, str]]:
    return [(line["account"], line["venue_id"], line["amount"]) for line in entry["postings"]]


def test_an_expense_is_of_the_route_of_a_venue_or_of_a_table(route: Route, places: dict[str, str]) -> None:
    venue, table = places["venue"], places["table"]
    for named, of_venue, of_table in (
        ({}, None, None),
        ({"venue_id": venue}, venue, None),
        ({"table_id": table}, None, table),  # it was in the workshop on that date
        ({"table_id": table, "on": "2026-11-10"}, venue, table),
        ({"table_id": table, "venue_id": venue}, venue, table),
    ):
        entry = route.post("/ledger/entries", {**SPENT, **named})
        assert plain(entry) == [("cloth", of_venue, "120.00"), ("bank", None, "-120.00")]
        assert (entry["venue_id"], entry["table_id"]) == (of_venue, of_table)
        assert route.client.get(f"/v1/ledger/entries/{entry['id']}").json()["table_id"] == of_table
        back = route.post(f"/ledger/entries/{entry['id']}/reversal", {"reason": "Twice.", "on": "2026-11-21"})
        assert (back["table_id"], back["venue_id"]) == (of_table, of_venue)
    assert route.client.get("/v1/ledger/verify").json()["ok"] is True


@pytest.mark.parametrize(
    ("what", "account"),
    [
        ("parts", "parts"), ("cloth", "cloth"), ("repairs", "repairs"), ("fuel", "fuel"), ("wages", "wages"),
        ("other", "other_expenses"),
    ],
)  # fmt: skip
def test_each_expense_has_its_account(route: Route, places: dict[str, str], what: str, account: str) -> None:  # noqa: ARG001
    assert plain(route.post("/ledger/entries", {**SPENT, "what": what}))[0] == (account, None, "120.00")


@pytest.mark.parametrize(
    ("changes", "status", "code", "where"),
    [
        ({"what": None}, 422, "invalid", "what"),
        ({"what": "beer"}, 422, "invalid", "what"),
        ({"kind": "deposit"}, 422, "invalid", "what"),
        ({"account": "bank"}, 422, "invalid", "account"),
        ({"table_id": str(UUID(int=9))}, 404, "not_found", None),
        ({"amount": "0.00"}, 422, "amount_not_positive", "amount"),
    ],
)
def test_an_expense_that_cannot_be(
    route: Route, places: dict[str, str], changes: dict[str, Any], status: int, code: str, where: str | None
) -> None:  # fmt: skip
    assert places
    answer = route.client.post("/v1/ledger/entries", json={**SPENT, **changes})
    problem = answer.json()
    assert (answer.status_code, problem["type"]) == (status, f"/problems/{code}")
    assert [error["where"] for error in problem["errors"]] == ([where] if where else [])


def test_only_kinds_of_a_table_name_one_and_an_expense_must_say_what_for(route: Route, places: dict[str, str]) -> None:
    table = {"table_id": places["table"], "amount": "5.00", "on": "2026-11-20"}
    for body, where in (({"kind": "deposit"}, "table_id"), ({"kind": "expense"}, "what")):
        answer = route.client.post("/v1/ledger/entries", json={**table, **body})
        assert (answer.status_code, [error["where"] for error in answer.json()["errors"]]) == (422, [where])
    assert route.post("/ledger/entries", {**table, "kind": "licence_payment"})["table_id"] == places["table"]
    sold = route.post("/ledger/entries", {**table, "kind": "table_sale"})
    assert plain(sold) == [("bank", None, "5.00"), ("tables_sold", None, "-5.00")]


def test_a_venue_with_another_currency_than_the_tables_is_refused(route: Route, places: dict[str, str]) -> None:
    linde = route.venue(name="Linde", time_zone="Europe/Berlin", currency="EUR")["id"]
    body = {**SPENT, "table_id": places["table"], "venue_id": linde}
    answer = route.client.post("/v1/ledger/entries", json=body)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/currency_differs")


def test_the_parts_of_a_job_are_posted_as_it_is_closed_and_once(route: Route, places: dict[str, str]) -> None:
    job = {"id": str(UUID(int=1)), "table_id": places["table"], "fault": "ball_stuck", "playable": False}
    route.post("/jobs", {**job, "reported_at": "2026-11-10T20:00:00Z"})
    end = {"at": "2026-11-12T04:00:00Z", "found": "A split gutter."}  # before six in New York: of the 11th
    parts = [{"name": "gutter", "cost": "18.50"}, {"name": "screw", "cost": "0.40"}]
    route.post(f"/jobs/{job['id']}/done", {**end, "parts": parts})
    (entry,) = route.client.get("/v1/ledger/entries").json()["items"]
    assert (entry["kind"], entry["on"], entry["reference"]) == ("expense", "2026-11-11", "gutter, screw")
    assert (entry["source_id"], entry["table_id"]) == (job["id"], places["table"])
    assert plain(entry) == [("parts", places["venue"], "18.90"), ("bank", None, "-18.90")]
    again = route.client.post(f"/v1/jobs/{job['id']}/done", json={**end, "parts": parts})
    assert again.is_success
    assert route.client.post(f"/v1/jobs/{job['id']}/done", json={**end, "parts": parts[:1]}).status_code == 409
    free = {**job, "id": str(UUID(int=2)), "reported_at": "2026-11-20T20:00:00Z"}
    route.post("/jobs", free)
    route.post(
        f"/jobs/{free['id']}/done",
        {"at": "2026-11-21T20:00:00Z", "found": "Loose.", "parts": [{**parts[0], "cost": "0"}]},
    )
    assert len(route.client.get("/v1/ledger/entries").json()["items"]) == 1
    assert route.client.get("/v1/ledger/verify").json()["ok"] is True
