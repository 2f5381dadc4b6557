"""Expected cash through the service: from collection to collection or from a move, at what the table then sold."""

from typing import Any

from tests.cash.conftest import METERS, Till
from tests.conftest import Route


def collect(till: Till, on: str, dollars: int, **meters: int) -> dict[str, Any]:
    return till.collect(on, dollars, meters=meters)


def test_the_first_reading_is_a_baseline_and_says_nothing(till: Till) -> None:
    told = collect(till, "2026-10-03", 100, cash=10420)
    assert (told["expected"], told["difference"], told["difference_percent"]) == (None, None, None)
    assert told["tables"][0]["cautions"] == ["first_reading"]
    assert told["tables"][0]["meters"][0]["kind"] == "baseline"


def test_a_games_meter_gives_a_range_under_the_tariff_that_was_sold(till: Till, route: Route) -> None:
    # 0.75 a game, six for 4.00: six games cost 4.00 at least, 4.50 at most, and up to 0.50 of quarters may be left.
    tariff = route.post(
        "/tariffs",
        {
            "code": "ladder",
            "name": "Ladder",
            "currency": "USD",
            "games": {"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}]},
        },
    )
    venue = route.venue(name="Ladder house")["id"]
    route.schedule(venue, tariff["id"])
    till.venue, till.table = venue, route.table(venue, meters=METERS)["id"]
    collect(till, "2026-10-03", 0, plays=100)
    told = collect(till, "2026-10-10", 6, plays=106)
    assert told["expected"] == {"least": "4.00", "most": "5.00"}
    assert (told["difference"], told["difference_percent"]) == ("1.00", "20.00")
    inside = collect(till, "2026-10-17", 4, plays=112)
    assert (inside["difference"], inside["difference_percent"]) == ("0.00", "0.00")


def test_the_range_spans_every_tariff_that_was_keyed_between_the_readings(till: Till, route: Route) -> None:
    dear = route.post(
        "/tariffs",
        {"code": "dear", "name": "Dear", "currency": "USD", "games": {"prices": [{"price": "2.00", "units": 1}]}},
    )
    schedule = route.schedule(till.venue, dear["id"], effective_on="2026-11-01")
    collect(till, "2026-10-03", 0, plays=0)
    before = collect(till, "2026-10-10", 10, plays=10)
    assert before["expected"] == {"least": "10.00", "most": "10.75"}
    keying = {"schedule_id": schedule["id"], "keyed_at": "2026-10-12T12:00:00Z", "by": "Ana"}
    route.post(f"/tables/{till.table}/keyings", keying)
    across = collect(till, "2026-10-17", 15, plays=20)
    assert across["expected"] == {"least": "10.00", "most": "21.75"}
    after = collect(till, "2026-10-24", 20, plays=30)
    assert after["expected"] == {"least": "20.00", "most": "21.75"}


def test_a_meter_lower_than_before_is_kept_flagged_and_never_guessed(till: Till) -> None:
    till.agree()
    collect(till, "2026-10-03", 10, cash=10420)
    told = collect(till, "2026-10-10", 70, cash=10400)
    meter = told["tables"][0]["meters"][0]
    assert (meter["kind"], meter["before"], meter["now"], meter["delta"]) == ("needs_review", 10420, 10400, None)
    assert (told["status"], told["expected"], told["cautions"]) == ("settled", None, ["needs_review"])
    assert "meter_needs_review" in {item["code"] for item in told["advice"]}
    following = collect(till, "2026-10-17", 50, cash=10600)
    assert following["difference"] == "0.00"


def test_a_meter_that_rolls_over_goes_on(till: Till) -> None:
    collect(till, "2026-10-03", 10, plays=999_990)
    told = collect(till, "2026-10-10", 20, plays=10)
    assert told["tables"][0]["meters"][0]["kind"] == "rolled_over"
    assert told["tables"][0]["meters"][0]["delta"] == 20
    assert told["expected"] == {"least": "20.00", "most": "20.75"}


def test_a_meter_that_cannot_be_is_kept_and_flagged(till: Till) -> None:
    collect(till, "2026-10-03", 10, cash=1)
    for on, name, value, caution in (
        ("2026-10-10", "coins", 5, "unknown_meter"),
        ("2026-10-17", "cash", 10_000_000, "needs_review"),
    ):
        says = "The table has no meter of the name coins" if name == "coins" else "The meter cash shows 10000000"
        told = collect(till, on, 10, **{name: value})
        assert told["tables"][0]["meters"][0]["now"] == value
        assert (told["expected"], told["cautions"][0]) == (None, caution)
        assert any(item["detail"].startswith(says) for item in told["advice"])


def test_meters_that_were_reset_meanwhile_leave_no_expectation(till: Till, route: Route) -> None:
    collect(till, "2026-10-03", 10, plays=900_000)
    reading = {
        "id": "0198a000-0000-7000-8000-00000000000a",
        "table_id": till.table,
        "taken_at": "2026-11-25T17:00:00Z",
        "done": ["meters_reset"],
        "meters": {"plays": 0},
    }
    assert route.post("/readings", {"readings": [reading]})["recorded"] == 1
    told = route.post(
        "/collections", {**till.body("2026-11-25", 5, meters={"plays": 5}), "collected_at": "2026-11-25T17:04:00Z"}
    )
    assert (told["expected"], told["cautions"]) == (None, ["meters_reset", "no_agreement"])


def test_two_meters_that_tell_different_stories_are_told_with_both_figures(till: Till) -> None:
    collect(till, "2026-10-03", 10, cash=0, plays=0)
    told = collect(till, "2026-10-10", 10, cash=40, plays=30)
    assert told["expected"] == {"least": "10.00", "most": "10.00"}
    assert "meters_disagree" in told["cautions"]
    (advice,) = (item for item in told["advice"] if item["code"] == "meters_disagree")
    assert "cash says 10.00 to 10.00; plays says 30.00 to 30.75" in advice["detail"]


def test_a_meter_reset_at_each_collection_counts_from_zero(till: Till, route: Route) -> None:
    meter = {"name": "cash", "counts": "money", "unit_value": "1.00", "digits": 4, "resets": "at_collection"}
    till.table = route.table(till.venue, meters=[meter])["id"]
    collect(till, "2026-10-03", 10, cash=80)
    told = collect(till, "2026-10-10", 60, cash=60)
    assert told["expected"] == {"least": "60.00", "most": "60.00"}


def test_a_move_that_emptied_the_box_starts_the_expectation_at_its_reading(till: Till, route: Route) -> None:
    collect(till, "2026-10-03", 10, cash=100)
    elsewhere = route.venue(name="Elsewhere")["id"]
    move = {"venue_id": elsewhere, "moved_at": "2026-11-25T17:00:00Z", "meters": {"cash": 300}, "box": "emptied"}
    route.post(f"/tables/{till.table}/moves", move)
    body = till.body("2026-11-25", 5, cash=320, venue_id=elsewhere)
    told = route.post("/collections", {**body, "collected_at": "2026-11-25T17:04:00Z"})
    assert told["tables"][0]["since"] == "2026-11-25T17:00:00Z"
    assert told["expected"] == {"least": "5.00", "most": "5.00"}
    assert "not_there_then" not in told["cautions"]


def test_a_box_that_travelled_is_counted_since_before_the_move(till: Till, route: Route) -> None:
    collect(till, "2026-10-03", 10, cash=100)
    elsewhere = route.venue(name="Elsewhere")["id"]
    move = {"venue_id": elsewhere, "moved_at": "2026-11-25T17:00:00Z", "meters": {"cash": 300}, "box": "travels"}
    route.post(f"/tables/{till.table}/moves", move)
    body = till.body("2026-11-25", 55, cash=320, venue_id=elsewhere)
    told = route.post("/collections", {**body, "collected_at": "2026-11-25T17:04:00Z"})
    assert (told["expected"], told["difference"]) == ({"least": "55.00", "most": "55.00"}, "0.00")
    assert "box_travelled" in told["cautions"]


def test_a_table_collected_where_it_no_longer_stood_is_flagged(till: Till, route: Route) -> None:
    route.post(f"/tables/{till.table}/moves", {"venue_id": None, "moved_at": "2026-11-25T17:00:00Z"})
    told = route.post("/collections", {**till.body("2026-11-25", 5), "collected_at": "2026-11-25T17:04:00Z"})
    assert "not_there_then" in told["cautions"]


def test_a_denomination_that_the_table_does_not_take_is_recorded_and_flagged(till: Till) -> None:
    till.agree()
    told = till.collect("2026-10-03", 10, counted={"1.00": 10, "2.00": 1, "10.00": 0})
    assert (told["counted"], told["status"]) == ("12.00", "settled")
    assert "denomination_not_taken" in told["cautions"]
    assert [item["code"] for item in told["advice"]] == ["denomination_not_taken"]


def test_a_table_whose_tariff_sells_what_no_meter_counts_says_so(till: Till, route: Route) -> None:
    venue = route.venue(name="Both")["id"]
    route.schedule(venue, route.tariff(code="both")["id"])
    till.venue, till.table = venue, route.table(venue, meters=METERS)["id"]
    collect(till, "2026-10-03", 10, plays=0)
    told = collect(till, "2026-10-10", 10, plays=5)
    assert "other_kinds_sold" in told["cautions"]


def test_without_a_price_a_games_meter_says_nothing(till: Till, route: Route) -> None:
    till.venue = route.venue(name="Unpriced")["id"]
    till.table = route.table(till.venue, meters=METERS)["id"]
    collect(till, "2026-10-03", 10, plays=0)
    told = collect(till, "2026-10-10", 10, plays=5)
    assert (told["expected"], told["cautions"]) == (None, ["no_price_known", "no_agreement"])
