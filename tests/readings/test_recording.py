"""Readings are sent in batches: one outcome an item, sent once, kept even when odd, refused only when impossible."""

import gzip
import json
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError, IntegrityError

from tests.readings.conftest import METERS, Readings

FULL = {
    "supply": {"volts": "12.40", "temperature_c": "10", "rested_minutes": 600},
    "clock": {"weekday": "wed", "time": "12:02", "date": "2026-11-25", "display": "24h"},
    "meters": {"cash": 10420, "plays": 310},
    "settings": {
        "days": [
            {
                "day": "mon",
                "windows": [{"from": "06:00", "to": "06:00", "games": {"prices": [{"price": "0.75", "units": 1}]}}],
            }
        ]
    },
    "controller_version": "3.1",
    "done": ["clock_set"],
    "note": "a little loose",
}


ANOTHER = {"found": "another than was sent before", "expected": "what was sent before under this id"}


def test_a_reading_is_recorded_and_read_back_as_it_was_sent(readings: Readings) -> None:
    sent = readings.reading(**FULL)
    answer = readings.post(sent)
    assert answer == {
        "results": [{"id": sent["id"], "outcome": "recorded", "flags": [], "problem": None}],
        "recorded": 1,
        "duplicate": 0,
        "refused": 0,
    }
    (stored,) = readings.stored()
    assert stored["supply"] == {"volts": "12.40", "temperature_c": "10.0", "rested_minutes": 600}
    assert stored["clock"] == FULL["clock"]
    assert stored["meters"] == FULL["meters"]
    assert stored["settings"]["days"][0]["windows"] == [
        {
            "from": "06:00",
            "to": "06:00",
            "free": False,
            "games": {"prices": [{"price": "0.75", "units": 1}], "counting": "repeat"},
            "minutes": None,
        }
    ]
    assert (stored["controller_version"], stored["done"], stored["note"]) == ("3.1", ["clock_set"], "a little loose")
    assert (stored["venue_id"], stored["taken_at"]) == (readings.venue["id"], "2026-11-25T17:01:00Z")
    assert (stored["flags"], stored["voided"], stored["sender"]) == ([], None, "the owner")


def test_a_batch_sent_again_is_all_duplicates_and_changes_nothing(readings: Readings) -> None:
    batch = [readings.reading(meters={"cash": n}) for n in range(20)] + [readings.reading(**FULL)]
    readings.post(*batch)
    before = readings.stored()
    again = readings.post(*batch)
    assert (again["recorded"], again["duplicate"], again["refused"]) == (0, 21, 0)
    assert {result["outcome"] for result in again["results"]} == {"duplicate"}
    assert readings.stored() == before


def test_the_same_content_in_other_words_is_a_duplicate(readings: Readings) -> None:
    sent = readings.reading(
        supply={"volts": "12.4"}, done=["clock_set", "battery_charged"], meters={"cash": 1, "plays": 2}
    )
    same = {
        **sent,
        "id": sent["id"].upper(),
        "taken_at": "2026-11-25T17:01:00.000Z",
        "supply": {"volts": "12.400"},
        "done": ["battery_charged", "clock_set", "clock_set"],
        "meters": {"plays": 2, "cash": 1},
        "note": "",
    }
    assert [result["outcome"] for result in readings.post(sent, same)["results"]] == ["recorded", "duplicate"]


def test_the_same_id_with_other_content_is_refused_and_told_what_differs(readings: Readings) -> None:
    sent = readings.reading(**FULL)
    readings.post(sent)
    changed = {
        "taken_at": "2026-11-25T12:02:00-05:00",
        "supply": {"volts": "12.505", "temperature_c": "-4.5"},
        "clock": {"time": "09:05", "weekday": "thu", "date": "2026-11-26", "display": "12h"},
        "meters": {"cash": 10421},
        "controller_version": "3.2",
        "done": ["settings_keyed", "clock_set"],
        "note": "on second thoughts " * 5,
    }
    problem = readings.refusal({**sent, **changed})
    assert (problem["status"], problem["type"]) == (409, "/problems/same_id_other_content")
    assert [(error["where"], error["found"], error["expected"]) for error in problem["errors"]] == [
        ("taken_at", "2026-11-25T17:02:00Z", "2026-11-25T17:01:00Z"),
        ("supply.volts", "12.505", "12.40"),
        ("supply.temperature_c", "-4.5", "10.0"),
        ("supply.rested_minutes", "nothing", "600"),
        ("clock.time", "09:05", "12:02"),
        ("clock.weekday", "thu", "wed"),
        ("clock.date", "2026-11-26", "2026-11-25"),
        ("clock.display", "12h", "24h"),
        ("meters.cash", "10421", "10420"),
        ("meters.plays", "nothing", "310"),
        ("controller_version", "3.2", "3.1"),
        ("done", "clock_set, settings_keyed", "clock_set"),
        ("note", ("on second thoughts " * 5)[:79] + "…", "a little loose"),
    ]
    assert readings.stored()[0]["supply"]["volts"] == "12.40"


def test_of_settings_sent_again_the_days_that_differ_are_named(readings: Readings) -> None:
    closed = {"day": "fri", "windows": []}
    open_all_day = {"day": "fri", "windows": FULL["settings"]["days"][0]["windows"]}
    monday = FULL["settings"]["days"][0]
    sent = readings.reading(settings={"days": [monday, open_all_day]})
    readings.post(sent)
    for settings, found, expected in (
        ({"days": [monday, closed]}, "other settings of fri", "the settings on record"),
        ({"days": [open_all_day]}, "other settings of mon", "the settings on record"),
        ({"days": [open_all_day, monday]}, "other settings", "the settings on record"),
        (None, "nothing", "settings of mon, fri"),
    ):
        again = {name: value for name, value in {**sent, "settings": settings}.items() if value is not None}
        (error,) = readings.refusal(again)["errors"]
        assert (error["where"], error["found"], error["expected"]) == ("settings", found, expected)


def test_the_same_id_twice_in_one_batch_is_recorded_once(readings: Readings) -> None:
    sent = readings.reading(meters={"cash": 5})
    results = readings.post(sent, sent, {**sent, "meters": {"cash": 6}})["results"]
    assert [result["outcome"] for result in results] == ["recorded", "duplicate", "refused"]
    assert results[2]["problem"]["errors"] == [{"where": "meters.cash", "found": "6", "expected": "5"}]
    assert len(readings.stored()) == 1


def test_an_id_that_another_table_has_used_says_nothing_of_that_reading(readings: Readings) -> None:
    sent = readings.reading(meters={"cash": 5})
    readings.post(sent)
    other = readings.route.table(readings.venue["id"])
    problem = readings.refusal({**sent, "table_id": other["id"], "meters": None} | {"meters": {}})
    assert problem["errors"] == [{"where": "table_id", **ANOTHER}]
    assert readings.table["id"] not in str(problem)


def test_an_id_that_was_used_where_the_table_stood_before_says_nothing_of_that_reading(readings: Readings) -> None:
    sent = readings.reading(meters={"cash": 5})
    readings.post(sent)
    other = readings.route.venue(name="The Tin Heron")
    path = f"/tables/{readings.table['id']}/moves"
    readings.route.post(path, {"venue_id": other["id"], "moved_at": "2026-11-25T12:02:00-05:00"})
    guess = {**sent, "taken_at": "2026-11-25T12:03:00-05:00", "meters": {"cash": 6}}
    problem = readings.refusal(guess, headers=readings.route.token("venue", venue_id=other["id"]))
    assert problem["errors"] == [{"where": "taken_at", **ANOTHER}]
    assert [error["where"] for error in readings.refusal(guess)["errors"]] == ["taken_at", "meters.cash"]


def test_a_table_without_meters_is_said_to_have_none(readings: Readings) -> None:
    table = readings.route.table(readings.venue["id"])
    (error,) = readings.refusal(readings.reading(table_id=table["id"], meters={"cash": 5}))["errors"]
    assert error == {"where": "meters.cash", "found": "no such meter", "expected": "no meter: the table has none"}
    (error,) = readings.refusal(readings.reading(meters={"tips": 5}))["errors"]
    assert error["expected"] == "one of cash, plays"


def test_a_bad_item_neither_hides_nor_blocks_the_others(readings: Readings) -> None:
    good, late = readings.reading(note="first"), readings.reading(note="last")
    bad = readings.reading(supply={"volts": "99"})
    results = readings.post(good, 7, {"id": "no uuid"}, bad, {}, late)["results"]
    outcomes = [(result["id"], result["outcome"]) for result in results]
    refused = [(None, "refused"), (None, "refused"), (bad["id"], "refused"), (None, "refused")]
    assert outcomes == [(good["id"], "recorded"), *refused, (late["id"], "recorded")]
    assert [stored["note"] for stored in readings.stored()] == ["first", "last"]


IMPOSSIBLE: list[tuple[dict[str, Any], str]] = [
    ({"supply": {"volts": "0"}}, "supply.volts"),
    ({"supply": {"volts": "0.000"}}, "supply.volts"),
    ({"supply": {"volts": "-12.40"}}, "supply.volts"),
    ({"supply": {"volts": "99"}}, "supply.volts"),
    ({"supply": {"volts": "12.4000"}}, "supply.volts"),
    ({"supply": {"volts": 12.4}}, "supply.volts"),
    ({"supply": {"volts": "12.40", "temperature_c": "150"}}, "supply.temperature_c"),
    ({"supply": {"volts": "12.40", "rested_minutes": -1}}, "supply.rested_minutes"),
    ({"supply": {}}, "supply.volts"),
    ({"clock": {"time": "25:61"}}, "clock.time"),
    ({"clock": {"weekday": "mon"}}, "clock.time"),
    ({"clock": {"time": "12:00", "weekday": "monday"}}, "clock.weekday"),
    ({"clock": {"time": "12:00", "date": "2026-02-30"}}, "clock.date"),
    ({"meters": {"tips": 5}}, "meters.tips"),
    ({"meters": {"cash": 100_000}}, "meters.cash"),
    ({"meters": {"cash": -1}}, "meters.cash"),
    ({"meters": {"cash": True}}, "meters.cash"),
    ({"meters": {"cash": 1.0}}, "meters.cash"),
    ({"taken_at": "2026-11-25T12:01:00"}, "taken_at"),
    ({"taken_at": "1999-11-25T12:01:00Z"}, "taken_at"),
    ({"done": ["swept_the_floor"]}, "done[0]"),
    ({"mood": "good"}, "mood"),
    ({"taken_at": None}, "taken_at"),
]


def test_what_cannot_be_is_refused_where_it_stands(readings: Readings) -> None:
    answer = readings.post(*(readings.reading(**changes) for changes, _ in IMPOSSIBLE), readings.reading())
    assert (answer["recorded"], answer["refused"]) == (1, len(IMPOSSIBLE))
    for (changes, where), result in zip(IMPOSSIBLE, answer["results"], strict=False):
        problem = result["problem"]
        assert (problem["status"], problem["type"]) == (422, "/problems/invalid"), changes
        assert [error["where"] for error in problem["errors"]] == [where], changes
    assert len(readings.stored()) == 1


def test_prices_found_must_be_money_of_the_venue(readings: Readings) -> None:
    window = {"from": "06:00", "to": "06:00", "games": {"prices": [{"price": "0.755", "units": 1}]}}
    problem = readings.refusal(readings.reading(settings={"days": [{"day": "mon", "windows": [window]}]}))
    assert problem["errors"][0]["where"] == "settings.days[0].windows[0].games.prices[0].price"


def test_all_mistakes_of_an_item_are_named_at_once(readings: Readings) -> None:
    problem = readings.refusal(readings.reading(supply={"volts": "0"}, clock={"time": "25:61"}))
    assert [error["where"] for error in problem["errors"]] == ["supply.volts", "clock.time"]
    problem = readings.refusal(readings.reading(meters={"tips": 5, "cash": 100_000}))
    assert sorted(error["where"] for error in problem["errors"]) == ["meters.cash", "meters.tips"]


ODD: list[tuple[dict[str, Any], list[str]]] = [
    ({"taken_at": "2026-11-25T12:05:00-05:00"}, []),
    ({"taken_at": "2026-11-25T12:05:01-05:00"}, ["from_future"]),
    ({"taken_at": "2026-11-25T11:59:59-05:00"}, []),
    ({"supply": {"volts": "5.99"}}, ["odd_voltage"]),
    ({"supply": {"volts": "6.00"}}, []),
    ({"supply": {"volts": "24.00"}}, ["odd_voltage"]),
]


def test_what_is_odd_is_kept_and_flagged(readings: Readings) -> None:
    batch = [readings.reading(**changes) for changes, _ in ODD]
    for outcome in ("recorded", "duplicate"):
        results = readings.post(*batch)["results"]
        assert [(r["outcome"], r["flags"]) for r in results] == [(outcome, flags) for _, flags in ODD]
    assert [stored["flags"] for stored in readings.stored()] == [flags for _, flags in ODD]


def test_the_past_of_a_table_that_was_entered_late_counts_from_when_it_was_placed(readings: Readings) -> None:
    table = readings.route.table(readings.venue["id"], placed_at="2026-11-02T10:00:00-05:00", meters=METERS)
    taken = ("2026-11-02T14:59:59Z", "2026-11-02T15:00:00Z", "2026-11-20T15:00:00Z")
    batch = [readings.reading(table_id=table["id"], taken_at=at, meters={"cash": n}) for n, at in enumerate(taken)]
    assert [result["flags"] for result in readings.post(*batch)["results"]] == [["before_the_table"], [], []]
    (cash,) = readings.client.get(f"/v1/tables/{table['id']}/health").json()["meters"]
    assert (cash["value"], cash["delta"], cash["amount"]) == (2, 1, "0.25")


def test_a_table_made_without_an_instant_has_stood_there_since_before_its_first_reading(readings: Readings) -> None:
    taken = ("2026-06-01T12:00:00Z", "2026-09-01T12:00:00Z")
    batch = [readings.reading(taken_at=at, meters={"cash": n}) for n, at in enumerate(taken, start=1)]
    assert [result["flags"] for result in readings.post(*batch)["results"]] == [[], []]
    assert {stored["venue_id"] for stored in readings.stored()} == {readings.venue["id"]}
    (cash,) = readings.client.get(f"/v1/tables/{readings.table['id']}/health").json()["meters"]
    assert (cash["value"], cash["delta"]) == (2, 1)


def test_a_supply_voltage_of_a_table_on_mains_is_flagged(readings: Readings) -> None:
    table = readings.route.table(readings.venue["id"], power={"kind": "mains"})
    (result,) = readings.post(readings.reading(table_id=table["id"], supply={"volts": "12.00"}))["results"]
    assert result["flags"] == ["on_mains"]


def test_a_reading_belongs_to_the_venue_where_the_table_stood_then(readings: Readings) -> None:
    other = readings.route.venue(name="The Tin Heron")
    path = f"/tables/{readings.table['id']}/moves"
    readings.route.post(path, {"venue_id": other["id"], "moved_at": "2026-11-25T12:02:00-05:00"})
    readings.route.post(path, {"venue_id": None, "moved_at": "2026-11-25T12:03:00-05:00"})
    minutes = ("12:01:59", "12:02:00", "12:03:00")
    results = readings.post(*(readings.reading(taken_at=f"2026-11-25T{at}-05:00") for at in minutes))["results"]
    assert [stored["venue_id"] for stored in readings.stored()] == [readings.venue["id"], other["id"], None]
    assert [result["flags"] for result in results] == [[], [], ["in_the_workshop"]]


def test_a_batch_holds_five_thousand_and_no_more(readings: Readings) -> None:
    batch = [readings.reading() for _ in range(5_001)]
    response = readings.client.post("/v1/readings", json={"readings": batch})
    assert response.status_code == 422
    assert response.json()["errors"][0]["where"] == "readings"
    assert readings.stored() == []
    assert readings.post(*batch[:5_000])["recorded"] == 5_000


def test_an_empty_batch_has_no_outcomes(readings: Readings) -> None:
    assert readings.post() == {"results": [], "recorded": 0, "duplicate": 0, "refused": 0}


def post_bytes(readings: Readings, body: bytes) -> Any:
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    return readings.client.post("/v1/readings", content=body, headers=headers)


def test_a_batch_may_be_compressed(readings: Readings) -> None:
    body = json.dumps({"readings": [readings.reading(note=str(n)) for n in range(300)]}).encode()
    assert post_bytes(readings, gzip.compress(body)).json()["recorded"] == 300


def test_a_gzip_cut_short_is_malformed_and_records_nothing(readings: Readings) -> None:
    body = gzip.compress(json.dumps({"readings": [readings.reading() for _ in range(50)]}).encode())
    for cut in (body[:-1], body[: len(body) // 2], body[:12], b"not gzip"):
        assert post_bytes(readings, cut).status_code == 400
    assert readings.stored() == []


def test_a_gzip_bomb_is_too_large(readings: Readings) -> None:
    bomb = gzip.compress(b'{"readings": [' + b" " * (64 * 1024 * 1024) + b"]}")
    assert len(bomb) < 100_000
    assert post_bytes(readings, bomb).status_code == 413


def test_a_table_that_does_not_exist_is_not_found_item_by_item(readings: Readings) -> None:
    problem = readings.refusal(readings.reading(table_id=str(uuid4())))
    assert (problem["status"], problem["type"]) == (404, "/problems/not_found")


CHANGES = (
    "UPDATE reading SET note = 'mended'",
    "DELETE FROM reading",
    "UPDATE reading_void SET reason = 'other'",
    "DELETE FROM reading_void",
)


def test_the_database_itself_lets_nobody_change_what_is_on_record(readings: Readings, engine: Engine) -> None:
    sent = readings.reading()
    readings.post(sent)
    readings.route.post(f"/readings/{sent['id']}/void", {"reason": "another table's"})
    before = readings.stored()
    truncate = ("TRUNCATE reading CASCADE",) if engine.dialect.name == "postgresql" else ()
    for statement in (*CHANGES, *truncate):
        with engine.connect() as connection, pytest.raises(DBAPIError, match="append-only"):
            connection.exec_driver_sql(statement)
    assert readings.stored() == before


def test_the_database_lets_nobody_replace_a_reading(readings: Readings, engine: Engine) -> None:
    readings.post(readings.reading())
    columns = "id, pool_table_id, taken_at, received_at, sender, valid, note"
    with engine.connect() as connection, pytest.raises(IntegrityError):
        connection.exec_driver_sql(
            f"{'INSERT OR REPLACE' if engine.dialect.name == 'sqlite' else 'INSERT'} INTO reading (arrival, {columns}) "
            f"SELECT arrival, {columns} FROM reading"
        )
