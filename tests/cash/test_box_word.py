"""The word at the box (C10), and what an expectation says of itself (C3, C4)."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest

from tests.cash.conftest import METERS, Till
from tests.conftest import Route


def word(told: dict[str, Any]) -> str | None:
    found = told["tables"][0]["word"]
    return None if found is None else str(found["code"])


@pytest.mark.parametrize(
    ("dollars", "changes", "code", "says"),
    [
        (100, {}, None, ""),
        (105, {}, None, ""),  # a twentieth is tolerated, as on the worklist
        (106, {}, "over", "6.00 over, 6.0 % of 100.00 expected. Count again"),
        (94, {}, "short", "6.00 short, 6.0 % of 100.00 expected. Count again"),
        (0, {"counted": {"20.00": 8, "1.00": 20}}, "counted_twice", "about half of the 8 of 20.00"),
        (0, {"counted": {"2.00": 1, "1.00": 98}}, "denomination_not_taken", "Is it the right box?"),
        (100, {"weighed_g": {"1.00": "900"}}, "weight_differs", "Count again."),
        (0, {"refunds_from_box": "100.01"}, "refunds_exceed_expected", "100.01 was refunded"),
        (100, {"meters": {"cash": 400, "plays": 0}}, "meter_did_not_move", "The meter plays did not move since"),
        (100, {"meters": {"cash": 400, "plays": 300}}, "meters_disagree", "Read them again"),
    ],
)
def test_the_word_says_what_is_odd_and_what_to_do(
    till: Till, dollars: int, changes: dict[str, Any], code: str | None, says: str
) -> None:
    till.collect("2026-10-03", 10, meters={"cash": 0, "plays": 0})
    body = till.body("2026-10-10", dollars, cash=400, **changes)
    previewed = till.client.post("/v1/collections/preview", json=body).json()
    recorded = till.route.post("/collections", body)
    assert word(recorded) == code
    assert (previewed["word"], previewed["tables"][0]["word"]) == (recorded["word"], recorded["tables"][0]["word"])
    if code is None:
        assert recorded["word"] is None
    else:
        assert recorded["word"] == f"Window side: {recorded['tables'][0]['word']['text']}"
        assert says in recorded["word"]
    worklist = till.client.get("/v1/worklist").json()["items"]
    assert any(item["code"] == "difference" for item in worklist) == (code in ("over", "short", "counted_twice"))


def report(till: Till, at: str, *, done_at: str | None = None, test_money: str = "0.00") -> None:
    """Report that nobody can play from one day on, until a day on which the job is done."""
    id_ = str(uuid4())
    fault = {"id": id_, "table_id": till.table, "reported_at": f"{at}T12:00:00Z", "fault": "money_refused"}
    till.route.post("/jobs", {**fault, "playable": False})
    if done_at is not None:
        done = {"at": f"{done_at}T12:00:00Z", "found": "a bent coin", "test_money": test_money}
        till.route.post(f"/jobs/{id_}/done", done)


@pytest.mark.parametrize(
    ("from_on", "done_on", "test_money", "dollars", "is_odd"),
    [
        ("2026-10-01", None, "0.00", 1, True),
        ("2026-10-01", None, "0.00", 0, False),
        ("2026-10-01", "2026-10-11", "0.00", 40, True),
        ("2026-10-01", "2026-10-09", "0.00", 40, False),  # somebody could play for a day
        ("2026-10-04", None, "0.00", 40, False),
        ("2026-10-01", None, "40.00", 40, False),  # the money that the mechanic put in
        ("2026-10-01", None, "40.00", 42, False),  # a twentieth is tolerated, as on the worklist
        ("2026-10-01", None, "40.00", 43, True),
    ],
)
def test_money_in_a_table_that_was_out_of_order_all_the_time_is_odd(
    till: Till, from_on: str, done_on: str | None, test_money: str, dollars: int, is_odd: bool
) -> None:
    till.collect("2026-10-03", 10, cash=0)
    report(till, from_on, done_at=done_on)
    if test_money != "0.00":
        report(till, "2026-10-05", done_at="2026-10-06", test_money=test_money)
    body = till.body("2026-10-10", dollars, cash=dollars * 4)
    previewed = till.client.post("/v1/collections/preview", json=body).json()
    recorded = till.route.post("/collections", body)
    assert previewed["word"] == recorded["word"]
    assert word(recorded) == ("out_of_order_then" if is_odd else None)
    assert ("out_of_order_then" in recorded["cautions"]) is is_odd
    if is_odd:
        assert "reported out of order all the time since 2026-10-03" in recorded["word"]


def test_a_fault_that_is_reported_late_makes_the_word_of_the_collection_before_it_arrived(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=0)
    told = till.collect("2026-10-10", 10, cash=40)
    assert told["word"] is None
    report(till, "2026-10-02")
    assert word(till.client.get(f"/v1/collections/{told['id']}").json()) == "out_of_order_then"


def test_a_meter_that_only_a_job_read_before_is_no_first_reading(till: Till) -> None:
    id_ = str(uuid4())
    fault = {"id": id_, "table_id": till.table, "reported_at": "2026-10-01T12:00:00Z", "fault": "money_refused"}
    till.route.post("/jobs", {**fault, "playable": True})
    done = {"at": "2026-10-02T12:00:00Z", "found": "a bent coin", "meters_after": {"cash": 12}}
    till.route.post(f"/jobs/{id_}/done", done)
    told = till.collect("2026-10-03", 10, cash=40)
    assert "first_reading" not in told["cautions"]
    assert "start_unknown" in told["cautions"]


def test_a_meter_that_went_down_is_to_be_read_again(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=500)
    told = till.collect("2026-10-10", 10, cash=490)
    assert word(told) == "meter_needs_review"
    assert "Read it again" in told["word"]


def test_the_most_telling_word_of_all_tables_is_the_word_of_the_collection(till: Till) -> None:
    other = till.route.table(till.venue, label="Wall side", meters=METERS)["id"]
    first = till.body("2026-10-03", 0, cash=0)
    first["tables"].append({"table_id": other, "counted": {}, "meters": {"cash": 0}})
    till.route.post("/collections", first)
    body = till.body("2026-10-10", 100, cash=400, weighed_g={"1.00": "900"})
    body["tables"].append({"table_id": other, "counted": {"1.00": 50}, "meters": {"cash": 400}})
    assert till.route.post("/collections", body)["word"].startswith("Wall side: 50.00 short, 50.0 %")


def test_totals_compare_only_tables_that_have_an_expectation_and_say_how_many(till: Till) -> None:
    other = till.route.table(till.venue, label="Wall side", meters=[])["id"]
    till.collect("2026-10-03", 0, cash=0)
    body = till.body("2026-10-10", 200, cash=800)
    body["tables"].append({"table_id": other, "counted": {"1.00": 80}})
    told = till.route.post("/collections", body)
    assert (told["counted"], told["expected"]) == ("280.00", {"least": "200.00", "most": "200.00"})
    assert told["compared"] == {"tables": 1, "of": 2, "counted": "200.00"}
    assert told["difference"] == "0.00"
    assert "some_not_expected" in told["cautions"]


def test_test_games_never_lower_a_money_meter_and_test_money_lies_in_the_box(till: Till) -> None:
    # 400 counts of 0.25 are 100.00, 3.00 of them test money: it counts, lies in the box and goes back to the operator.
    till.agree()
    till.collect("2026-10-03", 0, cash=0)
    told = till.collect("2026-10-10", 100, cash=400, test_games=20, test_money="3.00")
    assert (told["expected"], told["difference"]) == ({"least": "100.00", "most": "100.00"}, "0.00")
    lines = [(line["code"], line["to"], line["amount"]) for line in told["settlement"]["lines"]]
    assert lines[1] == ("test_money", "operator", "3.00")
    assert told["settlement"]["venue_share"] == "48.50"


def test_test_games_count_on_a_games_meter_and_test_money_buys_games_like_any_other(till: Till) -> None:
    till.collect("2026-10-03", 0, meters={"plays": 0})
    told = till.collect("2026-10-10", 10, meters={"plays": 16}, test_games=6, test_money="2.00")
    assert told["expected"] == {"least": "10.00", "most": "10.75"}


def test_a_first_reading_is_not_said_where_readings_exist(till: Till, route: Route) -> None:
    till.table = route.table(till.venue, label="Old one", meters=METERS, placed_at="2026-01-05T12:00:00Z")["id"]
    reading = {
        "id": "0198a000-0000-7000-8000-00000000000b",
        "table_id": till.table,
        "taken_at": "2026-11-25T15:00:00Z",
        "meters": {"cash": 5},
    }
    route.post("/readings", {"readings": [reading]})
    told = till.collect("2026-11-25", 10, meters={"cash": 40, "plays": 3})
    assert told["tables"][0]["cautions"] == ["first_reading", "start_unknown"]  # plays was never read, cash was
    only = till.client.post("/v1/collections/preview", json=till.body("2026-11-25", 10, meters={"cash": 40}))
    assert "first_reading" not in only.json()["tables"][0]["cautions"]


def test_a_box_emptied_before_the_books_began_can_be_stated(till: Till) -> None:
    stated = {"at": "2026-09-26T16:00:00Z", "meters": {"cash": 100}}
    told = till.collect("2026-10-03", 75, cash=400, emptied_before=stated)
    assert (told["expected"], told["difference"]) == ({"least": "75.00", "most": "75.00"}, "0.00")
    assert told["tables"][0]["since"] == "2026-09-26T16:00:00Z"
    assert told["tables"][0]["emptied_before"] == stated
    assert "first_reading" not in told["cautions"]
    early = till.collect("2026-09-30", 25, cash=200)  # arrives later, and goes on from what was stated
    assert early["difference"] == "0.00"
    assert till.client.get(f"/v1/collections/{told['id']}").json()["expected"] == {"least": "50.00", "most": "50.00"}


@pytest.mark.parametrize(
    "limit", [{"value_max": "999999999999.00"}, {"coins_max": 1_000_000}, {"notes_max": 1_000_000}]
)
def test_no_limit_of_a_box_keeps_its_money_from_being_recorded(till: Till, route: Route, limit: dict[str, Any]) -> None:
    till.table = route.table(till.venue, label="Huge", meters=METERS, cash_box=limit)["id"]
    till.collect("2026-10-03", 0, cash=0)
    till.collect("2026-10-10", 1, cash=1)
    told = till.collect("2026-11-20", 1, cash=9_999_999, meters={"cash": 9_999_999, "plays": 999_999})
    assert told["status"] == "unsettled"
    assert till.client.get("/v1/worklist").status_code == 200


def test_one_person_with_two_tokens_is_one_collector(till: Till, route: Route) -> None:
    for name, on in (("Ana's phone", "2026-10-03"), ("Ana's tablet", "2026-10-10")):
        made = route.post("/tokens", {"name": name, "person": "Ana", "role": "collector"})
        body = till.body(on, 10)
        del body["collector"]
        headers = {"Authorization": f"Bearer {made['token']}"}
        told = till.client.post("/v1/collections", json=body, headers=headers).json()
        assert told["collector"] == "Ana"
    listed = till.client.get("/v1/tokens").json()["items"]
    assert {(token["name"], token["person"]) for token in listed} >= {("Ana's phone", "Ana"), ("Ana's tablet", "Ana")}
    alone = route.post("/tokens", {"name": "Bo", "role": "collector"})
    assert [
        token["person"] for token in till.client.get("/v1/tokens").json()["items"] if token["id"] == alone["id"]
    ] == ["Bo"]


def test_a_venue_sees_its_own_collections_and_disputes_them(till: Till, route: Route) -> None:
    mine = till.collect("2026-10-03", 10)
    headers = route.token("venue", venue_id=till.venue)
    elsewhere = route.venue(name="Elsewhere")["id"]
    till.table = route.table(elsewhere, meters=METERS)["id"]
    theirs = till.collect("2026-10-04", 10, venue_id=elsewhere)
    listed = till.client.get("/v1/collections", headers=headers).json()["items"]
    assert [item["id"] for item in listed] == [mine["id"]]
    assert till.client.get(f"/v1/collections?venue_id={elsewhere}", headers=headers).status_code == 404
    assert till.client.get(f"/v1/collections?table_id={till.table}", headers=headers).json()["items"] == []
    claim = {"by": "The landlady", "claims": "12.00 more", "reason": "I counted along."}
    for collection, status in ((mine, 201), (theirs, 404)):
        path = f"/v1/collections/{collection['id']}"
        assert till.client.get(path, headers=headers).status_code == (200 if status == 201 else 404)
        assert till.client.post(f"{path}/disputes", json=claim, headers=headers).status_code == status
    assert (
        till.client.get(f"/v1/collections/{mine['id']}", headers=headers).json()["disputes"][0]["by"] == "The landlady"
    )
