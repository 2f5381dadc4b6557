"""The demo: an invented route that loads at any instant, and answers what the README asks."""

import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from baizebook.app import create_app
from baizebook.demo.load import is_loaded, load, owner_token
from baizebook.demo.printed_example import answered_question, requests_to_paste
from baizebook.store.db import reading, writing
from baizebook.web.errors import Problem
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from tests.conftest import NOON, Route
from tests.databases import OWNER_TOKEN, settings_for, shared_engine, sqlite_database


def found(client: TestClient, path: str, **names: str) -> dict[str, Any]:
    """Return the one item of a list that has these values."""
    items = client.get(f"/v1{path}?limit=500").json()["items"]
    (item,) = [item for item in items if all(item[name] == value for name, value in names.items())]
    return item  # type: ignore[no-any-return]


def test_the_route_has_four_venues_in_three_zones_and_two_currencies_with_nine_tables(demo: TestClient) -> None:
    venues = demo.get("/v1/venues").json()["items"]
    assert len(venues) == 6
    assert {venue["time_zone"] for venue in venues} == {"America/New_York", "America/Chicago", "Europe/Berlin"}
    assert {venue["currency"] for venue in venues} == {"USD", "EUR"}
    assert sum(len(demo.get(f"/v1/venues/{venue['id']}/tables").json()["items"]) for venue in venues) == 10


def test_every_table_is_on_one_list_and_a_venue_has_left(demo: TestClient) -> None:
    tables = demo.get("/v1/tables?limit=500").json()["items"]
    places = Counter(table["place"]["kind"] for table in tables)
    assert places == {"venue": 10, "workshop": 1, "sold": 1}
    (left,) = demo.get("/v1/venues", params={"departed": True}).json()["items"]
    assert (left["name"], left["departed_on"]) == ("The Paper Kite", "2026-11-04")
    statement = demo.get(f"/v1/venues/{left['id']}/statements", params={"month": "2026-11"}).json()
    assert statement["last_word"] == "The venue left the route after 4 Nov 2026. Nothing is owed either way."


def test_jobs_are_in_each_state_and_the_bar_reported_wednesdays_faults(demo: TestClient) -> None:
    jobs = {job["words"]: job for job in demo.get("/v1/jobs").json()["items"]}
    assert Counter(job["state"] for job in jobs.values()) == {
        "open": 1, "assigned": 1, "waiting_for_parts": 1, "done": 2,
    }  # fmt: skip
    stuck = jobs["The cue ball does not come back."]
    assert (stuck["reported_by"], stuck["reported_at"]) == ("Odile at the bar", "2026-11-19T01:30:00Z")
    assert (stuck["done"]["cost"], stuck["done"]["by"]) == ("18.50", "Rosalind")
    faults = demo.get("/v1/reports/faults", params={"from": "2026-11-01", "to": "2026-11-30"}).json()
    assert [(part["name"], part["cost"]) for part in faults["parts"]] == [("gutter", "18.50")]
    out = {table["label"]: table["days_out_of_order"] for table in faults["tables"]}
    assert out["Window side"] == "0.58"


def test_ten_dollars_on_tuesday_at_nine_is_team_night(demo: TestClient, engine: Engine) -> None:
    lantern = found(demo, "/venues", name="The Copper Lantern")
    question = f"/v1/quotes?venue_id={lantern['id']}&day=tuesday&time=21:00&money=10.00"
    answer = demo.get(question).json()
    assert (answer["at"], answer["window"]["name"], answer["window"]["kind"]) == (
        "2026-12-01T21:00:00-05:00", "Team night", "recurring",
    )  # fmt: skip
    assert [(offer["kind"], offer["units"]) for offer in answer["offers"]] == [("games", 12), ("minutes", 64)]
    with reading(engine) as session:
        assert answered_question(session, now=NOON).splitlines()[:3] == [
            "What does 10.00 buy on Tuesday at 21:00?",
            "The Copper Lantern, Tuesday 2026-12-01 21:00 (Team night, USD)",
            "  10.00 buys 12 games",
        ]


def test_every_kind_of_answer_is_there_to_be_asked_for(demo: TestClient) -> None:
    def ask(venue: str, at: str, **asked: str) -> dict[str, Any]:
        query = {"venue_id": found(demo, "/venues", name=venue)["id"], "at": at, **(asked or {"money": "5.00"})}
        return demo.get("/v1/quotes", params=query).json()  # type: ignore[no-any-return]

    lantern, hall, keiler = "The Copper Lantern", "Marigold Billiard Hall", "Zum blauen Keiler"
    assert ask(lantern, "2026-12-02T16:00")["window"]["name"] == "Early evening"
    assert ask(lantern, "2026-12-02T21:00")["offers"][0]["units"] == 6
    assert ask(lantern, "2026-12-05T21:00")["window"]["name"] == "Weekend"
    assert ask(lantern, "2026-12-25T21:00")["status"] == "closed"
    assert ask(lantern, "2026-10-07T21:00")["tariff"]["version"] == 1
    assert ask("Harbour Lane Tavern", "2026-11-30T21:00")["opens_at"] == "2026-12-01T06:00:00-06:00"
    metered = ask(hall, "2026-12-02T15:00", minutes="90")["offers"][0]
    assert (metered["kind"], metered["least"]["money"]) == ("metered", "13.50")
    assert ask(keiler, "2026-12-05T21:00")["status"] == "free"
    assert ask(keiler, "2026-12-02T21:00")["status"] == "closed"
    assert [offer["kind"] for offer in ask(keiler, "2026-12-03T21:00")["offers"]] == ["games", "minutes"]


def test_one_table_was_not_keyed_after_the_price_change(demo: TestClient) -> None:
    lantern = found(demo, "/venues", name="The Copper Lantern")
    tables = demo.get(f"/v1/venues/{lantern['id']}/tables").json()["items"]
    answers = {
        table["label"]: demo.get(f"/v1/quotes?table_id={table['id']}&at=2026-11-25T21:00&money=5.00").json()
        for table in tables
    }
    said = {label: (answer["tariff"]["version"], answer["cautions"]) for label, answer in answers.items()}
    assert said == {
        "Window side": (0, ["found_otherwise"]),
        "By the jukebox": (2, []),
        "Back room": (1, ["not_keyed_yet"]),
    }


def test_the_requests_to_paste_are_answered(demo: TestClient, engine: Engine) -> None:
    with writing(engine) as session:
        token = owner_token(session, now=NOON)
        text = requests_to_paste(session, base_url="http://testserver", token=token, now=NOON)
    assert text.startswith(f"export TOKEN={token}\n")
    addresses = re.findall(r'curl -s .* "(http://testserver[^"]+)"', text)
    assert len(addresses) >= 6
    for address in addresses:
        answer = demo.get(address, headers={"Authorization": f"Bearer {token}"})
        assert answer.status_code == 200, (address, answer.text)


def test_the_demo_is_loaded_once_and_only_where_nothing_else_is(empty_service: tuple[Engine, TestClient]) -> None:
    engine, client = empty_service
    with reading(engine) as session:
        assert not is_loaded(session)
    Route(client).venue()
    with reading(engine) as session, pytest.raises(Problem) as refusal:
        is_loaded(session)
    assert refusal.value.code == "conflict"
    with writing(engine) as session:
        owner_token(session, now=NOON)
    with reading(engine) as session:
        assert is_loaded(session)


@pytest.fixture
def empty_service() -> Iterator[tuple[Engine, TestClient]]:
    """A service on a fresh SQLite file: what the database is does not matter to these tests."""
    with sqlite_database() as url:
        engine = shared_engine(url)
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        with TestClient(create_app(settings_for(url), engine), headers=headers) as client:
            yield engine, client


@pytest.mark.parametrize(
    "now",
    [
        "2026-11-23T10:30:00+00:00",  # Monday for Berlin, still Sunday's trading day in New York
        "2027-03-14T07:00:00+00:00",  # clocks go forward in New York
        "2026-11-01T05:30:00+00:00",  # clocks go back in New York
        "2028-02-29T12:00:00+00:00",
        "2027-01-01T00:00:00+00:00",
    ],
)
def test_it_loads_at_any_instant(now: str, empty_service: tuple[Engine, TestClient]) -> None:
    engine, client = empty_service
    at = datetime.fromisoformat(now).astimezone(UTC)
    client.app.state.clock = lambda: at  # type: ignore[attr-defined]
    with writing(engine) as session:
        load(session, now=at)
    lantern = found(client, "/venues", name="The Copper Lantern")
    answer = client.get(f"/v1/quotes?venue_id={lantern['id']}&day=tuesday&time=21:00&money=10.00").json()
    assert (answer["window"]["name"], answer["offers"][0]["units"]) == ("Team night", 12)
