"""Calendars, opened again by the library that reads them: times, names, and an identity that stays."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fastapi.testclient import TestClient
from icalendar import Calendar

from tests.conftest import NOON, Route

NEW_YORK = ZoneInfo("America/New_York")


def opened(client: TestClient, path: str) -> dict[str, tuple[object, object, str, str]]:
    """Return the events of a calendar by their identity: start, end, summary, description."""
    answer = client.get(path)
    assert (answer.status_code, answer.headers["Content-Type"].split(";")[0]) == (200, "text/calendar"), answer.text
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n"))
    calendar = Calendar.from_ical(answer.content)
    events = calendar.walk("VEVENT")
    assert all(event["DTSTAMP"].dt is not None for event in events)
    assert len({str(event["UID"]) for event in events}) == len(events)
    return {
        str(event["UID"]): (event.start, event.end, str(event["SUMMARY"]), str(event.get("DESCRIPTION", "")))
        for event in events
    }


def test_the_weeks_of_a_venue_with_what_is_sold_when(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    route.table(venue, accepts=["1.00", "5.00"])
    weekly = [{"name": "Shut, all of it", "days": ["tue"], "from": "06:00", "to": "15:00", "tariff": None}]
    route.schedule(venue, route.tariff()["id"], weekly=weekly)
    path = f"/v1/venues/{venue}/week.ics"
    events = opened(at_noon, f"{path}?weeks=1&on=2026-12-01")
    assert len(events) == 8
    tuesday = sorted(event for event in events.values() if event[0].date() == date(2026, 12, 1))
    assert tuesday == [
        (
            datetime(2026, 12, 1, 6, tzinfo=NEW_YORK),
            datetime(2026, 12, 1, 15, tzinfo=NEW_YORK),
            "Shut, all of it: closed",
            "",
        ),
        (
            datetime(2026, 12, 1, 15, tzinfo=NEW_YORK),
            datetime(2026, 12, 2, 6, tzinfo=NEW_YORK),
            "Base: weekday",
            "1.00 USD: 1 game\n5.00 USD: 7 games or 25 min",
        ),
    ]
    at_noon.app.state.clock = lambda: NOON + timedelta(days=1)  # type: ignore[attr-defined]
    again = opened(at_noon, f"{path}?on=2026-12-01")
    assert set(events) < set(again), "an event keeps its identity"
    assert len(again) == 4 * 8
    written = at_noon.get(path).content
    assert b"BEGIN:VTIMEZONE" in written
    assert b"1970" not in written, "a time zone only for the years around the events"


def test_a_calendar_opens_by_a_signed_link_and_by_a_sheet_link(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    route.schedule(venue, route.tariff()["id"])
    address = f"/v1/venues/{venue}/week.ics"
    signed = at_noon.post("/v1/page-links", json={"address": address}).json()["url"]
    sheet = at_noon.post("/v1/sheet-links", json={"name": "Phone", "venue_ids": [venue]}).json()["url"]
    other = route.venue(name="Other")["id"]
    del at_noon.headers["Authorization"]
    for url in (signed, f"{sheet}/venues/{venue}/week.ics"):
        assert opened(at_noon, url)
    assert at_noon.get(f"{sheet}/venues/{other}/week.ics").status_code == 404


def test_work_is_on_the_day_on_which_it_is_due(at_noon: TestClient, route: Route) -> None:
    venue = route.venue()["id"]
    power = {"kind": "battery", "chemistry": "flooded", "nominal_volts": 12}
    table = route.table(venue, power=power, licence={"number": "L-1", "expires_on": "2026-12-10"})["id"]
    work = at_noon.get("/v1/worklist").json()["items"]
    events = opened(at_noon, "/v1/worklist.ics")
    assert len(events) == len(work) > 0
    licence = next(item for item in work if item["kind"] == "licence")
    assert licence["table_id"] == table
    (event,) = [event for event in events.values() if event[2] == "Licence: Window side"]
    assert event[:2] == (date(2026, 12, 10), date(2026, 12, 11))
    assert event[3].startswith(licence["reason"])
    assert opened(at_noon, "/v1/worklist.ics?person=Nobody") == {}
    assert opened(at_noon, "/v1/worklist.ics") == events
