"""Who sees what: an accountant posts only if the token says so; a collector and a venue find their own from nothing."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.cash.conftest import METERS, Till
from tests.conftest import Route

ENTRY = {"kind": "expense", "what": "cloth", "amount": "12.00", "on": "2026-11-24", "currency": "USD"}


@pytest.fixture
def till(at_noon: TestClient, route: Route) -> Till:
    """A venue with a table and an agreement."""
    till = Till(at_noon, route)
    till.agree()
    return till


def ask(till: Till, path: str, headers: dict[str, str], *, status: int = 200) -> Any:
    answer = till.client.get(f"/v1{path}", headers=headers)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_an_accountant_posts_entries_only_if_the_token_says_so(till: Till, route: Route) -> None:
    reader, poster = route.token("accountant"), route.token("accountant", may_post=True)
    refused = till.client.post("/v1/ledger/entries", json=ENTRY, headers=reader)
    assert (refused.status_code, refused.json()["code"]) == (403, "forbidden")
    assert "may not post" in refused.json()["detail"]
    posted = till.client.post("/v1/ledger/entries", json=ENTRY, headers=poster)
    assert posted.status_code == 201
    path = f"/v1/ledger/entries/{posted.json()['id']}/reversal"
    reversal = {"on": "2026-11-25", "reason": "twice"}
    assert till.client.post(path, json=reversal, headers=reader).status_code == 403
    assert till.client.post(path, json=reversal, headers=poster).status_code == 201
    for headers, may_post in ((reader, False), (poster, True)):
        me = ask(till, "/me", headers)
        assert (me["may_post"], "post_ledger_entry" in me["operations"]) == (may_post, may_post)
    assert till.client.post("/v1/tariffs", json={}, headers=poster).status_code == 403
    listed = ask(till, "/tokens", {})["items"]
    assert [token["may_post"] for token in listed] == [False, True]


def test_only_an_accountants_token_is_asked_whether_it_may_post(till: Till) -> None:
    body = {"name": "Ana's phone", "role": "collector", "may_post": True}
    answer = till.client.post("/v1/tokens", json=body)
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (422, "may_post")


def test_a_collector_sees_no_other_persons_cash_no_earnings_and_no_charts(till: Till, route: Route) -> None:
    ana, ben = route.token("collector", person="Ana"), route.token("collector", person="Ben")
    theirs = till.collect("2026-10-03", 10, cash=0, collector="Ana", bag="B-7")
    own = till.collect("2026-10-10", 50, cash=200, collector="Ben", bag="B-8")
    assert [row["id"] for row in ask(till, "/collections", ben)["items"]] == [own["id"]]
    assert [row["id"] for row in ask(till, "/collections/changes", ben)["items"]] == [own["id"]]
    path = f"/collections/{theirs['id']}"
    ask(till, path, ben, status=404)
    said = {"by": "Ben", "claims": "less", "reason": "a doubt"}
    for below, body in (("reversal", {"reason": "x"}), ("settle", None), ("disputes", said)):
        assert till.client.post(f"/v1{path}/{below}", json=body, headers=ben).status_code == 404
    assert ask(till, path, ana)["counted"] == "10.00"
    for report in ("/reports/earnings?from=2026-10-01&to=2026-11-01", "/reports/differences?collector=Ana"):
        ask(till, report, ben, status=403)
    ask(till, f"/reports/differences?table_id={till.table}", ben, status=403)
    ask(till, f"/venues/{till.venue}/statements?month=2026-10", ben, status=403)
    ask(till, "/ledger/accounts", ben, status=403)
    cash = ask(till, "/reports/cash-in-hand", ben)
    assert "Ana" not in str(cash)
    assert "B-7" not in str(cash)
    bags = [item["reason"] for item in ask(till, "/worklist", ben)["items"] if item["code"] == "bag_not_banked"]
    assert [reason.startswith("Bag B-8, collected by Ben") for reason in bags] == [True]
    assert "B-7" not in till.client.get("/v1/worklist/changes", headers=ben).text
    assert "B-7" in till.client.get("/v1/worklist", headers=ana).text
    assert (
        "tax_number" not in ask(till, f"/venues/{till.venue}", ben)
        or not ask(till, f"/venues/{till.venue}", ben)["tax_number"]
    )


def test_a_venue_finds_itself_its_tables_its_money_and_raises_its_own_disputes_from_nothing_but_its_token(
    till: Till, route: Route
) -> None:
    elsewhere = route.venue(name="The Tin Heron", contact="Bo, 555 0100")["id"]
    route.table(elsewhere, label="Elsewhere", meters=METERS)
    collected = till.collect("2026-11-10", 40, cash=0, collector="Ana")
    headers = route.token("venue", venue_id=till.venue)
    me = ask(till, "/me", headers)
    assert (me["role"], me["venue_id"]) == ("venue", till.venue)
    (venue,) = ask(till, "/venues", headers)["items"]
    assert (venue["id"], venue["name"]) == (till.venue, "The Copper Lantern")
    (table,) = ask(till, f"/venues/{venue['id']}/tables", headers)["items"]
    assert table["label"] == "Window side"
    quote = ask(till, f"/quotes?table_id={table['id']}&money=3.00", headers)
    assert quote["offers"][0]["units"] == 3
    assert len(ask(till, f"/venues/{venue['id']}/week?on=2026-11-25", headers)["days"]) == 7
    ask(till, f"/tables/{table['id']}/health", headers)
    reading = {"id": str(uuid4()), "table_id": table["id"], "taken_at": "2026-11-25T16:00:00Z", "meters": {"cash": 9}}
    assert till.client.post("/v1/readings", json={"readings": [reading]}, headers=headers).json()["recorded"] == 1
    locked = {**reading, "id": str(uuid4()), "done": ["meters_reset"]}
    assert till.client.post("/v1/readings", json={"readings": [locked]}, headers=headers).json()["refused"] == 1
    fault = {"id": str(uuid4()), "table_id": table["id"], "reported_at": "2026-11-25T16:00:00Z"}
    job = till.client.post("/v1/jobs", json={**fault, "fault": "money_refused", "playable": True}, headers=headers)
    assert job.status_code == 201
    (seen,) = ask(till, "/collections", headers)["items"]
    assert seen["id"] == collected["id"]
    assert ask(till, f"/venues/{venue['id']}/statements?month=2026-11", headers)["lines"]
    dispute = {"by": "the landlord", "claims": "50.00", "reason": "a note is missing"}
    path = f"/v1/collections/{seen['id']}/disputes"
    assert till.client.post(path, json=dispute, headers=headers).status_code == 201
    for closed in ("/worklist", "/tables", "/reports/earnings?from=2026-11-01&to=2026-11-30", "/ledger/accounts"):
        ask(till, closed, headers, status=403)
    for absent in (f"/venues/{elsewhere}", f"/venues/{elsewhere}/tables", f"/quotes?venue_id={elsewhere}&money=1.00"):
        ask(till, absent, headers, status=404)
