"""Idempotency keys: one effect however often it is sent, and never stuck."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from baizebook.store.db import writing
from baizebook.web import idempotency
from baizebook.web.idempotency import purge
from baizebook.web.rows import KeptAnswerRow
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import select

from tests.conftest import NOON, WEEKDAY, Route, patiently

VENUE = {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"}
KEY = {"Idempotency-Key": "key-1"}


def test_the_same_key_and_payload_is_answered_as_before_and_done_once(client: TestClient) -> None:
    first = client.post("/v1/venues", json=VENUE, headers=KEY)
    again = client.post("/v1/venues", json=dict(reversed(VENUE.items())), headers=KEY)
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    for header in ("Location", "ETag", "Content-Type"):
        assert again.headers[header] == first.headers[header]
    assert len(client.get("/v1/venues").json()["items"]) == 1


def test_the_same_key_with_another_payload_is_refused(client: TestClient) -> None:
    client.post("/v1/venues", json=VENUE, headers=KEY)
    for other in ({**VENUE, "name": "Another"}, {**VENUE, "notes": ""}):
        refused = client.post("/v1/venues", json=other, headers=KEY)
        assert (refused.status_code, refused.json()["type"]) == (422, "/problems/key_reused")
        assert refused.json()["errors"][0]["where"] == "Idempotency-Key"
    assert client.post("/v1/tariffs", json=WEEKDAY, headers=KEY).status_code == 422
    assert len(client.get("/v1/venues").json()["items"]) == 1


def test_a_key_is_not_stuck_after_a_call_that_failed(client: TestClient) -> None:
    assert client.post("/v1/venues", json={**VENUE, "time_zone": "Mars/Olympus"}, headers=KEY).status_code == 422
    assert client.post("/v1/venues", json={**VENUE, "name": 7}, headers=KEY).status_code == 422
    assert client.post("/v1/venues", json=VENUE, headers=KEY).status_code == 201


def test_a_preview_leaves_its_key_free(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    path, body = f"/v1/venues/{venue['id']}/schedules", {"effective_on": "2026-01-01", "base": tariff["id"]}
    assert client.post(f"{path}?preview=true", json=body, headers=KEY).status_code == 200
    assert client.post(path, json=body, headers=KEY).status_code == 201
    assert client.post(f"{path}?preview=true", json=body, headers=KEY).status_code == 422


def test_keys_of_two_askers_have_nothing_to_do_with_each_other(client: TestClient, route: Route) -> None:
    other = route.token("owner")
    first = client.post("/v1/venues", json=VENUE, headers=KEY)
    second = client.post("/v1/venues", json=VENUE, headers={**KEY, **other})
    assert first.json()["id"] != second.json()["id"]


def test_what_only_computes_passes_a_key_over(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    route.schedule(venue["id"], tariff["id"])
    for money, units in (("4.00", 6), ("7.00", 11)):
        body = {"scenarios": [{"venue_id": venue["id"], "money": money}]}
        (result,) = client.post("/v1/quotes", json=body, headers=KEY).json()["results"]
        assert result["answer"]["offers"][0]["units"] == units
    assert client.post("/v1/tariffs/check", json=WEEKDAY, headers=KEY).status_code == 200


def test_a_key_that_is_none_is_refused(client: TestClient) -> None:
    for key in ("", "k" * 201, "schl\xfcssel"):
        answer = client.post("/v1/venues", json=VENUE, headers=[(b"Idempotency-Key", key.encode("latin-1"))])
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["where"] == "Idempotency-Key"
    assert client.get("/v1/venues").json()["items"] == []


def test_twenty_at_once_with_one_key_have_one_effect(client: TestClient) -> None:
    with ThreadPoolExecutor(20) as threads:
        answers = list(threads.map(patiently, [lambda: client.post("/v1/venues", json=VENUE, headers=KEY)] * 20))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert len(client.get("/v1/venues").json()["items"]) == 1


def test_twenty_at_once_publish_twenty_versions(client: TestClient) -> None:
    with ThreadPoolExecutor(20) as threads:
        answers = list(threads.map(patiently, [lambda: client.post("/v1/tariffs", json=WEEKDAY)] * 20))
    assert sorted(answer.json()["version"] for answer in answers) == list(range(1, 21))


def test_a_key_is_free_again_after_48_hours_and_its_row_is_purged(at_noon: TestClient, engine: Engine) -> None:
    first = at_noon.post("/v1/venues", json=VENUE, headers=KEY).json()
    for hours, answered in ((48, "again"), (48.1, "anew")):
        at_noon.app.state.clock = lambda hours=hours: NOON + timedelta(hours=hours)  # type: ignore[attr-defined]
        same = at_noon.post("/v1/venues", json=VENUE, headers=KEY).json()["id"] == first["id"]
        assert same == (answered == "again")
    assert len(at_noon.get("/v1/venues").json()["items"]) == 2
    for hours, kept in ((96, 1), (97, 0)):
        with writing(engine) as session:
            purge(session, now=NOON + timedelta(hours=hours))
            assert len(session.exec(select(KeptAnswerRow)).all()) == kept


def test_of_an_answer_above_64_kb_only_the_outcome_is_kept(
    client: TestClient, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(idempotency, "KEPT_ANSWER_BYTES_MAX", 100)
    assert client.post("/v1/venues", json=VENUE, headers=KEY).status_code == 201
    again = client.post("/v1/venues", json=VENUE, headers=KEY)
    assert (again.status_code, again.json()["code"]) == (409, "answer_not_kept")
    assert len(client.get("/v1/venues").json()["items"]) == 1
    with writing(engine) as session:
        (kept,) = session.exec(select(KeptAnswerRow)).all()
        assert (kept.status, kept.body) == (201, None)


def test_the_key_of_a_preview_and_of_what_was_refused_stays_free(client: TestClient, route: Route) -> None:
    venue, tariff = route.venue(), route.tariff()
    schedule = {"effective_on": "2026-12-01", "base": tariff["id"]}
    path = f"/v1/venues/{venue['id']}/schedules"
    assert client.post(f"{path}?preview=true", json=schedule, headers=KEY).status_code == 200
    assert client.post(path, json={**schedule, "base": venue["id"]}, headers=KEY).status_code == 422
    assert client.post(path, json=schedule, headers=KEY).status_code == 201
