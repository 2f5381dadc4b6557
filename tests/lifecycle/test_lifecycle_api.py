"""Tables and venues leave the route, and mistakes are taken back: a walk over HTTP from an empty database."""

from typing import Any
from uuid import UUID, uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from tests.conftest import Route

PLACED = "2026-11-01T12:00:00Z"
LEFT = "2026-11-20T12:00:00Z"
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]


class Yard:
    """A venue with one table since 1 November."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.venue = route.venue()["id"]
        self.table = route.table(self.venue, placed_at=PLACED, meters=METERS)["id"]

    def collect(self, at: str) -> str:
        id_ = str(uuid4())
        body = {"id": id_, "venue_id": self.venue, "collected_at": at, "collector": "Ana"}
        self.route.post("/collections", {**body, "tables": [{"table_id": self.table, "counted": {"1.00": 4}}]})
        return id_

    def retire(self, how: str = "retired", **more: Any) -> dict[str, Any]:
        return self.route.post(f"/tables/{self.table}/retirement", {"how": how, "at": LEFT, "box": "empty", **more})

    def refused(
        self, path: str, body: dict[str, Any] | None = None, *, method: str = "POST"
    ) -> tuple[int, str, list[str]]:
        answer = self.client.request(method, f"/v1{path}", json=body)
        problem = answer.json()
        places = [error["where"] for error in problem["errors"]]
        return answer.status_code, problem["type"].removeprefix("/problems/"), places

    def place(self) -> dict[str, Any]:
        (table,) = (item for item in self.client.get("/v1/tables").json()["items"] if item["id"] == self.table)
        return dict(table["place"])

    def accounts(self) -> dict[str, str]:
        items = self.client.get("/v1/ledger/accounts").json()["items"]
        return {item["account"]: item["balance"] for item in items if item["balance"].strip("-0.")}


@pytest.fixture
def yard(at_noon: TestClient, route: Route) -> Yard:
    """A route on 25 November at noon in New York."""
    return Yard(at_noon, route)


@pytest.mark.parametrize("how", ["retired", "sold", "lost"])
def test_a_table_that_has_left_stays_on_the_list_and_takes_nothing_later(yard: Yard, how: str) -> None:
    left = yard.retire(how)
    assert (left["how"], left["at"], left["entry_id"]) == (how, LEFT, None)
    assert yard.place() == {"kind": how, "venue_id": None, "venue": None, "since": LEFT}
    assert yard.client.get("/v1/tables", params={"place": how}).json()["items"][0]["id"] == yard.table
    assert yard.client.get(f"/v1/venues/{yard.venue}/tables").json()["items"] == []
    later = "2026-11-20T12:00:01Z"
    table = {"table_id": yard.table}
    reading = {**table, "taken_at": later, "meters": {"cash": 5}}
    results = yard.route.post("/readings", {"readings": [{"id": str(uuid4()), **reading}]})["results"]
    assert (results[0]["outcome"], results[0]["problem"]["type"]) == ("refused", "/problems/table_gone")
    box = {"id": str(uuid4()), "venue_id": yard.venue, "collected_at": later, "collector": "Ana"}
    collection = {**box, "tables": [{**table, "counted": {"1.00": 4}}]}
    assert yard.refused("/collections", collection) == (409, "table_gone", ["tables[0].table_id"])
    job = {"id": str(uuid4()), **table, "reported_at": later, "fault": "lamp_out", "playable": True}
    assert yard.refused("/jobs", job) == (409, "table_gone", ["table_id"])
    schedule = yard.route.schedule(yard.venue, None)["id"]
    keying = {"schedule_id": schedule, "keyed_at": later, "by": "Ana"}
    assert yard.refused(f"/tables/{yard.table}/keyings", keying) == (409, "table_gone", ["table_id"])
    move = {"venue_id": yard.venue, "moved_at": later}
    assert yard.refused(f"/tables/{yard.table}/moves", move) == (409, "table_gone", ["table_id"])
    again = {"how": "lost", "at": later}
    assert yard.refused(f"/tables/{yard.table}/retirement", again) == (409, "table_gone", ["table_id"])


def test_what_was_before_a_table_left_is_still_taken(yard: Yard) -> None:
    yard.retire()
    reading = {"id": str(uuid4()), "table_id": yard.table, "taken_at": LEFT, "meters": {"cash": 5}}
    assert yard.route.post("/readings", {"readings": [reading]})["recorded"] == 1
    yard.collect(LEFT)
    job = {"table_id": yard.table, "reported_at": "2026-11-19T12:00:00Z", "fault": "lamp_out", "playable": True}
    yard.route.post("/jobs", {**job, "id": str(uuid4())})


def test_a_table_that_has_left_makes_no_work(yard: Yard) -> None:
    address = f"/v1/tables/{yard.table}"
    licence = {"licence": {"number": "MF-1", "expires_on": "2026-12-01"}}
    etag = yard.client.get(address).headers["ETag"]
    assert yard.client.patch(address, json=licence, headers={"If-Match": etag}).is_success
    assert [item["kind"] for item in yard.client.get("/v1/worklist").json()["items"]] != []
    yard.retire()
    assert yard.client.get("/v1/worklist").json()["items"] == []


def test_the_last_collection_is_asked_for(yard: Yard) -> None:
    path = f"/tables/{yard.table}/retirement"
    leave = {"how": "sold", "at": LEFT, "price": "350.00"}
    assert yard.refused(path, leave) == (409, "last_collection_needed", ["table_id"])
    assert (yard.place()["kind"], yard.accounts()) == ("venue", {})
    yard.collect("2026-11-20T09:00:00Z")
    assert yard.route.post(path, leave)["price"] == "350.00"


def test_nobody_collects_a_lost_table(yard: Yard) -> None:
    assert yard.route.post(f"/tables/{yard.table}/retirement", {"how": "lost", "at": LEFT})["how"] == "lost"


def test_a_sale_is_posted_and_comes_back_when_its_move_is_void(yard: Yard) -> None:
    sold = yard.retire("sold", buyer="Odile", price="350.00")
    entry = yard.client.get(f"/v1/ledger/entries/{sold['entry_id']}").json()
    assert (entry["kind"], entry["on"], entry["table_id"]) == ("table_sale", "2026-11-20", yard.table)
    assert entry["reference"] == "Window side sold to Odile"
    assert yard.accounts() == {"bank": "350.00", "tables_sold": "-350.00"}
    void = yard.route.post(f"/moves/{sold['move_id']}/void", {"reason": "Another table was sold."})
    assert void["void"] == {
        "reason": "Another table was sold.",
        "voided_at": "2026-11-25T17:00:00Z",
        "voided_by": "the owner",
    }
    assert yard.place() == {"kind": "venue", "venue_id": yard.venue, "venue": "The Copper Lantern", "since": PLACED}
    assert yard.accounts() == {}
    assert yard.client.get("/v1/ledger/verify").json()["ok"] is True
    moves = yard.client.get(f"/v1/tables/{yard.table}/moves").json()["items"]
    assert [(move["to"], move["void"] is not None) for move in moves] == [("venue", False), ("sold", True)]
    reading = {"id": str(uuid4()), "table_id": yard.table, "taken_at": "2026-11-21T12:00:00Z", "meters": {"cash": 5}}
    assert yard.route.post("/readings", {"readings": [reading]})["recorded"] == 1
    assert yard.retire("sold", price="300.00")["price"] == "300.00"
    assert yard.accounts() == {"bank": "300.00", "tables_sold": "-300.00"}


@pytest.mark.parametrize(
    ("changes", "status", "code", "where"),
    [
        ({"how": "stolen"}, 422, "invalid", "how"),
        ({"how": "retired", "price": "5.00"}, 422, "invalid", "price"),
        ({"how": "lost", "buyer": "Odile"}, 422, "invalid", "buyer"),
        ({"how": "sold", "price": "5.001"}, 422, "bad_money", "price"),
        ({"at": "2026-10-31T12:00:00Z"}, 409, "out_of_order", "at"),
        ({"at": "2026-11-25T17:06:00Z"}, 422, "invalid", "at"),
        ({"box": "full"}, 422, "invalid", "box"),
    ],
)
def test_a_retirement_that_cannot_be(yard: Yard, changes: dict[str, Any], status: int, code: str, where: str) -> None:
    body = {"how": "sold", "at": LEFT, "box": "empty", **changes}
    assert yard.refused(f"/tables/{yard.table}/retirement", body) == (status, code, [where])
    assert (yard.place()["kind"], yard.accounts()) == ("venue", {})


def test_only_the_last_move_is_voided_and_once(yard: Yard) -> None:
    path = f"/tables/{yard.table}/moves"
    first = yard.client.get(f"/v1{path}").json()["items"][0]["id"]
    other = yard.route.venue(name="The Tin Fiddle")["id"]
    second = yard.route.post(path, {"venue_id": None, "moved_at": "2026-11-10T12:00:00Z"})["id"]
    third = yard.route.post(path, {"venue_id": other, "moved_at": "2026-11-12T12:00:00Z"})["id"]
    why = {"reason": "It never left."}
    assert yard.refused(f"/moves/{second}/void", why) == (409, "not_the_last_move", ["move_id"])
    assert yard.refused(f"/moves/{uuid4()}/void", why)[0] == 404
    assert yard.refused(f"/moves/{third}/void", {"reason": ""})[0] == 422
    yard.route.post(f"/moves/{third}/void", why)
    assert yard.refused(f"/moves/{third}/void", why) == (409, "already_void", ["move_id"])
    assert yard.place()["kind"] == "workshop"
    yard.route.post(f"/moves/{second}/void", why)
    assert (yard.place()["venue_id"], yard.place()["since"]) == (yard.venue, PLACED)
    assert yard.client.get(f"/v1{path}").json()["items"][0]["id"] == first
    yard.route.post(path, {"venue_id": other, "moved_at": "2026-11-11T12:00:00Z"})
    assert yard.place()["venue_id"] == other
    assert yard.client.get(f"/v1/venues/{other}/tables").json()["items"][0]["id"] == yard.table


WRONG_DATE = {"reason": "It came in spring."}


def read(yard: Yard, at: str, volts: str) -> list[str]:
    """Record a voltage; return the flags of the reading."""
    reading = {"id": str(uuid4()), "table_id": yard.table, "taken_at": at, "supply": {"volts": volts}}
    return list(yard.route.post("/readings", {"readings": [reading]})["results"][0]["flags"])


def volts(yard: Yard) -> str | None:
    battery = yard.client.get(f"/v1/tables/{yard.table}/health").json()["battery"]
    return battery and battery["volts"]


@pytest.mark.parametrize("voided_first", [True, False])
def test_a_wrong_placed_at_is_voided_and_earlier_readings_count_whatever_came_first(
    yard: Yard, voided_first: bool
) -> None:
    path = f"/tables/{yard.table}/moves"
    first = yard.client.get(f"/v1{path}").json()["items"][0]["id"]
    if not voided_first:
        assert read(yard, "2026-10-05T12:00:00Z", "12.60") == ["before_the_table"]
        assert volts(yard) is None
    void = yard.route.post(f"/moves/{first}/void", WRONG_DATE)
    if voided_first:
        assert read(yard, "2026-10-05T12:00:00Z", "12.60") == []
    assert volts(yard) == "12.60"
    assert read(yard, "2026-11-27T12:00:00Z", "9.00") == ["from_future"]
    assert volts(yard) == "12.60"
    items = yard.client.get(f"/v1/readings?table_id={yard.table}").json()["items"]
    assert [(item["flags"], item["venue_id"]) for item in items] == [([], yard.venue), (["from_future"], yard.venue)]
    (listed,) = yard.client.get(f"/v1{path}").json()["items"]
    assert listed == void
    assert (listed["void"], listed["placed_at_void"]["placed_at"]) == (None, PLACED)
    assert listed["placed_at_void"]["reason"] == WRONG_DATE["reason"]
    assert yard.refused(f"/moves/{first}/void", WRONG_DATE) == (409, "already_void", ["move_id"])
    (on_the_list,) = yard.client.get("/v1/tables").json()["items"]
    assert on_the_list["last_reading_at"] == "2026-10-05T12:00:00Z"


def test_a_void_placed_at_leaves_the_moves_after_it_as_they_are(yard: Yard) -> None:
    path = f"/tables/{yard.table}/moves"
    first = yard.client.get(f"/v1{path}").json()["items"][0]["id"]
    other = yard.route.venue(name="The Tin Fiddle")["id"]
    yard.route.post(path, {"venue_id": other, "moved_at": "2026-11-20T12:00:00Z"})
    yard.route.post(f"/moves/{first}/void", WRONG_DATE)
    for at in ("2026-10-05T12:00:00Z", "2026-11-20T11:59:00Z", "2026-11-20T12:00:00Z", "2026-11-22T12:00:00Z"):
        assert read(yard, at, "12.60") == []
    items = yard.client.get(f"/v1/readings?table_id={yard.table}").json()["items"]
    assert [item["venue_id"] for item in items] == [yard.venue, yard.venue, other, other]
    assert [move["venue_id"] for move in yard.client.get(f"/v1{path}").json()["items"]] == [yard.venue, other]


def test_a_first_place_without_a_time_has_none_to_void(yard: Yard) -> None:
    yard.table = yard.route.table(yard.venue)["id"]
    first = yard.client.get(f"/v1/tables/{yard.table}/moves").json()["items"][0]["id"]
    assert yard.refused(f"/moves/{first}/void", WRONG_DATE) == (409, "conflict", ["move_id"])


def test_after_a_void_move_the_table_sells_what_it_sold_before(yard: Yard) -> None:
    route = yard.route
    tariff = route.tariff()["id"]
    route.schedule(yard.venue, tariff)
    other = route.venue(name="The Tin Fiddle")["id"]
    move = route.post(f"/tables/{yard.table}/moves", {"venue_id": other, "moved_at": "2026-11-10T12:00:00Z"})["id"]
    ask = {"table_id": yard.table, "at": "2026-11-20T20:00", "money": "4.00"}
    assert yard.client.get("/v1/quotes", params=ask).status_code == 409
    route.post(f"/moves/{move}/void", {"reason": "It never left."})
    quote = yard.client.get("/v1/quotes", params=ask)
    assert quote.is_success, quote.text
    assert quote.json()["venue_id"] == yard.venue


def test_a_venue_leaves_when_its_tables_have_left(yard: Yard) -> None:
    route, path = yard.route, f"/venues/{yard.venue}/departure"
    entry = {"kind": "loan_advance", "amount": "200.00", "on": "2026-11-10", "venue_id": yard.venue}
    route.post("/ledger/entries", entry)
    opening = {"kind": "opening", "account": "owed_to_venues", "amount": "75.50", "on": "2026-11-01"}
    route.post("/ledger/entries", {**opening, "venue_id": yard.venue})
    assert yard.refused(path, {"on": "2026-11-21"}) == (409, "tables_still_there", ["venue_id"])
    yard.retire()
    assert yard.refused(path, {"on": "2026-11-18"}) == (409, "out_of_order", ["on"])
    assert route.post(path, {"on": "2026-11-20"}) == {
        "venue_id": yard.venue, "on": "2026-11-20", "currency": "USD", "owed_to_venue": "75.50", "venue_loan": "200.00",
    }  # fmt: skip
    assert yard.refused(path, {"on": "2026-11-21"}) == (409, "venue_left", ["venue_id"])
    assert yard.client.get("/v1/venues").json()["items"] == []
    (gone,) = yard.client.get("/v1/venues", params={"departed": True}).json()["items"]
    assert (gone["id"], gone["departed_on"]) == (yard.venue, "2026-11-20")
    assert yard.client.get(f"/v1/venues/{yard.venue}").json()["departed_on"] == "2026-11-20"
    statement = yard.client.get(f"/v1/venues/{yard.venue}/statements", params={"month": "2026-11"})
    assert statement.is_success, statement.text
    left = "The venue left the route after 20 Nov 2026."
    said = f"{left} Still open: payable to the venue 75.50 USD, loan to be repaid 200.00 USD."
    assert (statement.json()["departed_on"], statement.json()["last_word"]) == ("2026-11-20", said)
    page = yard.client.get(f"/v1/venues/{yard.venue}/statement.html", params={"month": "2026-11"})
    assert said in page.text
    for kind, amount in (("venue_payment", "75.50"), ("write_off", "200.00")):
        settled = {"kind": kind, "amount": amount, "on": "2026-11-24", "venue_id": yard.venue, "currency": "USD"}
        route.post("/ledger/entries", settled)
    statement = yard.client.get(f"/v1/venues/{yard.venue}/statements", params={"month": "2026-11"})
    assert statement.json()["last_word"] == f"{left} Nothing is owed either way."
    earlier = yard.client.get(f"/v1/venues/{yard.venue}/statements", params={"month": "2026-10"})
    assert earlier.json()["last_word"] is None
    table = {"label": "Back", "accepts": ["1.00"]}
    assert yard.refused(f"/venues/{yard.venue}/tables", table) == (409, "venue_left", ["venue_id"])
    other = route.table(route.venue(name="The Tin Fiddle")["id"], placed_at=PLACED)["id"]
    move = {"venue_id": yard.venue, "moved_at": LEFT}
    assert yard.refused(f"/tables/{other}/moves", move) == (409, "venue_left", ["venue_id"])
    last = yard.client.get(f"/v1/tables/{yard.table}/moves").json()["items"][-1]["id"]
    assert yard.refused(f"/moves/{last}/void", {"reason": "No."}) == (409, "venue_left", ["move_id"])


def test_a_departure_by_mistake_is_taken_back(yard: Yard) -> None:
    path = f"/v1/venues/{yard.venue}/departure"
    assert yard.client.delete(path).status_code == 409
    yard.retire()
    yard.route.post(f"/venues/{yard.venue}/departure", {"on": "2026-11-21"})
    assert yard.client.delete(path).status_code == 204
    (venue,) = yard.client.get("/v1/venues").json()["items"]
    assert (venue["id"], venue["departed_on"]) == (yard.venue, None)
    yard.route.table(yard.venue, label="Back")
    assert yard.client.delete(path).status_code == 409


def test_what_was_never_used_is_deleted_and_the_rest_lists_what_hangs_on_it(yard: Yard, engine: Engine) -> None:
    client, route = yard.client, yard.route
    used = route.venue(name="The Tin Fiddle", tax_number="33-44")["id"]
    route.table(used)
    venue = route.venue(name="Typed twice", tax_number="11-22")["id"]
    table = route.table(venue)["id"]
    client.get("/v1/worklist")
    assert yard.refused(f"/venues/{venue}", method="DELETE") == (409, "still_used", ["venue_id"])
    assert client.delete(f"/v1/tables/{table}").status_code == 204
    assert client.get(f"/v1/tables/{table}").status_code == 404
    assert client.get("/v1/worklist").is_success
    assert client.delete(f"/v1/venues/{venue}").status_code == 204
    assert client.get(f"/v1/venues/{venue}").status_code == 404
    assert client.delete(f"/v1/venues/{venue}").status_code == 404
    with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
        connection.execute(text("DELETE FROM venue_fact"))
    yard.collect("2026-11-10T12:00:00Z")
    reading = {"id": str(uuid4()), "table_id": yard.table, "taken_at": "2026-11-12T12:00:00Z", "meters": {"cash": 5}}
    route.post("/readings", {"readings": [reading]})
    route.token("device", table_id=yard.table)
    answer = client.delete(f"/v1/tables/{yard.table}")
    assert answer.status_code == 409
    assert [error["found"] for error in answer.json()["errors"]] == [
        "collected table: 1", "reading: 1", "token: 1",
    ]  # fmt: skip
    route.schedule(yard.venue, None)
    answer = client.delete(f"/v1/venues/{yard.venue}")
    found = [error["found"] for error in answer.json()["errors"]]
    assert {"collection: 1", "reading: 1", "schedule: 1", "tables: 1"} <= set(found)
    assert client.get(f"/v1/tables/{yard.table}").is_success


def test_a_tariff_that_no_schedule_names_is_deleted_and_one_that_was_used_stays(yard: Yard, engine: Engine) -> None:
    client, route = yard.client, yard.route
    used, again = (route.tariff(code="evening")["id"] for _ in range(2))
    route.schedule(yard.venue, used)
    route.schedule(yard.venue, None, weekly=[{"name": "Late", "days": ["mon"], "tariff": used}])
    answer = client.delete(f"/v1/tariffs/{used}")
    assert (answer.status_code, answer.json()["code"]) == (409, "still_used")
    assert [error["found"] for error in answer.json()["errors"]] == ["schedules: 2"]
    with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
        connection.execute(text("DELETE FROM tariff"))
    assert client.delete(f"/v1/tariffs/{again}").status_code == 204
    assert client.get(f"/v1/tariffs/{again}").status_code == 404
    assert client.delete(f"/v1/tariffs/{again}").status_code == 404
    assert [item["id"] for item in client.get("/v1/tariffs").json()["items"]] == [used]
    schedule = {"effective_on": "2026-12-01", "base": again}
    assert yard.refused(f"/venues/{yard.venue}/schedules", schedule) == (422, "invalid", ["base"])
    assert route.tariff(code="evening")["version"] == 2


def test_a_table_that_moved_is_not_deleted(yard: Yard) -> None:
    yard.route.post(f"/tables/{yard.table}/moves", {"venue_id": None, "moved_at": LEFT})
    assert yard.refused(f"/tables/{yard.table}", method="DELETE") == (409, "still_used", ["table_id"])


def test_how_a_table_left_cannot_be_changed(yard: Yard, engine: Engine) -> None:
    yard.retire()
    for statement in ("DELETE FROM retirement", "UPDATE retirement SET how = 'lost'"):
        with pytest.raises(DBAPIError, match="append-only"), engine.begin() as connection:
            connection.execute(text(statement))
    assert UUID(yard.table)


def test_the_agreement_of_a_venue_ends_with_its_departure(yard: Yard) -> None:
    route = yard.route
    half = {"effective_on": "2026-01-01", "venue_percent": "50"}
    route.post(f"/venues/{yard.venue}/agreements", half)
    yard.retire()
    route.post(f"/venues/{yard.venue}/departure", {"on": "2026-11-20"})
    for path, body in (("agreements", half), ("schedules", {"base": None})):
        late = {**body, "effective_on": "2026-11-21"}
        assert yard.refused(f"/venues/{yard.venue}/{path}", late) == (409, "venue_left", ["effective_on"])
        route.post(f"/venues/{yard.venue}/{path}", {**body, "effective_on": "2026-11-20"})
    collected = [yard.collect("2026-11-20T12:00:00Z")]
    settled = [yard.client.get(f"/v1/collections/{id_}").json()["settlement"] is not None for id_ in collected]
    assert settled == [True]


@pytest.mark.parametrize(("on", "settled"), [("2026-11-20", True), ("2026-11-19", False)])
def test_a_late_collection_is_settled_by_the_agreement_of_its_date_only(yard: Yard, on: str, settled: bool) -> None:
    """Collected at noon UTC on the 20th, after six in New York: of the trading day of the 20th."""
    route = yard.route
    route.post(f"/venues/{yard.venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
    left = {"venue_id": None, "moved_at": "2026-11-19T12:00:00Z"}
    route.post(f"/tables/{yard.table}/moves", left)
    route.post(f"/venues/{yard.venue}/departure", {"on": on})
    collection = yard.client.get(f"/v1/collections/{yard.collect(LEFT)}").json()
    assert collection["trading_on"] == "2026-11-20"
    assert (collection["settlement"] is not None) is settled


def test_a_tax_area_and_a_set_of_dates_made_by_mistake_are_deleted(yard: Yard) -> None:
    rates = [{"from_on": "2020-01-01", "rate_percent": "6"}]
    for code in ("mill", "mlil"):
        yard.route.post("/tax-areas", {"code": code, "name": "Mill County", "rates": rates})
    yard.route.venue(name="The Tin Fiddle", tax_area="mill")
    assert yard.client.delete("/v1/tax-areas/mlil").status_code == 204
    assert yard.refused("/tax-areas/mill", method="DELETE") == (409, "still_used", ["tax_area"])
    assert yard.refused("/tax-areas/mlil", method="DELETE")[0] == 404
    assert [area["code"] for area in yard.client.get("/v1/tax-areas").json()["items"]] == ["mill"]
    yard.route.post("/date-sets", {"name": "Town days", "dates": [{"on": "2027-08-14", "name": "Town fair"}]})
    assert yard.client.delete("/v1/date-sets?name=Town%20days").status_code == 204
    assert yard.refused("/date-sets?name=Town%20days", method="DELETE")[0] == 404
    assert yard.client.get("/v1/date-sets").json()["items"] == []
