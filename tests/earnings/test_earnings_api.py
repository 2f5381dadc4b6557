"""Earnings over HTTP: they add up, agree with the books, and say what is not collected yet."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.cash.conftest import METERS, Till
from tests.conftest import Route


def earned(client: TestClient, query: str = "from=2026-11-01&to=2026-12-01") -> dict[str, Any]:
    response = client.get(f"/v1/reports/earnings?{query}")
    assert response.status_code == 200, response.text
    return response.json()  # type: ignore[no-any-return]


def test_money_belongs_to_the_days_since_the_box_was_last_emptied(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-10-26", 10, cash=40)
    till.collect("2026-11-05", 100, cash=440)
    found = earned(at_noon, "by=venue,month&from=2026-01-01&to=2027-01-01&venue_id=" + till.venue)
    rows = {row["month"]: (row["gross"], row["venue_share"], row["operator_share"]) for row in found["rows"]}
    # Ten days from 27 October to 5 November: five in each month.
    assert rows["2026-11"] == ("50.00", "25.00", "25.00")
    assert {total["currency"]: total["gross"] for total in found["totals"]} == {"USD": "110.00"}
    assert sum(float(gross) for gross, _, _ in rows.values()) == 110.00


def test_a_reading_in_between_decides_when_the_money_came(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.table = till.route.table(till.venue, label="Old", meters=METERS, placed_at="2026-01-01T12:00:00Z")["id"]
    till.collect("2026-10-26", 10, cash=40)
    reading = {"id": "0b9c3c1e-5ad8-7d51-9f39-1f7d5ad0c001", "table_id": till.table, "meters": {"cash": 80}}
    till.route.post("/readings", {"readings": [{**reading, "taken_at": "2026-10-31T22:00:00-04:00"}]})
    till.collect("2026-11-05", 100, cash=440)
    found = earned(at_noon, "by=month&from=2026-10-27&to=2026-12-01")
    assert {row["month"]: row["gross"] for row in found["rows"]} == {"2026-10": "10.00", "2026-11": "90.00"}


def test_earnings_agree_with_the_books(at_noon: TestClient, till: Till) -> None:
    till.agree(first_money=[{"name": "Service", "amount": "10.00", "per": "collection", "starts_on": "2026-01-01"}])
    till.collect("2026-11-03", 90, cash=40, refunds_by_venue="3.00", test_money="2.00")
    reversed_ = till.collect("2026-11-10", 500, cash=400)
    till.reverse(reversed_)
    till.collect("2026-11-10", 77, cash=400)
    (row,) = earned(at_noon, "by=table&from=2026-01-01&to=2027-01-01")["rows"]
    balances = till.balances()
    assert row["venue_share"] == balances["venue_share"]
    takings = sum(float(balances[name]) for name in ("play_takings", "first_money"))
    assert float(row["operator_share"]) == -takings - float(balances["venue_share"])
    assert len(row["collection_ids"]) == 2
    assert reversed_["id"] not in row["collection_ids"]


def test_what_is_not_collected_yet_is_named_and_estimated(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-11-02", 10, cash=40)
    till.collect("2026-11-12", 70, cash=320)
    (open_,) = earned(at_noon)["not_yet_collected"]
    assert (open_["table_id"], open_["from"], open_["to"]) == (till.table, "2026-11-13", "2026-11-26")
    assert open_["estimate"] == "91.00"  # thirteen days at 7.00
    assert earned(at_noon, "from=2026-11-03&to=2026-11-13")["not_yet_collected"] == []


def test_a_period_is_compared_with_the_one_before(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-10-31", 10, cash=40)
    till.collect("2026-11-10", 50, cash=240)
    till.collect("2026-11-20", 80, cash=560)
    (row,) = earned(at_noon, "by=table&from=2026-11-11&to=2026-11-21&compare=before")["rows"]
    assert (row["gross"], row["before"]["gross"], row["gross_change_percent"]) == ("80.00", "50.00", "60.0")
    assert row["table_weeks"] == "1.43"


def test_without_an_agreement_the_money_is_unsettled(at_noon: TestClient, till: Till) -> None:
    till.collect("2026-11-10", 50, cash=240)
    (row,) = earned(at_noon, "by=table&from=2026-01-01&to=2027-01-01")["rows"]
    assert (row["gross"], row["unsettled"], row["venue_share"]) == ("50.00", "50.00", "0.00")


def test_denominations_add_up_to_the_gross(at_noon: TestClient, till: Till) -> None:
    till.agree()
    body = till.body("2026-11-10", 0, cash=240)
    body["tables"][0]["counted"] = {"0.25": 40, "5.00": 8}
    till.route.post("/collections", body)
    rows = earned(at_noon, "by=denomination&from=2026-01-01&to=2027-01-01")["rows"]
    assert {row["denomination"]: row["gross"] for row in rows} == {"0.25": "10.00", "5.00": "40.00"}


def test_the_csv_adds_up_to_the_totals(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-10-26", 10, cash=40)
    till.collect("2026-11-05", 101, cash=440)
    query = "by=venue,week&from=2026-01-01&to=2027-01-01"
    text = at_noon.get(f"/v1/reports/earnings?{query}&format=csv").text
    head, *lines = [line.split(",") for line in text.splitlines()]
    place = head.index("gross")
    assert head[:3] == ["venue_id", "venue", "week"]
    assert sum(int(line[place].replace(".", "")) for line in lines) == 111_00
    assert earned(at_noon, query)["totals"][0]["gross"] == "111.00"


@pytest.mark.parametrize(
    ("query", "where"),
    [
        ("from=2026-11-02&to=2026-11-01", "query.to"),
        ("from=2026-11-01&to=2026-11-01", "query.to"),
        ("from=2000-01-01&to=2099-01-01", "query.to"),
        ("from=2026-11-01&to=2026-12-01&by=moon", "query.by"),
        ("from=2026-11-01&to=2026-12-01&by=venue,venue", "query.by"),
        ("from=2026-11-01&to=2026-12-01&by=month&compare=before", "query.by"),
    ],
)
def test_a_question_without_an_answer_is_refused(at_noon: TestClient, query: str, where: str) -> None:
    response = at_noon.get(f"/v1/reports/earnings?{query}")
    assert (response.status_code, response.json()["errors"][0]["where"]) == (422, where)


EARLY = "from=2020-01-01&to=2020-02-01"


@pytest.mark.parametrize(
    "query", ["earnings?by=week&" + EARLY, "best-and-worst?" + EARLY, "play?" + EARLY, "earnings?format=csv&" + EARLY]
)
@pytest.mark.parametrize("whose", ["", "&venue_id={venue}"])
def test_a_period_before_the_first_collection_is_refused_and_a_route_without_any_answered(
    at_noon: TestClient, till: Till, query: str, whose: str
) -> None:
    path = f"/v1/reports/{query}" + whose.format(venue=till.venue)
    assert at_noon.get(path).status_code == 200
    till.reverse(till.collect("2020-02-03", 5, cash=20))
    till.collect("2026-11-10", 10, cash=40)
    refused = at_noon.get(path)
    assert refused.status_code == 409
    assert "2026-11-10" in refused.text
    till.collect("2020-01-20", 5, cash=20)
    assert at_noon.get(path).status_code == 200


def test_only_the_owner_and_the_accountant_see_earnings(at_noon: TestClient, route: Route, till: Till) -> None:
    address = "/v1/reports/earnings?from=2026-11-01&to=2026-12-01"
    assert at_noon.get(address, headers=route.token("accountant")).status_code == 200
    for headers in (route.token("collector"), route.token("venue", venue_id=till.venue)):
        assert at_noon.get(address, headers=headers).status_code == 403


def test_rows_by_agreement_name_the_agreement_and_the_entries_that_book_them(at_noon: TestClient, till: Till) -> None:
    first = till.agree()["id"]
    made = till.collect("2026-11-03", 90, cash=40)
    till.agree(effective_on="2026-11-04", venue_percent="40")
    till.collect("2026-11-10", 50, cash=400)
    rows = earned(at_noon, "by=agreement&from=2026-01-01&to=2027-01-01")["rows"]
    assert {row["gross"] for row in rows} == {"90.00", "50.00"}
    row = next(row for row in rows if row["agreement_id"] == first)
    assert (row["entry_ids"], row["collection_ids"]) == ([made["entry_id"]], [made["id"]])
    assert at_noon.get(f"/v1/ledger/entries/{row['entry_ids'][0]}").status_code == 200


def test_shared_expenses_lower_the_profit_of_the_tables_that_share_them(at_noon: TestClient, till: Till) -> None:
    till.agree()
    till.collect("2026-11-10", 50, cash=240)
    fuel = {"kind": "expense", "what": "fuel", "amount": "12.00", "on": "2026-11-09", "currency": "USD"}
    till.route.post("/ledger/entries", fuel)
    query = "by=table&from=2026-01-01&to=2027-01-01"
    assert {(row["table_id"], row["expenses"]) for row in earned(at_noon, query)["rows"]} == {
        (None, "12.00"), (till.table, "0.00"),
    }  # fmt: skip
    shared = earned(at_noon, f"{query}&shared_by=gross")
    (row,) = shared["rows"]
    assert (row["expenses"], row["profit"], shared["totals"][0]["profit"]) == ("12.00", "13.00", "13.00")
    assert len(row["expense_entry_ids"]) == 1


def test_days_out_of_order_earn_nothing_and_are_no_weeks_of_a_table(at_noon: TestClient, till: Till) -> None:
    """Out of order from the start of 4 November to the end of the 8th, and since the 20th (J2)."""
    till.agree()
    till.collect("2026-11-02", 10, cash=40)
    till.collect("2026-11-12", 70, cash=320)
    for number, start, end in ((1, "2026-11-04T11:00:00Z", "2026-11-09T11:00:00Z"), (2, "2026-11-20T11:00:00Z", None)):
        job = {"id": f"00000000-0000-4000-8000-00000000000{number}", "table_id": till.table, "fault": "no_power"}
        till.route.post("/jobs", {**job, "reported_at": start, "playable": False})
        if end is not None:
            till.route.post(f"/jobs/{job['id']}/done", {"at": end, "found": "A fuse."})
    found = earned(at_noon, "by=week&from=2026-11-03&to=2026-11-13")
    assert [(row["week"], row["gross"], row["table_weeks"]) for row in found["rows"]] == [
        ("2026-11-02", "14.00", "0.14"),  # Tuesday the 3rd alone
        ("2026-11-09", "56.00", "0.57"),  # Monday to Thursday
    ]
    (open_,) = earned(at_noon)["not_yet_collected"]
    assert open_["estimate"] == "98.00"  # seven days in order, to the 19th, at 14.00
