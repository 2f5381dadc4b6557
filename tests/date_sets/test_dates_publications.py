"""Dates come onto many venues in one call, previewed, and keep all else (A6)."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

TEAM = {"name": "Team night", "days": ["tue"], "from": "19:00", "to": "23:00"}


def publish(client: TestClient, body: dict[str, Any], **asked: Any) -> dict[str, Any]:
    """Publish dates and return the answer, which must be a success."""
    answer = client.post("/v1/dates-publications", json=body, params=asked)
    assert answer.status_code == (200 if asked.get("preview") else 201), answer.text
    return answer.json()  # type: ignore[no-any-return]


def schedules(client: TestClient, venue_id: str) -> list[dict[str, Any]]:
    return client.get(f"/v1/venues/{venue_id}/schedules").json()["items"]  # type: ignore[no-any-return]


@pytest.fixture
def places(route: Route, at_noon: TestClient) -> dict[str, Any]:  # noqa: ARG001
    """Two venues with schedules, one without; a tariff for every day and one for feasts."""
    dearer = {"prices": [{"price": "1.50", "units": 1}, {"price": "4.50", "units": 4}]}
    every, feast = route.tariff()["id"], route.tariff(code="feast", name="Feast", games=dearer)["id"]
    venues = [route.venue(name=name)["id"] for name in ("The Copper Lantern", "The Tin Heron", "The Quiet Comet")]
    stated = {"name": "Our own fourth", "on": "2027-07-04", "from": "18:00", "tariff": None}
    route.schedule(venues[0], every, weekly=[{**TEAM, "tariff": feast}], dates=[stated])
    route.schedule(venues[1], every)
    body = {"effective_on": "2027-01-01", "tariff": feast, "country": "US", "to_on": "2027-12-31"}
    return {"venues": venues, "every": every, "feast": feast, "body": {**body, "venue_ids": venues}}


def test_a_preview_stores_nothing_and_the_call_keeps_all_else(places: dict[str, Any], at_noon: TestClient) -> None:
    lantern, heron, _ = places["venues"]
    preview = publish(at_noon, places["body"], preview=True)
    assert [len(schedules(at_noon, venue)) for venue in places["venues"]] == [1, 1, 0]
    done = publish(at_noon, places["body"])
    assert [one["outcome"] for one in done["venues"]] == ["published", "published", "no_schedule"]
    assert [one["outcome"] for one in preview["venues"]] == [one["outcome"] for one in done["venues"]]
    assert len(done["dates"]) == 11
    old, new = schedules(at_noon, lantern)
    assert (new["effective_on"], new["base"], new["weekly"]) == ("2027-01-01", old["base"], old["weekly"])
    assert new["dates"][0] == old["dates"][0]
    assert len(new["dates"]) == 11
    assert done["venues"][0]["kept"] == [{"on": "2027-07-04", "name": "Our own fourth"}]
    assert len(schedules(at_noon, heron)[1]["dates"]) == 11
    quote = at_noon.get("/v1/quotes", params={"venue_id": heron, "at": "2027-12-25T20:00", "money": "4.00"}).json()
    assert (quote["window"]["name"], quote["tariff"]["code"]) == ("Christmas Day", "feast")
    again = publish(at_noon, places["body"])
    assert [one["outcome"] for one in again["venues"]] == ["unchanged", "unchanged", "no_schedule"]
    assert len(schedules(at_noon, lantern)) == 2


def test_what_a_controller_cannot_hold_is_said_and_a_tables_own_schedule_gets_the_dates_too(
    places: dict[str, Any], at_noon: TestClient, route: Route
) -> None:
    heron = places["venues"][1]
    plain = route.table(heron, label="Plain", controller={"clock": "weekday"})["id"]
    own = route.table(heron, label="Own")["id"]
    route.post(f"/tables/{own}/schedules", {"effective_on": "2026-01-01", "base": places["every"]})
    body = {**places["body"], "venue_ids": [heron], "effective_on": "2026-12-20", "from_on": "2026-12-24"}
    (venue,) = publish(at_noon, {**body, "to_on": "2027-01-02"})["venues"]
    assert [one["schedule"]["table_id"] for one in venue["schedules"]] == [None, own]
    (limits,) = venue["schedules"][0]["schedule"]["tables"]
    assert (limits["table_id"], [day["on"] for day in limits["key_by_hand"]]) == (plain, ["2026-12-25", "2027-01-01"])


def test_a_schedule_that_takes_over_later_gets_its_own_dates(
    places: dict[str, Any], at_noon: TestClient, route: Route
) -> None:
    heron = places["venues"][1]
    route.schedule(heron, places["feast"], effective_on="2027-09-01")
    (venue,) = publish(at_noon, {**places["body"], "venue_ids": [heron]})["venues"]
    first, second = venue["schedules"]
    assert (first["schedule"]["effective_on"], len(first["added"])) == ("2027-01-01", 11)
    assert (second["schedule"]["effective_on"], second["schedule"]["base"]) == ("2027-09-01", places["feast"])
    assert second["added"][0]["on"] == "2027-09-06"


def test_a_set_of_ones_own(places: dict[str, Any], at_noon: TestClient) -> None:
    dates = [{"on": "2027-08-14", "name": "Town fair"}, {"on": "2027-02-07", "name": "Big game"}]
    assert at_noon.post("/v1/date-sets", json={"name": "Local days", "dates": dates}).status_code == 201
    (stored,) = at_noon.get("/v1/date-sets").json()["items"]
    assert [one["on"] for one in stored["dates"]] == ["2027-02-07", "2027-08-14"]
    heron = places["venues"][1]
    body = {
        "effective_on": "2027-01-01",
        "tariff": None,
        "venue_ids": [heron],
        "date_set": "Local days",
        "from": "20:00",
    }
    (venue,) = publish(at_noon, body)["venues"]
    assert [(one["on"], one["name"]) for one in venue["schedules"][0]["added"]] == [
        ("2027-02-07", "Big game"),
        ("2027-08-14", "Town fair"),
    ]
    entry = schedules(at_noon, heron)[1]["dates"][0]
    assert (entry["from"], entry["to"], entry["tariff"]) == ("20:00", None, None)


@pytest.mark.parametrize(
    ("change", "status", "where"),
    [
        ({"country": "XX"}, 422, "country"),
        ({"date_set": "Local days"}, 422, "date_set"),
        ({"country": None}, 422, "date_set"),
        ({"country": None, "date_set": "Nothing", "to_on": None}, 404, None),
        ({"country": None, "date_set": "Nothing"}, 422, "to_on"),
        ({"tariff": "00000000-0000-4000-8000-000000000000"}, 422, "dates[0].tariff"),
        ({"venue_ids": []}, 422, "venue_ids"),
        ({"venue_ids": ["00000000-0000-4000-8000-000000000000"]}, 404, None),
    ],
)
def test_what_cannot_be_published_is_refused_and_nothing_is_stored(
    places: dict[str, Any], at_noon: TestClient, change: dict[str, Any], status: int, where: str | None
) -> None:
    venues = places["venues"][1:2]
    body = {
        name: value for name, value in {**places["body"], "venue_ids": venues, **change}.items() if value is not None
    }
    answer = at_noon.post("/v1/dates-publications", json=body)
    assert answer.status_code == status, answer.text
    assert [error["where"] for error in answer.json()["errors"]][:1] == ([where] if where else [])
    assert len(schedules(at_noon, venues[0])) == 1


def test_a_date_twice_in_a_set_is_refused(at_noon: TestClient) -> None:
    dates = [{"on": "2027-08-14", "name": "Town fair"}] * 2
    answer = at_noon.post("/v1/date-sets", json={"name": "fair", "dates": dates})
    assert (answer.status_code, answer.json()["errors"][0]["found"]) == (422, "2027-08-14 twice")
