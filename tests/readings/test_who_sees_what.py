"""A venue and a device send and see their own; what needs a key, a venue does not send."""

from typing import Any
from uuid import uuid4

import pytest

from tests.readings.conftest import Readings


def test_a_venue_sends_what_can_be_read_without_a_key(readings: Readings) -> None:
    venue = readings.route.token("venue", venue_id=readings.venue["id"])
    sent = readings.reading(
        supply={"volts": "12.40"}, clock={"time": "12:00"}, meters={"cash": 5}, controller_version="3.1", note="ok"
    )
    assert readings.post(sent, headers=venue)["recorded"] == 1


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("done", ["battery_charged"]),
        ("settings", {"days": [{"day": "mon", "windows": [{"from": "06:00", "to": "06:00"}]}]}),
    ],
)
def test_a_venue_sends_nothing_that_needs_a_key(readings: Readings, name: str, value: Any) -> None:
    venue = readings.route.token("venue", venue_id=readings.venue["id"])
    problem = readings.refusal(readings.reading(**{name: value}), headers=venue)
    assert (problem["status"], problem["type"]) == (403, "/problems/forbidden")
    assert problem["errors"][0]["where"] == name


def test_a_note_is_seen_by_who_wrote_it_and_by_the_operators_people(readings: Readings) -> None:
    venue = readings.route.token("venue", venue_id=readings.venue["id"])
    readings.post(readings.reading(note="From the bar"), headers=venue)
    readings.post(readings.reading(note="From the operator"))
    by_venue = readings.client.get("/v1/readings", headers=venue).json()["items"]
    assert [item["note"] for item in by_venue] == ["From the bar", ""]
    assert [item["note"] for item in readings.stored()] == ["From the bar", "From the operator"]


def test_a_venue_finds_itself_and_its_tables_and_sees_no_notes_about_it(readings: Readings) -> None:
    other = readings.route.venue(name="The Tin Heron")
    noted = readings.route.venue(name="The Blue Kettle", notes="Pays late")
    table = readings.route.table(noted["id"], label="By the door")
    venue = readings.route.token("venue", venue_id=noted["id"])
    (seen,) = readings.client.get("/v1/venues", headers=venue).json()["items"]
    assert (seen["id"], seen["notes"]) == (noted["id"], "")
    assert readings.client.get(f"/v1/venues/{noted['id']}", headers=venue).json() == seen
    assert readings.client.get(f"/v1/venues/{other['id']}", headers=venue).status_code == 404
    (listed,) = readings.client.get(f"/v1/venues/{noted['id']}/tables", headers=venue).json()["items"]
    assert (listed["id"], listed["label"]) == (table["id"], "By the door")
    assert readings.client.get(f"/v1/tables/{table['id']}", headers=venue).json() == listed
    assert readings.client.get(f"/v1/tables/{readings.table['id']}", headers=venue).status_code == 404
    assert readings.client.get(f"/v1/venues/{other['id']}/tables", headers=venue).status_code == 404


def test_another_venues_table_does_not_exist_for_a_venue(readings: Readings) -> None:
    other = readings.route.venue(name="The Tin Heron")
    venue = readings.route.token("venue", venue_id=other["id"])
    theirs = readings.refusal(readings.reading(), headers=venue)
    absent = readings.refusal(readings.reading(table_id=str(uuid4())), headers=venue)
    assert theirs == absent
    assert theirs["status"] == 404


def test_a_reading_known_to_others_does_not_exist_for_a_venue(readings: Readings) -> None:
    sent = readings.reading(meters={"cash": 5})
    readings.post(sent)
    other = readings.route.venue(name="The Tin Heron")
    venue = readings.route.token("venue", venue_id=other["id"])
    assert readings.refusal(sent, headers=venue)["status"] == 404
    response = readings.client.get(f"/v1/readings?table_id={readings.table['id']}", headers=venue)
    absent = readings.client.get(f"/v1/readings?table_id={uuid4()}", headers=venue)
    assert (response.status_code, response.content) == (404, absent.content)
    assert readings.client.get("/v1/readings", headers=venue).json()["items"] == []


def test_a_device_sends_and_sees_its_own_table_only(readings: Readings) -> None:
    device = readings.route.token("device", table_id=readings.table["id"])
    other = readings.route.table(readings.venue["id"], label="By the door")
    assert readings.post(readings.reading(), headers=device)["recorded"] == 1
    assert readings.refusal(readings.reading(table_id=other["id"]), headers=device)["status"] == 404
    readings.post(readings.reading(table_id=other["id"]))
    seen = readings.client.get("/v1/readings", headers=device).json()["items"]
    assert [item["table_id"] for item in seen] == [readings.table["id"]]
    assert readings.client.get(f"/v1/readings?table_id={other['id']}", headers=device).status_code == 404


def test_a_collector_records_and_strikes_and_an_accountant_does_neither(readings: Readings) -> None:
    collector, accountant = readings.route.token("collector"), readings.route.token("accountant")
    sent = readings.reading(done=["battery_charged"])
    assert readings.post(sent, headers=collector)["recorded"] == 1
    strike = f"/v1/readings/{sent['id']}/void"
    assert readings.client.post(strike, json={"reason": "no"}, headers=accountant).status_code == 403
    assert readings.client.post(strike, json={"reason": "no"}, headers=collector).status_code == 201
    assert readings.client.post("/v1/readings", json={"readings": []}, headers=accountant).status_code == 403
    assert readings.client.get("/v1/readings", headers=accountant).status_code == 403


def test_a_venue_and_a_device_strike_nothing(readings: Readings) -> None:
    sent = readings.reading()
    readings.post(sent)
    for headers in (
        readings.route.token("venue", venue_id=readings.venue["id"]),
        readings.route.token("device", table_id=readings.table["id"]),
    ):
        response = readings.client.post(f"/v1/readings/{sent['id']}/void", json={"reason": "no"}, headers=headers)
        assert response.status_code == 403
