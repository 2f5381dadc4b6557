"""The list as one to work with: given to people, put off, closed in words; and back when its cause is back (O1)."""

import csv
import io
from datetime import timedelta
from typing import Any, get_args

import pytest
from baizebook.store.db import writing
from baizebook.worklist.work import CLOSINGS, WorkCode, closing_of
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from tests.conftest import Route
from tests.worklist.conftest import Calendar

CASH_METER = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 6, "resets": "never"}]
SLOW = {"time": "11:00", "weekday": "tue", "display": "24h"}
RIGHT = {"time": "12:00", "display": "24h"}


def token(route: Route, name: str, role: str = "collector") -> dict[str, Any]:
    return route.post("/tokens", {"name": f"{name}'s phone", "person": name, "role": role})


def send(calendar: Calendar, item: dict[str, Any], step: str, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    answer = calendar.client.post(f"/v1/worklist/{item['id']}/{step}", json=body)
    return answer.status_code, answer.json()


def slow_clock(calendar: Calendar, route: Route, **venue: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a table whose clock is an hour slow on 3 November, and the work of setting it."""
    table = route.table(route.venue(**venue)["id"])
    calendar.on("2026-11-03")
    calendar.read(table, clock=SLOW)
    (item,) = calendar.work(kind="set_clock", venue_id=table["venue_id"])
    return table, item


def test_every_code_says_how_its_work_is_closed() -> None:
    assert set(CLOSINGS) == set(get_args(WorkCode))
    by = {code: closing.by for code, closing in CLOSINGS.items()}
    assert [code for code, how in by.items() if how == "words"] == ["difference", "leaning", "collector_leaning"]
    assert closing_of("ask_venue", "no_reading").by == "record_or_words"
    assert closing_of("visit", "no_reading").by == "record"


def test_work_is_given_to_a_person_and_found_by_their_name(calendar: Calendar, route: Route) -> None:
    token(route, "Rosalind")
    token(route, "Ignatius")
    table, item = slow_clock(calendar, route)
    slow_clock(calendar, route, name="The Tin Heron")
    for person in ("Ignatius", "Rosalind"):
        status, given = send(calendar, item, "assignment", {"person": person})
        assert (status, given) == (201, {**item, "person": person})
    assert [found["id"] for found in calendar.work(person="Rosalind")] == [item["id"]]
    assert calendar.work(person="Ignatius") == []
    calendar.now += timedelta(days=1)
    calendar.read(table, clock=SLOW | {"weekday": "wed"})
    (later,) = calendar.work(person="Rosalind")
    assert (later["id"], later["due_at"]) == (item["id"], "2026-11-04T17:00:00Z")


def test_work_that_comes_back_after_it_was_done_is_given_to_nobody_and_not_put_off(
    calendar: Calendar, route: Route
) -> None:
    token(route, "Rosalind")
    table, item = slow_clock(calendar, route)
    send(calendar, item, "assignment", {"person": "Rosalind"})
    send(calendar, item, "deferral", {"until": "2026-12-01", "reason": "Closed for repairs."})
    assert calendar.only("set_clock") == []
    calendar.on("2026-11-10")
    calendar.read(table, clock=RIGHT | {"weekday": "tue"}, done=["clock_set"])
    assert calendar.work(deferred=True, kind="set_clock") == []
    calendar.on("2026-11-17")
    calendar.read(table, clock=SLOW)
    (back,) = calendar.only("set_clock")
    assert (back["id"], back["person"], back["deferral"]) == (item["id"], None, None)


def test_work_put_off_is_back_on_the_trading_day_named(calendar: Calendar, route: Route) -> None:
    _, item = slow_clock(calendar, route)
    deferral = {"until": "2026-11-20", "reason": "Closed for repairs."}
    assert send(calendar, item, "deferral", deferral) == (201, {**item, "deferral": deferral})
    (shown,) = calendar.work(kind="set_clock", deferred=True)
    assert shown["deferral"] == deferral
    counted = calendar.client.get("/v1/tables").json()["items"][0]
    assert "set_clock" not in [work["kind"] for work in counted["work"]]
    calendar.on("2026-11-20T10:59:59+00:00")  # the trading day begins at 06:00 in New York
    assert calendar.only("set_clock") == []
    calendar.on("2026-11-20T11:00:00+00:00")
    assert calendar.only("set_clock") == [shown]


def test_a_deferral_ends_when_the_work_has_become_more_urgent(calendar: Calendar, route: Route) -> None:
    token(route, "Rosalind")
    battery = {"kind": "battery", "chemistry": "agm", "nominal_volts": 12}
    table = route.table(route.venue()["id"], power=battery)
    calendar.on("2026-11-03")
    rested = {"temperature_c": "26.7", "rested_minutes": 600}
    calendar.read(table, supply={"volts": "12.50", **rested})
    (item,) = calendar.only("charge_battery")
    assert item["code"] == "plan_charge"
    send(calendar, item, "assignment", {"person": "Rosalind"})
    send(calendar, item, "deferral", {"until": "2026-12-24", "reason": "It lasts until Christmas."})
    assert calendar.only("charge_battery") == []
    calendar.on("2026-11-10")
    calendar.read(table, supply={"volts": "12.10", **rested})
    (now,) = calendar.only("charge_battery")
    assert (now["id"], now["code"]) == (item["id"], "charge_now")
    assert (now["person"], now["deferral"]) == ("Rosalind", None)


def test_a_reading_begins_another_silence_that_nobody_was_given(calendar: Calendar, route: Route) -> None:
    token(route, "Rosalind")
    table = route.table(route.venue()["id"], meters=CASH_METER)
    calendar.on("2026-11-02")
    calendar.read(table, meters={"cash": 100})
    calendar.on("2026-11-17")
    (call,) = calendar.only("ask_venue")
    send(calendar, call, "assignment", {"person": "Rosalind"})
    calendar.read(table, meters={"cash": 100})
    assert calendar.only("ask_venue") == []
    calendar.on("2026-12-02")
    (next_call,) = calendar.only("ask_venue")
    assert (next_call["code"], next_call["person"]) == ("no_reading", None)
    assert next_call["id"] != call["id"]


def test_a_call_is_closed_in_words_and_the_visit_comes_all_the_same(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"])
    calendar.on("2026-11-16")
    (call,) = calendar.only("ask_venue")
    assert call["closes_by"] == "record_or_words"
    assert call["closes_when"] == "A reading or a collection of this table, or words on the call to the venue."
    status, closed = send(calendar, call, "completion", {"words": "Nobody has the key before Friday."})
    assert (status, closed["work_id"], closed["words"]) == (201, call["id"], "Nobody has the key before Friday.")
    assert calendar.work() == []
    calendar.on("2026-11-29")
    (visit,) = calendar.work()
    assert (visit["kind"], visit["table_id"]) == ("visit", table["id"])


def test_a_meter_that_went_down_is_closed_in_words_until_it_goes_down_again(calendar: Calendar, route: Route) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER)
    for day, cash in (("2026-11-02", 1000), ("2026-11-03", 900)):
        calendar.on(day)
        calendar.read(table, meters={"cash": cash})
    (item,) = calendar.only("review")
    send(calendar, item, "completion", {"words": "A digit was read wrongly on Monday."})
    calendar.on("2026-11-04")
    calendar.read(table, meters={"cash": 910})
    assert calendar.only("review") == []
    calendar.on("2026-11-05")
    calendar.read(table, meters={"cash": 700})
    (again,) = calendar.only("review")
    assert again["code"] == "meter_went_down"
    assert again["id"] != item["id"]


def test_words_alone_close_a_difference_as_accepted_and_only_an_owner_says_them(
    calendar: Calendar, route: Route
) -> None:
    table = route.table(route.venue()["id"], meters=CASH_METER)
    calendar.collect(table, {"0.25": 0}, meters={"cash": 1000})
    calendar.on("2026-11-08")
    calendar.collect(table, {"0.25": 360}, meters={"cash": 1400})
    (item,) = calendar.only("review")
    collector = {"Authorization": f"Bearer {token(route, 'Rosalind')['token']}"}
    path = f"/v1/worklist/{item['id']}/completion"
    refused = calendar.client.post(path, json={"words": "Mine."}, headers=collector)
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/forbidden")
    status, closed = send(calendar, item, "completion", {"words": "A slip of paper for ten dollars."})
    assert (status, closed["outcome"]) == (201, "accepted")
    for step, body in (
        ("completion", {"words": "Again."}),
        ("assignment", {"person": "Rosalind"}),
        ("deferral", {"until": "2026-12-01", "reason": "Later."}),
    ):
        status, problem = send(calendar, item, step, body)
        assert (status, problem["type"]) == (409, "/problems/already_completed"), step


@pytest.mark.parametrize(
    ("step", "body", "status", "code", "where"),
    [
        ("deferral", {"until": "2026-11-02", "reason": "x"}, 422, "invalid", "until"),
        ("deferral", {"until": "2026-11-03", "reason": "x"}, 422, "invalid", "until"),
        ("deferral", {"until": "2026-12-01", "reason": ""}, 422, "invalid", "reason"),
        ("deferral", {"until": "2026-12-01"}, 422, "invalid", "reason"),
        ("assignment", {"person": "Nobody"}, 422, "unknown_person", "person"),
        ("assignment", {"person": "Revoked"}, 422, "unknown_person", "person"),
        ("assignment", {"person": "Expired"}, 422, "unknown_person", "person"),
        ("assignment", {"person": "Bookkeeper"}, 422, "unknown_person", "person"),
        ("completion", {"words": "Done."}, 409, "closed_by_a_record", None),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(
    calendar: Calendar, route: Route, step: str, body: dict[str, Any], status: int, code: str, where: str | None
) -> None:
    token(route, "Bookkeeper", "accountant")
    revoked = token(route, "Revoked")
    calendar.client.delete(f"/v1/tokens/{revoked['id']}")
    route.post(
        "/tokens",
        {"name": "Expired", "role": "collector", "expires_at": (calendar.now + timedelta(hours=1)).isoformat()},
    )
    _, item = slow_clock(calendar, route)
    found, problem = send(calendar, item, step, body)
    assert (found, problem["type"]) == (status, f"/problems/{code}")
    if where is not None:
        assert problem["errors"][0]["where"] == where
    assert calendar.work(kind="set_clock") == [item]


def test_work_that_is_not_there_is_not_found(calendar: Calendar, route: Route) -> None:
    absent = {"id": route.venue()["id"]}
    for step, body in (
        ("assignment", {"person": "the owner"}),
        ("deferral", {"until": "2026-12-01", "reason": "Later."}),
        ("completion", {"words": "Done."}),
    ):
        status, problem = send(calendar, absent, step, body)
        assert (status, problem["type"]) == (404, "/problems/not_found"), step


def test_work_is_put_together_by_venue_and_each_group_names_its_items(calendar: Calendar, route: Route) -> None:
    first, second = route.venue(), route.venue(name="Harbour Lane Tavern", contact="Bram, 555-0117")
    for venue, label, expires_on in (
        (first, "Left", "2026-12-01"),
        (second, "Upstairs", "2026-12-02"),
        (first, "Right", "2026-12-03"),
    ):
        route.table(venue["id"], label=label, licence={"number": label, "expires_on": expires_on})
    answer = calendar.client.get("/v1/worklist", params={"group": "venue"}).json()
    assert [item["table"] for item in answer["items"]] == ["Left", "Right", "Upstairs"]
    ids = [item["id"] for item in answer["items"]]
    assert answer["groups"] == [
        {
            "venue_id": first["id"],
            "venue": "The Copper Lantern",
            "contact": "",
            "due_at": answer["items"][0]["due_at"],
            "work": ids[:2],
        },
        {
            "venue_id": second["id"],
            "venue": "Harbour Lane Tavern",
            "contact": "Bram, 555-0117",
            "due_at": answer["items"][2]["due_at"],
            "work": ids[2:],
        },
    ]
    page = calendar.client.get("/v1/worklist", params={"group": "venue", "limit": 2}).json()
    assert [item["table"] for item in page["items"]] == ["Left", "Upstairs"]
    rest = calendar.client.get("/v1/worklist", params={"group": "venue", "limit": 2, "after": page["next"]}).json()
    assert [item["table"] for item in rest["items"]] == ["Right"]
    assert calendar.client.get("/v1/worklist").json()["groups"] is None


def test_the_csv_has_the_whole_list(calendar: Calendar, route: Route) -> None:
    venue = route.venue(name="=The Copper Lantern")
    for day in range(1, 8):
        route.table(venue["id"], label=f"Table {day}", licence={"number": "L", "expires_on": f"2026-12-0{day}"})
    token(route, "Rosalind")
    item = calendar.work()[1]
    send(calendar, item, "assignment", {"person": "Rosalind"})
    answer = calendar.client.get("/v1/worklist", params={"format": "csv", "limit": 3})
    assert answer.headers["content-type"].startswith("text/csv")
    lines = list(csv.DictReader(io.StringIO(answer.text)))
    assert [line["table"] for line in lines] == [f"Table {day}" for day in range(1, 8)]
    assert (lines[1]["id"], lines[1]["person"], lines[1]["closes_by"]) == (item["id"], "Rosalind", "record")
    assert lines[0]["venue"] == "'=The Copper Lantern"


def test_each_step_is_kept_and_never_changed(engine: Engine, calendar: Calendar, route: Route) -> None:
    _, item = slow_clock(calendar, route)
    send(calendar, item, "assignment", {"person": "the owner"})
    send(calendar, item, "deferral", {"until": "2026-12-01", "reason": "Closed for repairs."})
    with writing(engine) as session:
        kept = session.execute(text("SELECT step, code, person, reason FROM work_step ORDER BY id")).all()
    assert kept == [("assigned", "off", "the owner", ""), ("deferred", "off", None, "Closed for repairs.")]
    for statement in ("UPDATE work_step SET person = 'x'", "DELETE FROM work_step"):
        with pytest.raises(DBAPIError, match="append-only"), writing(engine) as session:
            session.execute(text(statement))
