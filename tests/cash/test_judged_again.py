"""What was expected is judged by all that is on record now, whatever order it arrived in (C9)."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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
    assert (now(till, later)["expected"], now(till, later)["cautions"][0]) == (None, "started_afresh")
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


FACTS = st.lists(
    st.one_of(
        st.tuples(st.just("collect"), st.integers(1, 9), st.integers(0, 30), st.integers(0, 400)),
        st.tuples(st.just("reversed"), st.integers(1, 9), st.integers(0, 30), st.integers(0, 400)),
        st.tuples(st.just("reset"), st.integers(1, 9), st.just(0), st.just(0)),
    ),
    min_size=2,
    max_size=5,
    unique_by=lambda fact: (fact[0], fact[1]),
)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(facts=FACTS, order=st.randoms(use_true_random=False))
def test_any_order_of_arrival_of_the_same_facts_ends_in_the_same_answers(
    at_noon: TestClient, route: Route, facts: list[tuple[str, int, int, int]], order: Any
) -> None:
    shuffled = list(facts)
    order.shuffle(shuffled)
    assert answers(at_noon, route, facts) == answers(at_noon, route, shuffled)


def answers(client: TestClient, route: Route, facts: list[tuple[str, int, int, int]]) -> list[tuple[Any, ...]]:
    """Record facts in an order at a venue of their own; return what is answered of each collection in the end."""
    venue = route.venue(name="Any order")["id"]
    table = route.table(venue, meters=METERS, placed_at=PLACED_AT)["id"]
    made = {}
    for kind, hour, dollars, cash in facts:
        at = f"2026-11-25T{hour:02}:00:00Z"
        if kind == "reset":
            reading = {"id": str(uuid4()), "table_id": table, "taken_at": at, "done": ["meters_reset"]}
            route.post("/readings", {"readings": [reading]})
            continue
        box = {"table_id": table, "counted": {"1.00": dollars}, "meters": {"cash": cash}}
        # Of two collections at one instant the ids decide which is the later one, so they have the same order each time.
        id_ = UUID(int=(int(UUID(venue)) & ~0xFFFF) + hour * 10 + (kind == "reversed"))
        body = {"id": str(id_), "venue_id": venue, "collected_at": at, "collector": "Ana", "tables": [box]}
        route.post("/collections", body)
        made[kind, hour] = str(id_)
        if kind == "reversed":
            route.post(f"/collections/{id_}/reversal", {"reason": "wrong"})
    found = []
    for (kind, hour), id_ in sorted(made.items()):
        told = client.get(f"/v1/collections/{id_}").json()
        cautions = [caution for caution in told["cautions"] if caution != "late_arrival"]
        parts = (told["expected"], told["difference"], told["difference_percent"], told["word"], told["compared"])
        found.append((kind, hour, told["status"], *parts, cautions, told["tables"][0]["since"]))
    charted = client.get(f"/v1/reports/differences?table_id={table}").json()["points"]
    found.append(tuple((point["collected_at"], point["difference"]) for point in charted))
    return found
