"""A league's calendar comes onto a venue's schedule: previewed, once, and changed where the calendar has changed."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route
from tests.date_sets.test_calendar_entries import calendar, event

NIGHT = ("DTSTART;TZID=America/New_York:20261201T190000", "DURATION:PT4H", "RRULE:FREQ=WEEKLY;BYDAY=TU")
FINAL = ("DTSTART;TZID=America/New_York:20261212T180000", "DURATION:PT5H")
BOTH = (event(*NIGHT, uid="season"), event(*FINAL, uid="final"))


@pytest.fixture
def place(route: Route, at_noon: TestClient) -> dict[str, str]:  # noqa: ARG001
    """A venue with prices for every day and a closed day of its own, and a tariff for the league."""
    dearer = {"prices": [{"price": "1.50", "units": 1}, {"price": "4.50", "units": 4}]}
    every, league = route.tariff()["id"], route.tariff(code="league", name="League", games=dearer)["id"]
    venue = route.venue()["id"]
    stated = {"name": "Stocktaking", "on": "2026-12-19", "tariff": None}
    weekly = {"name": "Early", "days": ["mon"], "from": "15:00", "to": "18:00", "tariff": league}
    route.schedule(venue, every, dates=[stated], weekly=[weekly])
    return {"venue": venue, "league": league, "every": every}


def send(client: TestClient, place: dict[str, str], *parts: str, **asked: Any) -> Any:
    query = {"calendar": "City league", "tariff": place["league"], "effective_on": "2026-12-01", **asked}
    return client.post(
        f"/v1/venues/{place['venue']}/calendar-imports",
        params=query,
        content=calendar(*parts),
        headers={"Content-Type": "text/calendar; charset=utf-8"},
    )


def done(client: TestClient, place: dict[str, str], *parts: str, **asked: Any) -> dict[str, Any]:
    answer = send(client, place, *parts, **asked)
    assert answer.is_success, answer.text
    return answer.json()  # type: ignore[no-any-return]


def schedules(client: TestClient, place: dict[str, str]) -> list[dict[str, Any]]:
    return client.get(f"/v1/venues/{place['venue']}/schedules").json()["items"]  # type: ignore[no-any-return]


def outcomes(answer: dict[str, Any]) -> dict[str, str]:
    return {one["uid"]: one["outcome"] for one in answer["events"]}


def sells(client: TestClient, place: dict[str, str], at: str) -> tuple[str, str]:
    quote = client.get("/v1/quotes", params={"venue_id": place["venue"], "at": at, "money": "5.00"}).json()
    return quote["window"]["name"], quote["tariff"]["code"]


def test_a_preview_shows_what_would_be_published_and_the_import_keeps_all_else(
    place: dict[str, str], at_noon: TestClient
) -> None:
    preview = send(at_noon, place, *BOTH, preview="true")
    assert (preview.status_code, preview.json()["stored"], len(schedules(at_noon, place))) == (200, False, 1)
    imported = send(at_noon, place, *BOTH)
    assert (imported.status_code, imported.json()["stored"]) == (201, True)
    assert imported.json()["events"] == preview.json()["events"]
    assert outcomes(imported.json()) == {"season": "new", "final": "new"}
    old, new = schedules(at_noon, place)
    assert (new["base"], new["weekly"], new["dates"][0]) == (old["base"], old["weekly"], old["dates"][0])
    (entry,) = new["recurring"]
    assert (entry["rrule"], entry["from"], entry["calendar"], entry["uid"]) == (
        "FREQ=WEEKLY;BYDAY=TU", "19:00", "City league", "season",
    )  # fmt: skip
    assert sells(at_noon, place, "2026-12-08T20:00") == ("League night", "league")
    assert sells(at_noon, place, "2026-12-12T20:00") == ("League night", "league")
    assert sells(at_noon, place, "2026-12-09T20:00")[1] == "weekday"


def test_the_same_file_changes_nothing_and_a_changed_one_replaces_what_it_brought(
    place: dict[str, str], at_noon: TestClient
) -> None:
    done(at_noon, place, *BOTH)
    again = done(at_noon, place, *reversed(BOTH))
    assert (outcomes(again), again["schedules"]) == ({"season": "same", "final": "same"}, [])
    assert len(schedules(at_noon, place)) == 2
    later = event(NIGHT[0].replace("T19", "T20"), *NIGHT[1:], uid="season")
    changed = done(at_noon, place, later, event(*FINAL, uid="cup"))
    assert outcomes(changed) == {"season": "changed", "cup": "new", "final": "gone"}
    newest = schedules(at_noon, place)[-1]
    assert [(one["uid"], one["from"]) for one in newest["recurring"]] == [("season", "20:00")]
    assert [one["uid"] for one in newest["dates"]] == [None, "cup"]
    assert outcomes(done(at_noon, place)) == {"season": "gone", "cup": "gone"}
    assert schedules(at_noon, place)[-1]["recurring"] == []


def test_two_calendars_and_a_roll_out_leave_each_other_alone(
    place: dict[str, str], at_noon: TestClient, route: Route
) -> None:
    done(at_noon, place, *BOTH)
    at_the_same_time = done(at_noon, place, event(*FINAL, uid="season"), calendar="Other league")
    assert outcomes(at_the_same_time) == {"season": "stated"}
    afternoon = event(FINAL[0].replace("T18", "T13"), *FINAL[1:], uid="season")
    assert outcomes(done(at_noon, place, afternoon, calendar="Other league")) == {"season": "new"}
    assert [one["outcome"] for one in done(at_noon, place, *BOTH)["events"]] == ["same", "same"]
    dearest = route.tariff(code="dearest", name="Dearest")["id"]
    route.post(f"/tariffs/{place['every']}/rollout", {"replacement": dearest, "effective_on": "2026-12-01"})
    newest = schedules(at_noon, place)[-1]
    assert [one["uid"] for one in newest["recurring"] + newest["dates"]] == ["season", None, "final", "season"]
    assert outcomes(done(at_noon, place, calendar="Other league")) == {"season": "gone"}


def test_what_is_refused_is_named_and_stores_nothing_unless_lines_are_asked_for(
    place: dict[str, str], at_noon: TestClient
) -> None:
    done(at_noon, place, BOTH[0])
    odd = event("DTSTART:20261202T000000Z", "DURATION:PT2H", "RRULE:FREQ=WEEKLY", uid="season")
    whole = done(at_noon, place, odd, BOTH[1])
    assert (whole["stored"], outcomes(whole)) == (False, {"season": "refused", "final": "new"})
    assert (whole["events"][0]["line"], "one time" in whole["events"][0]["why"]) == (4, True)
    assert len(schedules(at_noon, place)) == 2
    lines = done(at_noon, place, odd, BOTH[1], mode="lines")
    assert (lines["stored"], outcomes(lines)) == (True, {"season": "refused", "final": "new"})
    newest = schedules(at_noon, place)[-1]
    assert [one["uid"] for one in newest["recurring"] + newest["dates"]] == ["season", None, "final"]


def test_a_date_that_is_stated_already_stays_and_what_is_over_is_left_out(
    place: dict[str, str], at_noon: TestClient
) -> None:
    answer = done(
        at_noon,
        place,
        event(FINAL[0].replace("1212", "1219"), FINAL[1], uid="stated"),
        event(FINAL[0].replace("1212", "1120"), FINAL[1], uid="over"),
        event(*FINAL, "STATUS:CANCELLED", uid="off"),
    )
    assert outcomes(answer) == {"stated": "stated", "over": "passed", "off": "cancelled"}
    assert answer["schedules"] == []
    assert len(schedules(at_noon, place)) == 1


def test_a_tables_own_schedule_gets_the_events_too(place: dict[str, str], at_noon: TestClient, route: Route) -> None:
    table = route.table(place["venue"], controller={"clock": "weekday"})["id"]
    route.post(f"/tables/{table}/schedules", {"effective_on": "2026-01-01", "base": place["every"]})
    answer = done(at_noon, place, *BOTH)
    assert [one["table_id"] for one in answer["schedules"]] == [None, table]
    assert answer["schedules"][1]["tables"][0]["key_by_hand"], "the answer says what a controller cannot hold"


@pytest.mark.parametrize(
    ("parts", "asked", "status", "code"),
    [
        (["X" * 10], {"tariff": "00000000-0000-4000-8000-000000000000"}, 201, None),
        (BOTH, {"tariff": "00000000-0000-4000-8000-000000000000"}, 422, "invalid"),
        (BOTH, {"calendar": "<b>"}, 422, "invalid"),
        (BOTH, {"effective_on": "2025-01-01"}, 201, None),
        (["BEGIN:VEVENT"], {}, 422, "bad_calendar"),
        ([event(FINAL[0], FINAL[1], uid=f"u{n}") for n in range(1001)], {}, 422, "too_many_entries"),
    ],
)
def test_what_cannot_be_imported_is_refused(
    place: dict[str, str], at_noon: TestClient, parts: list[str], asked: dict[str, str], status: int, code: str | None
) -> None:
    answer = send(at_noon, place, *parts, **asked)
    assert (answer.status_code, answer.json().get("code")) == (status, code), answer.text[:500]


def test_a_venue_without_a_schedule_and_a_body_that_is_no_calendar_file(route: Route, at_noon: TestClient) -> None:
    place = {"venue": route.venue()["id"], "league": route.tariff()["id"]}
    assert send(at_noon, place, *BOTH).json()["code"] == "no_schedule_yet"
    path = f"/v1/venues/{place['venue']}/calendar-imports"
    query = {"calendar": "League", "tariff": place["league"], "effective_on": "2026-12-01"}
    assert at_noon.post(path, params=query, json={}).status_code == 400
    plain = {"Content-Type": "application/octet-stream"}
    sent = at_noon.post(path, params=query, content=calendar(*BOTH), headers=plain)
    assert sent.json()["code"] == "no_schedule_yet"
    large = b"X" * (16 * 1024 * 1024 + 1)
    sent = at_noon.post(path, params=query, content=large, headers={"Content-Type": "text/calendar"})
    assert sent.status_code == 413


def test_dates_beyond_what_a_schedule_holds_are_refused_and_not_a_mistake_of_the_service(
    place: dict[str, str], at_noon: TestClient
) -> None:
    for year in (2027, 2028, 2029):
        dates = [{"on": f"{year}-{1 + n // 28:02}-{1 + n % 28:02}", "name": "Fair"} for n in range(336)]
        assert at_noon.post("/v1/date-sets", json={"name": "Fairs", "dates": dates}).status_code == 201
        body = {"effective_on": "2027-01-01", "venue_ids": [place["venue"]], "tariff": None, "date_set": "Fairs"}
        answer = at_noon.post("/v1/dates-publications", json=body)
    assert (answer.status_code, answer.json()["code"]) == (422, "too_many_entries")
