"""Schedules through the service: what is listed when (W6), what is keyed (W8), roll-outs, the resolved week."""

from datetime import UTC, datetime
from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

ABSENT = "00000000-0000-4000-8000-000000000000"


def at(client: TestClient, instant: str) -> None:
    """Set the service's clock."""
    stands = datetime.fromisoformat(instant).astimezone(UTC)
    client.app.state.clock = lambda: stands  # type: ignore[attr-defined]


@pytest.fixture
def prices(client: TestClient, route: Route) -> dict[str, str]:
    """Ladders that sell 1, 2 and 3 games a dollar, by their ids; made at the start of 2026."""
    at(client, "2026-01-01T12:00:00-05:00")
    return {
        name: route.post(
            "/tariffs",
            {"code": name, "name": name, "currency": "USD", "games": {"prices": [{"price": "1.00", "units": units}]}},
        )["id"]
        for name, units in (("one", 1), ("two", 2), ("three", 3))
    }


def sold(client: TestClient, when: str, **place: str) -> int | str:
    """Return how many games a dollar buys, or the problem's code."""
    answer = client.get("/v1/quotes", params={**place, "at": when, "money": "1.00"}).json()
    return answer["offers"][0]["units"] if "offers" in answer else answer["type"].removeprefix("/problems/")  # type: ignore[no-any-return]


def schedule(client: TestClient, path: str, base: str | None, effective_on: str, **more: Any) -> dict[str, Any]:
    response = client.post(f"/v1{path}/schedules", json={"effective_on": effective_on, "base": base, **more})
    assert response.status_code == 201, response.text
    return response.json()  # type: ignore[no-any-return]


def test_a_schedule_is_published_and_listed_with_every_field_there(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue = route.venue()
    of_no_calendar = {"calendar": None, "uid": None}
    sent: dict[str, Any] = {
        "effective_on": "2026-12-01", "base": prices["one"],
        "weekly": [{"name": "Early", "days": ["tue", "mon"], "from": "15:00", "to": "18:00", "tariff": prices["two"]}],
        "recurring": [{"name": "Team night", "starts_on": "2026-12-08", "rrule": "FREQ=WEEKLY;BYDAY=TU", "except_on": ["2026-12-22"], "from": "19:00", "to": "23:00", "tariff": prices["three"], **of_no_calendar}],
        "dates": [{"name": "Inventory", "on": "2027-01-02", "from": None, "to": None, "tariff": None, **of_no_calendar}],
    }  # fmt: skip
    recurring = {name: value for name, value in sent["recurring"][0].items() if name not in of_no_calendar}
    body = {**sent, "recurring": [recurring], "dates": [{"name": "Inventory", "on": "2027-01-02", "tariff": None}]}
    made = route.post(f"/venues/{venue['id']}/schedules", body)
    rest = {
        "id": made["id"],
        "venue_id": venue["id"],
        "table_id": None,
        "published_at": "2026-01-01T17:00:00Z",
        "follow_venue": False,
    }
    assert made == {**rest, **sent, "tables": [], "advice": []}
    assert client.get(f"/v1/venues/{venue['id']}/schedules").json() == {"items": [{**rest, **sent}], "next": None}
    assert client.get(f"/v1/venues/{ABSENT}/schedules").status_code == 404


def test_only_the_first_schedule_is_dated_back_and_the_past_is_never_repriced(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    path = f"/venues/{venue_id}"
    schedule(client, path, prices["one"], "2025-12-01")
    assert sold(client, "2025-12-01T05:59", venue_id=venue_id) == "no_schedule_yet"
    assert sold(client, "2025-12-01T06:00", venue_id=venue_id) == 1
    before = client.get(f"/v1/quotes?venue_id={venue_id}&at=2025-12-24T21:00&money=7.00").json()
    at(client, "2026-01-05T15:00:00-05:00")
    schedule(client, path, prices["two"], "2025-12-15")
    assert sold(client, "2026-01-05T14:59:59", venue_id=venue_id) == 1
    assert sold(client, "2026-01-05T15:00:00", venue_id=venue_id) == 2
    after = client.get(f"/v1/quotes?venue_id={venue_id}&at=2025-12-24T21:00&money=7.00").json()
    assert (after["offers"], after["tariff"]) == (before["offers"], before["tariff"])


def test_a_schedule_holds_from_the_start_of_its_trading_day_and_the_later_published_wins(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    path = f"/venues/{venue_id}"
    schedule(client, path, prices["one"], "2026-01-01")
    schedule(client, path, prices["two"], "2026-02-01")
    schedule(client, path, prices["three"], "2026-02-01")
    assert [sold(client, when, venue_id=venue_id) for when in ("2026-02-01T05:59", "2026-02-01T06:00")] == [1, 3]


def test_a_preview_answers_the_same_and_stores_nothing(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    table_id = route.table(venue_id)["id"]
    body = {"effective_on": "2026-02-01", "base": prices["one"]}
    for path in (f"/v1/venues/{venue_id}/schedules", f"/v1/tables/{table_id}/schedules"):
        preview = client.post(f"{path}?preview=true", json=body)
        assert (preview.status_code, preview.json()["base"]) == (200, prices["one"])
        assert client.post(f"{path}?preview=true", json={**body, "base": ABSENT}).status_code == 422
        assert client.get(f"/v1/venues/{venue_id}/schedules").json()["items"] == []
    assert sold(client, "2026-02-02T12:00", venue_id=venue_id) == "no_schedule_yet"


def test_a_tables_own_schedule_beats_its_venues_until_it_follows_again_or_moves(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    first, second = route.venue(name="First")["id"], route.venue(name="Second")["id"]
    for venue_id, name in ((first, "one"), (second, "two")):
        schedule(client, f"/venues/{venue_id}", prices[name], "2026-01-01")
    table_id = route.table(first)["id"]
    own = schedule(client, f"/tables/{table_id}", prices["three"], "2026-02-01")
    assert (own["table_id"], own["venue_id"]) == (table_id, first)
    follow = route.post(f"/tables/{table_id}/schedules", {"effective_on": "2026-03-01", "follow_venue": True})
    assert (follow["follow_venue"], follow["base"]) == (True, None)
    days = ("2026-01-15T12:00", "2026-02-15T12:00", "2026-03-15T12:00")
    assert [sold(client, day, table_id=table_id) for day in days] == [1, 3, 1]
    assert [sold(client, day, venue_id=first) for day in days] == [1, 1, 1]
    at(client, "2026-02-10T12:00:00-05:00")
    route.post(f"/tables/{table_id}/moves", {"venue_id": second, "moved_at": "2026-02-10T12:00:00-05:00"})
    assert [sold(client, day, table_id=table_id) for day in days] == [1, 2, 2]
    assert [sold(client, f"2026-02-10T{time}", table_id=table_id) for time in ("11:59:59", "12:00:00")] == [3, 2]


def test_a_table_in_the_workshop_sells_nothing_but_what_it_sold_is_still_told(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    schedule(client, f"/venues/{venue_id}", prices["one"], "2026-01-01")
    table_id = route.table(venue_id)["id"]
    at(client, "2026-02-10T12:00:00-05:00")
    route.post(f"/tables/{table_id}/moves", {"venue_id": None, "moved_at": "2026-02-10T12:00:00-05:00"})
    assert sold(client, "2026-02-10T11:59:59", table_id=table_id) == 1
    assert sold(client, "2026-02-10T12:00:00", table_id=table_id) == "not_at_a_venue"
    closed = {"effective_on": "2026-03-01", "base": None}
    assert client.post(f"/v1/tables/{table_id}/schedules", json=closed).status_code == 409
    assert client.get(f"/v1/venues/{venue_id}/week?table_id={table_id}&on=2026-02-09").status_code == 200
    assert client.get(f"/v1/venues/{venue_id}/week?table_id={table_id}").status_code == 404


def test_a_table_sells_what_was_keyed_and_says_where_that_is_not_what_is_listed(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    first = schedule(client, f"/venues/{venue_id}", prices["one"], "2026-01-01")
    second = schedule(client, f"/venues/{venue_id}", prices["two"], "2026-02-01")
    table_id = route.table(venue_id)["id"]
    assert sold(client, "2026-02-02T12:00", table_id=table_id) == 2
    at(client, "2026-02-03T15:00:00-05:00")
    keyings = f"/tables/{table_id}/keyings"
    route.post(keyings, {"schedule_id": first["id"], "keyed_at": "2026-01-02T12:00:00-05:00", "by": "Bram"})
    keyed = route.post(
        keyings,
        {"schedule_id": second["id"], "keyed_at": "2026-02-03T15:00:00-05:00", "by": "Rosalind", "note": "late"},
    )
    assert (keyed["by"], keyed["note"], keyed["keyed_at"]) == ("Rosalind", "late", "2026-02-03T20:00:00Z")
    assert [item["by"] for item in client.get(f"/v1{keyings}").json()["items"]] == ["Bram", "Rosalind"]
    for basis, when, units, cautions in (
        ("keyed", "2026-01-31T12:00", 1, []),
        ("keyed", "2026-02-02T12:00", 1, ["not_keyed_yet"]),
        ("keyed", "2026-02-03T14:59:59", 1, ["not_keyed_yet"]),
        ("keyed", "2026-02-03T15:00", 2, []),
        ("listed", "2026-02-02T12:00", 2, []),
    ):
        query = {"table_id": table_id, "at": when, "money": "1.00"} | ({"basis": basis} if basis == "listed" else {})
        answer = client.get("/v1/quotes", params=query).json()
        found = (answer["basis"], answer["offers"][0]["units"], answer["cautions"])
        assert found == (basis, units, cautions), when
    events = [{"kind": "insert", "at": "2026-02-02T12:00", "amount": "1.00"}]
    body = {
        "scenarios": [
            {"table_id": table_id, "events": events},
            {"table_id": table_id, "events": events, "basis": "listed"},
        ]
    }
    as_keyed, as_listed = client.post("/v1/quotes", json=body).json()["results"]
    assert (as_keyed["answer"]["units"], as_keyed["answer"]["cautions"]) == (1, ["not_keyed_yet"])
    assert (as_listed["answer"]["units"], as_listed["answer"]["cautions"]) == (2, [])


def test_a_schedule_of_another_table_or_none_at_all_is_not_keyed(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    schedule(client, f"/venues/{venue_id}", prices["one"], "2026-01-01")
    table_id, neighbour_id = route.table(venue_id)["id"], route.table(venue_id, label="Back")["id"]
    follow = route.post(f"/tables/{table_id}/schedules", {"effective_on": "2026-03-01", "follow_venue": True})
    others = (
        schedule(client, f"/tables/{neighbour_id}", prices["two"], "2026-01-01"),
        follow,
    )
    for other in others:
        keying = {"schedule_id": other["id"], "keyed_at": "2026-01-01T17:00:00Z", "by": "Bram"}
        assert client.post(f"/v1/tables/{table_id}/keyings", json=keying).status_code == 422
    own = schedule(client, f"/tables/{table_id}", prices["three"], "2026-01-01")
    route.post(
        f"/tables/{table_id}/keyings", {"schedule_id": own["id"], "keyed_at": "2026-01-01T17:00:00Z", "by": "Bram"}
    )
    assert len(client.get(f"/v1/tables/{table_id}/keyings").json()["items"]) == 1


def test_a_roll_out_publishes_wherever_the_tariff_would_be_in_force_and_nowhere_else(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    one, two, three = prices["one"], prices["two"], prices["three"]
    plain, with_own, later, past, elsewhere = (
        route.venue(name=name)["id"] for name in ("plain", "own", "later", "past", "elsewhere")
    )
    early = {"name": "Early", "days": ["mon"], "from": "15:00", "to": "18:00", "tariff": one}
    schedule(client, f"/venues/{plain}", one, "2026-01-01", weekly=[early, {**early, "name": "Late", "tariff": two}])
    schedule(client, f"/venues/{with_own}", two, "2026-01-01")
    own_table = route.table(with_own)["id"]
    schedule(
        client, f"/tables/{own_table}", two, "2026-01-01", dates=[{"name": "Party", "on": "2026-04-01", "tariff": one}]
    )
    schedule(client, f"/venues/{later}", two, "2026-01-01")
    schedule(client, f"/venues/{later}", one, "2026-05-01")
    schedule(client, f"/venues/{past}", one, "2026-01-01")
    schedule(client, f"/venues/{past}", two, "2026-02-01")
    schedule(client, f"/venues/{elsewhere}", two, "2026-01-01")
    path, body = f"/v1/tariffs/{one}/rollout", {"replacement": three, "effective_on": "2026-03-01"}
    count = sum(
        len(client.get(f"/v1/venues/{id}/schedules").json()["items"])
        for id in (plain, with_own, later, past, elsewhere)
    )
    preview = client.post(f"{path}?preview=true", json=body)
    assert preview.status_code == 200
    assert count == sum(
        len(client.get(f"/v1/venues/{id}/schedules").json()["items"])
        for id in (plain, with_own, later, past, elsewhere)
    )
    done = client.post(path, json=body)
    assert done.status_code == 201
    for answer in (preview.json(), done.json()):
        published = [(item["venue_id"], item["table_id"], item["effective_on"]) for item in answer["schedules"]]
        assert published == [
            (plain, None, "2026-03-01"),
            (with_own, own_table, "2026-03-01"),
            (later, None, "2026-05-01"),
        ]
    first, own, _ = done.json()["schedules"]
    assert (first["base"], [entry["tariff"] for entry in first["weekly"]]) == (three, [three, two])
    assert (own["base"], own["dates"][0]["tariff"]) == (two, three)
    assert [sold(client, f"2026-{day}T12:00", venue_id=plain) for day in ("02-28", "03-01")] == [1, 3]
    assert [sold(client, f"2026-{day}T12:00", venue_id=later) for day in ("04-30", "05-01")] == [2, 3]
    assert client.post(path, json=body).json()["schedules"] == []


def test_a_roll_out_can_be_held_to_some_venues(client: TestClient, route: Route, prices: dict[str, str]) -> None:
    here, there = route.venue(name="Here")["id"], route.venue(name="There")["id"]
    for venue_id in (here, there):
        schedule(client, f"/venues/{venue_id}", prices["one"], "2026-01-01")
    body = {"replacement": prices["two"], "effective_on": "2026-03-01", "venue_ids": [here, here]}
    done = client.post(f"/v1/tariffs/{prices['one']}/rollout", json=body).json()
    assert [item["venue_id"] for item in done["schedules"]] == [here]
    unknown = client.post(f"/v1/tariffs/{prices['one']}/rollout", json={**body, "venue_ids": [there, ABSENT]})
    assert (unknown.status_code, unknown.json()["detail"]) == (404, "Venue not found.")
    assert sold(client, "2026-03-02T12:00", venue_id=there) == 1


def test_the_week_is_resolved_day_by_day_with_the_venues_clock(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    late = {"name": "Late", "days": ["fri"], "from": "20:00", "to": "02:00", "tariff": prices["two"]}
    made = schedule(
        client,
        f"/venues/{venue_id}",
        prices["one"],
        "2026-01-01",
        weekly=[late],
        dates=[{"name": "Inventory", "on": "2026-03-05", "tariff": None}],
    )
    week = client.get(f"/v1/venues/{venue_id}/week?on=2026-03-08").json()
    assert (week["venue_id"], week["table_id"]) == (venue_id, None)
    assert [(day["on"], day["day"], len(day["spans"])) for day in week["days"]] == [
        ("2026-03-02", "mon", 1), ("2026-03-03", "tue", 1), ("2026-03-04", "wed", 1), ("2026-03-05", "thu", 1),
        ("2026-03-06", "fri", 3), ("2026-03-07", "sat", 1), ("2026-03-08", "sun", 1),
    ]  # fmt: skip
    friday = week["days"][4]["spans"]
    assert friday[1] == {
        "from_at": "2026-03-06T20:00:00-05:00", "to_at": "2026-03-07T02:00:00-05:00", "from_local": "20:00", "to_local": "02:00",
        "name": "Late", "kind": "weekly", "of": "venue", "basis": "listed", "schedule_id": made["id"], "tariff": {"id": prices["two"], "code": "two", "version": 1},
    }  # fmt: skip
    assert week["days"][3]["spans"][0]["tariff"] is None
    saturday, sunday = week["days"][5]["spans"][0], week["days"][6]["spans"][0]
    assert (saturday["from_at"], saturday["to_at"]) == ("2026-03-07T06:00:00-05:00", "2026-03-08T06:00:00-04:00")
    assert sunday["to_at"] == "2026-03-09T06:00:00-04:00"
    assert client.get(f"/v1/venues/{venue_id}/week").json()["days"][3]["on"] == "2026-01-01"
    early = client.get(f"/v1/venues/{venue_id}/week?on=2025-12-01").json()
    assert (early["type"], early["errors"][0]["where"]) == ("/problems/no_schedule_yet", "on")


def test_the_week_of_a_table_is_keyed_unless_what_is_listed_is_asked_for(
    client: TestClient, route: Route, prices: dict[str, str]
) -> None:
    venue_id = route.venue()["id"]
    first = schedule(client, f"/venues/{venue_id}", prices["one"], "2026-01-01")
    schedule(client, f"/venues/{venue_id}", prices["two"], "2026-02-01")
    table_id = route.table(venue_id)["id"]
    route.post(
        f"/tables/{table_id}/keyings", {"schedule_id": first["id"], "keyed_at": "2026-01-01T17:00:00Z", "by": "Bram"}
    )
    path = f"/v1/venues/{venue_id}/week?on=2026-02-10&table_id={table_id}"
    for query, basis, code in (("", "keyed", "one"), ("&basis=listed", "listed", "two")):
        week = client.get(path + query).json()
        span = week["days"][1]["spans"][0]
        assert (span["basis"], span["tariff"]["code"]) == (basis, code)
