"""Venues and tables through the service: made, changed, moved, listed."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import Any

from fastapi.testclient import TestClient

from tests.conftest import NOON, Route, patiently

ABSENT = "00000000-0000-4000-8000-000000000000"
TABLE = {
    "label": "Window side",
    "accepts": ["20.00", "0.25", "1", "5.0"],
    "purchase": {"gap_s": 90, "ends_on_start": True},
    "power": {"kind": "battery", "chemistry": "agm", "nominal_volts": 12, "capacity_ah": "9.0"},
    "meters": [
        {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
        {"name": "plays", "counts": "games", "digits": 6, "resets": "at_collection"},
    ],
    "controller": {
        "games": {"prices_max": 7, "price_step": "0.5"},
        "minutes": {"prices_max": 3, "units_step": 1, "units_min": 1, "units_max": 480},
        "kinds_at_once": True,
        "windows_per_day": 1,
        "counting": "climb_once",
        "day_turns_at": "00:00",
        "take_over": [{"from": "mon", "to": ["tue", "wed", "thu"]}],
        "clock": "weekday",
        "changes_for_summer_time": False,
    },
    "cash_box": {"coins_max": 4000, "notes_max": 600, "value_max": "1500"},
    "licence": {"number": "MF-2231", "expires_on": "2027-06-30"},
}


def at(client: TestClient, instant: datetime) -> None:
    """Set the service's clock."""
    client.app.state.clock = lambda: instant  # type: ignore[attr-defined]


def test_a_venue_is_made_and_read_with_every_field_there(client: TestClient, route: Route) -> None:
    route.post(
        "/tax-areas", {"code": "MF", "name": "Millbrook", "rates": [{"from_on": "2026-01-01", "rate_percent": "8.25"}]}
    )
    sent = {
        "name": "Zum blauen Keiler", "time_zone": "Europe/Berlin", "currency": "EUR", "day_starts_at": "05:30", "address": "Mühlgasse 7\n2. Hof",
        "contact": "Frau Sommerfeld", "legal_name": "Blauer Keiler GmbH", "payee": "Keiler Bank", "tax_number": "12/345", "tax_area": "MF", "notes": "🎱",
    }  # fmt: skip
    made = client.post("/v1/venues", json=sent)
    assert made.status_code == 201
    dated = [
        {"name": name, "from_on": None, "value": sent[name]}
        for name in ("tax_area", "legal_name", "payee", "tax_number")
    ]
    unset = {"latitude": None, "longitude": None, "departed_on": None}
    assert made.json() == {"id": made.json()["id"], **sent, "dated": dated, **unset}
    read = client.get(made.headers["Location"])
    assert read.json() == made.json()
    assert read.headers["ETag"] == made.headers["ETag"] == '"1"'
    plain = route.venue()
    assert (plain["day_starts_at"], plain["address"], plain["tax_area"]) == ("06:00", "", None)


def test_what_is_dated_holds_from_todays_trading_date_or_from_the_one_that_is_said(
    client: TestClient, route: Route
) -> None:
    at(client, datetime(2026, 11, 24, 17, tzinfo=UTC))
    venue = route.venue(legal_name="Corner Tavern LLC")
    path = f"/v1/venues/{venue['id']}"

    def change(**values: Any) -> dict[str, Any]:
        answer = client.patch(path, json=values, headers={"If-Match": "*"})
        assert answer.status_code == 200, answer.text
        return answer.json()  # type: ignore[no-any-return]

    at(client, datetime(2026, 11, 25, 10, 59, tzinfo=UTC))  # 05:59 in New York: still the trading date of the 24th
    assert change(legal_name="Lantern Inc.")["legal_name"] == "Lantern Inc."
    assert change(legal_name="Lantern Inc.")["dated"] == [
        {"name": "legal_name", "from_on": None, "value": "Corner Tavern LLC"},
        {"name": "legal_name", "from_on": "2026-11-24", "value": "Lantern Inc."},
    ]
    planned = change(legal_name="Harbour Ltd.", payee="A bank", from_on="2026-12-01")
    assert (planned["legal_name"], planned["payee"]) == ("Lantern Inc.", "")
    late = change(legal_name="Old Corner Ltd.", from_on="2026-11-01")
    assert late["legal_name"] == "Lantern Inc."
    at(client, datetime(2026, 12, 1, 11, 0, tzinfo=UTC))
    then = client.get(path).json()
    assert (then["legal_name"], then["payee"]) == ("Harbour Ltd.", "A bank")
    assert [(item["from_on"], item["value"]) for item in then["dated"] if item["name"] == "legal_name"] == [
        (None, "Corner Tavern LLC"),
        ("2026-11-01", "Old Corner Ltd."),
        ("2026-11-24", "Lantern Inc."),
        ("2026-12-01", "Harbour Ltd."),
    ]
    refused = client.patch(path, json={"name": "New", "from_on": "2026-11-01"}, headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["errors"][0]["where"]) == (422, "from_on")


def test_a_collector_sees_no_tax_number(client: TestClient, route: Route) -> None:
    venue = route.venue(tax_number="11-22", legal_name="Corner Tavern LLC")
    for role, seen in (("accountant", "11-22"), ("collector", "")):
        for path in (f"/v1/venues/{venue['id']}", "/v1/venues"):
            answer = client.get(path, headers=route.token(role)).json()
            told = answer.get("items", [answer])[0]
            assert (told["tax_number"], told["legal_name"]) == (seen, "Corner Tavern LLC")
            assert ("tax_number" in {item["name"] for item in told["dated"]}) == bool(seen)


def test_a_table_is_read_with_its_money_in_full_decimals_and_its_coins_ascending(
    client: TestClient, route: Route
) -> None:
    made = client.post(f"/v1/venues/{route.venue()['id']}/tables", json=TABLE)
    table = made.json()
    assert made.status_code == 201
    assert client.get(made.headers["Location"]).json() == table
    assert table["accepts"] == ["0.25", "1.00", "5.00", "20.00"]
    assert table["controller"]["games"] == {
        "prices_max": 7, "price_step": "0.50", "units_step": None, "units_min": None, "units_max": None,
    }  # fmt: skip
    assert table["controller"]["take_over"] == [{"from": "mon", "to": ["tue", "wed", "thu"]}]
    assert table["cash_box"] == {"coins_max": 4000, "notes_max": 600, "value_max": "1500.00"}
    assert table["meters"][1] == {
        "name": "plays", "counts": "games", "unit_value": None, "digits": 6, "resets": "at_collection",
    }  # fmt: skip
    assert table["licence"] == {"number": "MF-2231", "expires_on": "2027-06-30"}


def test_a_table_of_which_little_is_said_has_the_rest_empty(route: Route) -> None:
    venue = route.venue()
    table = route.table(venue["id"])
    assert {name: table[name] for name in table if name not in ("id", "label", "accepts")} == {
        "venue_id": venue["id"],
        "purchase": {"gap_s": 120, "ends_on_start": False},
        "power": None,
        "meters": [],
        "controller": None,
        "frame_number": None,
        "cash_box": None,
        "licence": None,
    }


def test_a_table_in_yen_takes_whole_coins_and_one_in_dinars_three_decimals(route: Route) -> None:
    yen = route.venue(currency="JPY", time_zone="Asia/Tokyo")
    assert route.table(yen["id"], accepts=["100", "500"])["accepts"] == ["100", "500"]
    dinar = route.venue(currency="KWD", time_zone="Asia/Kuwait")
    assert route.table(dinar["id"], accepts=["0.1", "1.250"])["accepts"] == ["0.100", "1.250"]


def test_a_change_needs_the_etag_of_what_was_read(client: TestClient, route: Route) -> None:
    venue = route.venue()
    for path in (f"/v1/venues/{venue['id']}", f"/v1/tables/{route.table(venue['id'])['id']}"):
        name = "name" if "venues" in path else "label"
        changed: Any = {name: "Another"}
        assert client.patch(path, json=changed).status_code == 428
        for tag in ('"2"', "1", "", '"1'):
            assert client.patch(path, json=changed, headers={"If-Match": tag}).status_code == 412
        first = client.patch(path, json=changed, headers={"If-Match": client.get(path).headers["ETag"]})
        assert (first.status_code, first.json()[name], first.headers["ETag"]) == (200, "Another", '"2"')
        late = client.patch(path, json={name: "Late"}, headers={"If-Match": '"1"'})
        assert late.status_code == 412
        assert late.json()["errors"] == [{"where": "If-Match", "found": '"1"', "expected": '"2"'}]
        assert client.get(path).json()[name] == "Another"
        assert client.patch(path, json={}, headers={"If-Match": "*"}).status_code == 200
        assert client.patch(path, json={name: None}, headers={"If-Match": "*"}).status_code == 422
        assert client.patch(path[:-36] + ABSENT, json=changed).status_code == 404


def test_what_is_absent_of_a_change_stays_and_null_takes_a_part_out(client: TestClient, route: Route) -> None:
    path = f"/v1/tables/{route.table(route.venue()['id'], **TABLE)['id']}"
    before = client.get(path).json()
    changed = client.patch(path, json={"licence": None, "power": None, "accepts": ["0.50"]}, headers={"If-Match": "*"})
    assert changed.json() == {**before, "licence": None, "power": None, "accepts": ["0.50"]}
    refused = client.patch(path, json={"accepts": ["0.001"], "meters": []}, headers={"If-Match": "*"})
    assert refused.status_code == 422
    assert client.get(path).json() == changed.json()


def test_zone_currency_and_day_start_are_fixed_once_there_is_a_schedule(client: TestClient, route: Route) -> None:
    venue = route.venue()
    path = f"/v1/venues/{venue['id']}"
    free = client.patch(
        path, json={"time_zone": "America/Chicago", "day_starts_at": "05:00"}, headers={"If-Match": "*"}
    )
    assert (free.json()["time_zone"], free.json()["day_starts_at"]) == ("America/Chicago", "05:00")
    route.schedule(venue["id"], None)
    change = {"time_zone": "Europe/Berlin", "currency": "EUR", "day_starts_at": "06:00"}
    fixed = client.patch(path, json=change, headers={"If-Match": "*"})
    assert (fixed.status_code, fixed.json()["type"]) == (409, "/problems/fixed_by_schedule")
    assert fixed.json()["errors"] == [
        {"where": "time_zone", "found": "Europe/Berlin", "expected": "America/Chicago"},
        {"where": "currency", "found": "EUR", "expected": "USD"},
        {"where": "day_starts_at", "found": "06:00", "expected": "05:00"},
    ]
    same = {"time_zone": "America/Chicago", "currency": "USD", "day_starts_at": "05:00", "name": "Renamed"}
    assert client.patch(path, json=same, headers={"If-Match": "*"}).json()["name"] == "Renamed"


def test_the_currency_stays_where_tables_stand(client: TestClient, route: Route) -> None:
    venue = route.venue()
    route.table(venue["id"])
    answer = client.patch(f"/v1/venues/{venue['id']}", json={"currency": "CAD"}, headers={"If-Match": "*"})
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/conflict")


def test_a_table_moves_forward_in_time_with_its_meters(client: TestClient, route: Route) -> None:
    at(client, NOON)
    first, second = route.venue(name="First"), route.venue(name="Second")
    table = route.table(first["id"], **TABLE)
    at(client, NOON + timedelta(days=2))
    path = f"/tables/{table['id']}/moves"
    move = {"venue_id": None, "moved_at": "2026-11-26T12:00:00-05:00", "meters": {"cash": 10420, "plays": 310}}
    made = route.post(path, move)
    assert made == {
        "id": made["id"], "table_id": table["id"], "to": "workshop", "venue_id": None, "moved_at": "2026-11-26T17:00:00Z", "meters": {"cash": 10420, "plays": 310}, "box": "emptied", "void": None,
        "placed_at_void": None,
    }  # fmt: skip
    assert client.get(f"/v1/tables/{table['id']}").json()["venue_id"] is None
    route.post(path, {"venue_id": second["id"], "moved_at": "2026-11-27T17:00:00Z", "box": "travels"})
    assert [t["id"] for t in client.get(f"/v1/venues/{second['id']}/tables").json()["items"]] == [table["id"]]
    assert client.get(f"/v1/venues/{first['id']}/tables").json() == {"items": [], "next": None}


def test_a_table_that_has_stood_there_for_long_can_be_moved_since_then(client: TestClient, route: Route) -> None:
    at(client, NOON)
    venue = route.venue()
    table = route.table(venue["id"], placed_at="2026-03-02T09:00:00-05:00")
    path = f"/v1/tables/{table['id']}/moves"
    early = client.post(path, json={"venue_id": None, "moved_at": "2026-03-02T13:59:59Z"})
    assert (early.status_code, early.json()["type"]) == (409, "/problems/out_of_order")
    assert client.post(path, json={"venue_id": None, "moved_at": "2026-03-02T14:00:00Z"}).status_code == 201
    assert client.patch(f"/v1/tables/{table['id']}", json={"placed_at": NOON.isoformat()}).status_code == 422


def test_a_move_takes_a_table_to_another_place(client: TestClient, route: Route) -> None:
    at(client, NOON)
    venue, other = route.venue(), route.venue(name="The Tin Heron")
    path = f"/v1/tables/{route.table(venue['id'])['id']}/moves"
    moves = [
        (venue["id"], 0, "The Copper Lantern"), (other["id"], 1, None), (other["id"], 2, "The Tin Heron"), (None, 3, None),
        (None, 4, "the workshop"), (venue["id"], 5, None),
    ]  # fmt: skip
    for venue_id, minute, stands_at in moves:
        moved_at = (NOON + timedelta(minutes=minute)).isoformat()
        answer = client.post(path, json={"venue_id": venue_id, "moved_at": moved_at})
        assert answer.status_code == (201 if stands_at is None else 409)
        if stands_at is not None:
            assert answer.json()["type"] == "/problems/already_there"
            since = (NOON + timedelta(minutes=minute - 1 if minute else 0)).isoformat()
            expected = f"another place: it has been there since {since}"
            assert answer.json()["errors"] == [{"where": "venue_id", "found": stands_at, "expected": expected}]


def test_moves_that_cannot_be_are_refused(client: TestClient, route: Route) -> None:
    at(client, NOON)
    venue, euro = route.venue(), route.venue(currency="EUR", time_zone="Europe/Berlin")
    table = route.table(venue["id"], **TABLE)
    now = NOON.isoformat()
    for move, status, code, where in (
        ({"venue_id": euro["id"], "moved_at": now}, 409, "currency_differs", "venue_id"),
        ({"venue_id": ABSENT, "moved_at": now}, 404, "not_found", None),
        ({"venue_id": None, "moved_at": "2026-11-25T16:59:59Z"}, 409, "out_of_order", "moved_at"),
        ({"venue_id": None, "moved_at": "2026-11-25T17:05:01Z"}, 422, "invalid", "moved_at"),
        ({"venue_id": None, "moved_at": now, "meters": {"hours": 1}}, 422, "invalid", "meters.hours"),
        ({"venue_id": None, "moved_at": now, "meters": {"plays": 1_000_000}}, 422, "invalid", "meters.plays"),
        ({"venue_id": None, "moved_at": now, "meters": {"cash": 2**63}}, 422, "invalid", "meters.cash"),
        ({"venue_id": None, "moved_at": now, "meters": {"cash": -1}}, 422, "invalid", "meters.cash"),
        ({"moved_at": now}, 422, "invalid", "venue_id"),
    ):
        answer = client.post(f"/v1/tables/{table['id']}/moves", json=move)
        assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{code}"), move
        assert [error["where"] for error in answer.json()["errors"]] == ([] if where is None else [where])
    assert client.get(f"/v1/tables/{table['id']}").json()["venue_id"] == venue["id"]


def test_tax_areas_gain_rates_and_keep_those_they_have(client: TestClient, route: Route) -> None:
    area = {"code": "MF", "name": "Millbrook Falls", "rates": [{"from_on": "2026-01-01", "rate_percent": "8.25"}]}
    route.post("/tax-areas", area)
    later = route.post("/tax-areas", {**area, "rates": [{"from_on": "2025-01-01", "divisor": "1.0775"}]})
    assert later["rates"] == [
        {"from_on": "2025-01-01", "rate_percent": None, "divisor": "1.0775"},
        {"from_on": "2026-01-01", "rate_percent": "8.25", "divisor": None},
    ]
    route.post("/tax-areas", area)
    other = client.post("/v1/tax-areas", json={**area, "rates": [{"from_on": "2026-01-01", "rate_percent": "9"}]})
    assert other.status_code == 409
    assert other.json()["errors"] == [
        {"where": "rates[0]", "found": "9 %", "expected": "8.25 %, which holds from that date on"}
    ]
    route.post("/tax-areas", {**area, "code": "AA"})
    first = client.get("/v1/tax-areas?limit=1")
    assert (first.json()["items"][0]["code"], first.json()["next"]) == ("AA", "AA")
    assert first.headers["Link"] == '</v1/tax-areas?limit=1&after=AA>; rel="next"'
    assert client.get("/v1/tax-areas?limit=1&after=AA").json() == {"items": [later], "next": None}


def test_a_list_read_in_pages_neither_shifts_nor_repeats_while_others_write(client: TestClient, route: Route) -> None:
    names = [f"Venue {i}" for i in range(5)]
    for name in names:
        route.venue(name=name)
    seen, path = [], "/v1/venues?limit=2"
    while path:
        page = client.get(path)
        seen += [venue["name"] for venue in page.json()["items"]]
        path = page.headers.get("Link", "").partition(">")[0].lstrip("<")
        assert bool(path) == (page.json()["next"] is not None)
        if len(seen) == 2:
            route.venue(name="Venue 5")
    assert seen == [*names, "Venue 5"]
    for query in ("limit=0", "limit=501", "limit=x", "after=x", "limit=1&limit=2", "offset=2"):
        assert client.get(f"/v1/venues?{query}").status_code == 422
    assert client.get(f"/v1/venues?after={ABSENT.replace('0', 'f')}").json() == {"items": [], "next": None}


def test_venue_and_table_made_at_noon_keep_the_order_in_which_they_were_made(at_noon: TestClient, route: Route) -> None:
    made = [route.venue(name=f"Venue {i}")["id"] for i in range(10)]
    assert [venue["id"] for venue in at_noon.get("/v1/venues").json()["items"]] == made


def test_of_twenty_changes_at_once_with_one_etag_one_is_made(client: TestClient, route: Route) -> None:
    path = f"/v1/venues/{route.venue()['id']}"

    def rename(i: int) -> int:
        change = {"name": f"Name {i}"}
        return patiently(lambda: client.patch(path, json=change, headers={"If-Match": '"1"'})).status_code  # type: ignore[no-any-return]

    with ThreadPoolExecutor(20) as threads:
        assert sorted(threads.map(rename, range(20))) == [200, *[412] * 19]
    assert client.get(path).headers["ETag"] == '"2"'


def test_a_first_schedule_and_another_time_zone_at_once_never_both_come_through(
    client: TestClient, route: Route
) -> None:
    venues = [route.venue(name=f"Venue {i}")["id"] for i in range(8)]

    def publish(venue_id: str) -> int:
        body = {"effective_on": "2026-01-01", "base": None}
        return patiently(lambda: client.post(f"/v1/venues/{venue_id}/schedules", json=body)).status_code  # type: ignore[no-any-return]

    def move_clock(venue_id: str) -> int:
        body, headers = {"time_zone": "Europe/Berlin"}, {"If-Match": "*"}
        return patiently(lambda: client.patch(f"/v1/venues/{venue_id}", json=body, headers=headers)).status_code  # type: ignore[no-any-return]

    with ThreadPoolExecutor(16) as threads:
        published = [threads.submit(publish, venue_id) for venue_id in venues]
        moved = [threads.submit(move_clock, venue_id) for venue_id in venues]
    assert [future.result() for future in published] == [201] * 8
    for venue_id, future in zip(venues, moved, strict=True):
        changed = client.get(f"/v1/venues/{venue_id}").json()["time_zone"] == "Europe/Berlin"
        assert future.result() == (200 if changed else 409)
