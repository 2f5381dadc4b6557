"""What was expected is judged by all that is on record now, whatever order it arrived in (C9)."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

from tests.cash.conftest import METERS, Till
from tests.conftest import Route

PLACED_AT = "2026-01-05T12:00:00Z"


def now(till: Till, collection: dict[str, Any]) -> dict[str, Any]:
    """Return a collection as it is answered now."""
    return till.client.get(f"/v1/collections/{collection['id']}").json()  # type: ignore[no-any-return]


def lines(told: dict[str, Any]) -> list[tuple[str, str]]:
    return [(line["code"], line["amount"]) for line in told["settlement"]["lines"]]


def differences(till: Till) -> list[str]:
    """Return the differences that the worklist would have somebody look into."""
    items = till.client.get("/v1/worklist").json()["items"]
    return [item["refers_to"] for item in items if item["code"] == "difference"]


def test_a_late_collection_clears_the_difference_of_the_later_one_everywhere(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=0)
    later = till.collect("2026-10-17", 50, cash=400)
    assert (later["difference"], differences(till)) == ("-50.00", [later["id"]])
    till.collect("2026-10-10", 50, cash=200)
    after = now(till, later)
    assert (after["difference"], after["word"], differences(till)) == ("0.00", None, [])
    assert after["as_recorded"]["difference"] == "-50.00"
    assert after["tables"][0]["as_recorded"]["difference"] == "-50.00"
    (point,) = [
        point
        for point in till.client.get(f"/v1/reports/differences?table_id={till.table}").json()["points"]
        if point["collection_id"] == later["id"]
    ]
    assert point["difference"] == "0.00"


def test_a_reversal_brings_the_difference_of_the_next_one_back(till: Till) -> None:
    till.collect("2026-10-03", 10, cash=0)
    middle = till.collect("2026-10-10", 50, cash=200)
    later = till.collect("2026-10-17", 50, cash=400)
    assert later["difference"] == "0.00"
    till.reverse(middle)
    assert now(till, later)["difference"] == "-50.00"
    assert now(till, later)["as_recorded"]["difference"] == "0.00"


def test_a_late_reading_that_reset_the_meters_leaves_nothing_to_expect_until_it_is_voided(
    till: Till, route: Route
) -> None:
    till.table = route.table(till.venue, label="Old one", meters=METERS, placed_at=PLACED_AT)["id"]
    till.collect("2026-11-25", 10, cash=0)
    body = {**till.body("2026-11-25", 50, cash=200), "collected_at": "2026-11-25T17:00:00Z"}
    later = route.post("/collections", body)
    assert later["difference"] == "0.00"
    reading = {"id": str(uuid4()), "table_id": till.table, "taken_at": "2026-11-25T16:30:00Z", "done": ["meters_reset"]}
    assert route.post("/readings", {"readings": [reading]})["recorded"] == 1
    assert (now(till, later)["expected"], now(till, later)["cautions"][0]) == (None, "meters_reset")
    route.post(f"/readings/{reading['id']}/void", {"reason": "of another table"})
    assert now(till, later)["difference"] == "0.00"


def test_a_settlement_stays_and_the_change_of_its_expectation_is_a_line_of_the_next(till: Till) -> None:
    # Expected 100.00 of 50.00 counted: 100.00 were divided. A late collection of 40.00 says that 60.00 should have been.
    till.agree(settles_on="expected")
    till.collect("2026-10-03", 0, cash=0)
    rested = till.collect("2026-10-17", 50, cash=400)
    assert lines(rested) == [("gross", "100.00"), ("operator_share", "50.00"), ("to_venue_now", "50.00")]
    late = till.collect("2026-10-10", 40, cash=160)
    assert now(till, rested)["expected"] == {"least": "60.00", "most": "60.00"}
    assert now(till, rested)["settlement"] == rested["settlement"]
    assert lines(late) == [("gross", "40.00"), ("operator_share", "20.00"), ("to_venue_now", "20.00")]
    following = till.collect("2026-10-24", 100, cash=800)
    assert lines(following) == [
        ("gross", "100.00"),
        ("correction", "40.00"),
        ("operator_share", "30.00"),
        ("to_venue_now", "30.00"),
    ]
    # In all 60.00 + 40.00 + 100.00 at half, as if all had arrived in order.
    assert till.balances()["venue_share"] == "100.00"
    assert "first_money" not in till.balances()
    last = till.collect("2026-10-31", 100, cash=1200)
    assert lines(last)[1][0] == "operator_share"


def test_what_was_divided_too_little_is_given_back_and_a_reversal_takes_that_back(till: Till) -> None:
    till.agree(settles_on="expected")
    till.collect("2026-10-03", 0, cash=0)
    early = till.collect("2026-10-10", 50, cash=200)
    rested = till.collect("2026-10-17", 50, cash=400)
    till.reverse(early)
    assert now(till, rested)["expected"] == {"least": "100.00", "most": "100.00"}
    given_back = till.collect("2026-10-24", 100, cash=800)
    assert lines(given_back) == [
        ("gross", "100.00"),
        ("correction", "-50.00"),
        ("operator_share", "75.00"),
        ("to_venue_now", "75.00"),
    ]
    till.reverse(given_back)
    again = till.collect("2026-10-31", 100, cash=800)
    assert lines(again)[1] == ("correction", "-50.00")


def test_a_collection_that_arrives_before_the_move_to_its_venue_is_kept_and_right_once_the_move_is_there(
    till: Till, route: Route
) -> None:
    till.table = route.table(till.venue, label="Old one", meters=METERS, placed_at=PLACED_AT)["id"]
    elsewhere = route.venue(name="The Tin Heron")["id"]
    told = till.collect("2026-11-20", 0, cash=40, venue_id=elsewhere)
    assert "not_there_then" in told["cautions"]
    assert told["tables"][0]["word"]["code"] == "not_there_then"
    assert "By the records this table was not at this venue on 2026-11-20" in told["word"]
    move = {"venue_id": elsewhere, "moved_at": "2026-11-19T12:00:00Z", "meters": {"cash": 40}}
    route.post(f"/tables/{till.table}/moves", move)
    later = now(till, told)
    assert "not_there_then" not in later["cautions"]
    assert (later["word"], later["expected"]) == (None, {"least": "0.00", "most": "0.00"})


def test_what_was_read_and_reported_before_a_move_arrived_belongs_to_the_venue_of_the_move(
    till: Till, route: Route
) -> None:
    elsewhere = route.venue(name="The Tin Heron")["id"]
    till.table = route.table(till.venue, label="Old one", meters=METERS, placed_at=PLACED_AT)["id"]
    reading = {"id": str(uuid4()), "table_id": till.table, "taken_at": "2026-11-20T12:00:00Z", "meters": {"cash": 3}}
    route.post("/readings", {"readings": [reading]})
    report = {"id": str(uuid4()), "table_id": till.table, "reported_at": "2026-11-20T12:00:00Z"}
    job = route.post("/jobs", {**report, "fault": "money_refused", "playable": False})
    assert job["venue_id"] == till.venue
    move = route.post(f"/tables/{till.table}/moves", {"venue_id": elsewhere, "moved_at": "2026-11-19T12:00:00Z"})
    for venue, seen in ((till.venue, 0), (elsewhere, 1)):
        assert len(till.client.get(f"/v1/jobs?venue_id={venue}").json()["items"]) == seen
        asked = till.client.get("/v1/readings", headers=route.token("venue", venue_id=venue)).json()["items"]
        assert [item["venue_id"] for item in asked] == [elsewhere] * seen
    assert (
        till.client.get(f"/v1/jobs/{job['id']}", headers=route.token("venue", venue_id=till.venue)).status_code == 404
    )
    assert till.client.get(f"/v1/jobs/{job['id']}").json()["venue_id"] == elsewhere
    route.post(f"/moves/{move['id']}/void", {"reason": "never left"})
    workshop = {"venue_id": None, "moved_at": "2026-11-19T12:00:00Z"}
    route.post(f"/tables/{till.table}/moves", workshop)
    (seen_again,) = till.client.get(f"/v1/readings?table_id={till.table}").json()["items"]
    assert (seen_again["venue_id"], seen_again["flags"]) == (None, ["in_the_workshop"])
    assert route.post("/readings", {"readings": [reading]})["results"][0]["flags"] == ["in_the_workshop"]


def test_earnings_count_games_since_the_box_was_last_empty_as_that_is_known_now(till: Till, route: Route) -> None:
    till.collect("2026-11-02", 10, cash=0, meters={"plays": 0})
    till.collect("2026-11-12", 10, meters={"plays": 900})
    assert games(till) == 900
    till.collect("2026-11-07", 10, meters={"plays": 500})
    assert games(till) == 900
    reading = {"id": str(uuid4()), "table_id": till.table, "taken_at": "2026-11-10T12:00:00Z"}
    route.post("/readings", {"readings": [{**reading, "done": ["meters_reset"]}]})
    assert games(till) == 500


def games(till: Till) -> int:
    """Return the games of the month by the meters."""
    (total,) = till.client.get("/v1/reports/earnings?from=2026-11-01&to=2026-12-01").json()["totals"]
    return int(total["games"])


def test_a_keying_voided_under_a_settlement_changes_its_expectation_and_is_a_line_of_the_next(
    till: Till, route: Route
) -> None:
    """Fifty games at 2.00, as keyed by mistake, were divided; at 1.00, as listed, it should have been half."""
    dearer = route.tariff(code="dearer", games={"prices": [{"price": "2.00", "units": 1}]})["id"]
    schedule = route.schedule(till.venue, dearer, effective_on="2026-12-01")["id"]
    plays = [METERS[1]]
    till.table = route.table(till.venue, meters=plays, accepts=["1.00"], placed_at=PLACED_AT)["id"]
    body = {"schedule_id": schedule, "keyed_at": "2026-10-02T16:00:00Z", "by": "Bram"}
    keying = route.post(f"/tables/{till.table}/keyings", body)
    till.agree(settles_on="expected")
    till.collect("2026-10-03", 0, meters={"plays": 0})
    rested = till.collect("2026-10-17", 50, meters={"plays": 50})
    assert (rested["expected"], rested["difference"]) == ({"least": "100.00", "most": "101.00"}, "-50.00")
    assert differences(till) == [rested["id"]]
    route.post(f"/keyings/{keying['id']}/void", {"reason": "Keyed into the other table."})
    again = now(till, rested)
    assert (again["expected"], again["difference"]) == ({"least": "50.00", "most": "50.00"}, "0.00")
    assert (again["as_recorded"]["difference"], again["settlement"]) == ("-50.00", rested["settlement"])
    assert differences(till) == []
    following = till.collect("2026-10-24", 100, meters={"plays": 150})
    assert lines(following) == [
        ("gross", "100.00"),
        ("correction", "50.00"),
        ("operator_share", "25.00"),
        ("to_venue_now", "25.00"),
    ]
    answer = till.client.post(f"/v1/keyings/{keying['id']}/void", json={"reason": "Again."})
    assert (answer.status_code, answer.json()["code"]) == (409, "already_void")
    assert now(till, rested) == again
