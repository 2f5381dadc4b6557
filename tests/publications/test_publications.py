"""Publishing says, table by table, what the controllers there cannot hold, and which days must be keyed by hand (S6)."""

from datetime import date, timedelta
from time import process_time
from typing import Any, cast

import baizebook.publications.service as publications
import baizebook.schedules.service as schedules
import pytest
from baizebook.controllers.day_keyings import day_keyings
from baizebook.pool_tables.controller import Controller
from baizebook.pricing import Calendar, Ladder, OnDate, Rung, Schedule, Tariff, Weekly, zone_named
from baizebook.pricing.effort import STEPS_MAX
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlalchemy.pool import QueuePool

from tests.conftest import Route
from tests.listening import engines_of, listen, unlisten

GAMES_ONLY = {"minutes": {"prices_max": 0}, "clock": "date"}
PLAIN = Tariff("USD", games=Ladder((Rung(100, 1),)), id="plain")
CHEAP = Tariff("USD", games=Ladder((Rung(50, 1),)), id="cheap")
CALENDAR = Calendar(zone_named("America/New_York"))
EVE = OnDate(name="New Year's Eve", on=date(2026, 12, 31), tariff=CHEAP)


@pytest.fixture
def body(at_noon: TestClient, route: Route) -> dict[str, Any]:  # noqa: ARG001
    """A schedule: games and minutes, and an open house on Saturday 2026-12-05."""
    tariff = route.tariff()
    free = route.post("/tariffs", {"code": "free", "name": "On the house", "currency": "USD", "free": True})
    dates = [{"name": "Open house", "on": "2026-12-05", "tariff": free["id"]}]
    return {"effective_on": "2026-12-01", "base": tariff["id"], "dates": dates}


@pytest.mark.parametrize("preview", [True, False])
def test_publishing_and_its_preview_say_what_each_controller_cannot_hold(
    client: TestClient, route: Route, body: dict[str, Any], preview: bool
) -> None:
    venue = route.venue()["id"]
    knows_dates = route.table(venue, label="Knows dates", controller={"clock": "date", "free": True})
    weekdays = route.table(venue, label="Weekdays", controller={"free": True})
    games = route.table(venue, label="Games only", controller=GAMES_ONLY)
    own = route.table(venue, label="Own prices", controller=GAMES_ONLY)
    route.post(f"/tables/{own['id']}/schedules", {"effective_on": "2026-11-01", "base": None})
    answer = client.post(f"/v1/venues/{venue}/schedules", params={"preview": preview}, json=body)
    assert answer.status_code == (200 if preview else 201)
    said = {row["label"]: row for row in answer.json()["tables"]}
    assert list(said) == ["Weekdays", "Games only"]
    assert (said["Weekdays"]["table_id"], said["Games only"]["table_id"]) == (weekdays["id"], games["id"])
    assert knows_dates["id"] not in str(answer.json()["tables"])
    assert [row["code"] for row in said["Weekdays"]["cannot_hold"]] == ["date_not_held"]
    assert said["Weekdays"]["key_by_hand"] == [
        {"on": "2026-12-05", "key_on": "2026-12-04", "back_on": "2026-12-06", "names": ["Open house"]}
    ]
    codes = [row["code"] for row in said["Games only"]["cannot_hold"]]
    assert codes == ["kind_not_held", "free_play_not_held"]
    assert said["Games only"]["key_by_hand"] == []
    kept = client.get(f"/v1/venues/{venue}/schedules").json()["items"]
    assert len(kept) == (1 if preview else 2)


def test_a_roll_out_says_it_for_every_schedule_that_it_publishes(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    table = route.table(venue, controller=GAMES_ONLY)["id"]
    route.post(f"/venues/{venue}/schedules", {**body, "effective_on": "2026-11-01"})
    games = {"prices": [{"price": "1.00", "units": 1}]}
    new = route.post("/tariffs", {"code": "new", "name": "New", "currency": "USD", "games": games, "minutes": games})
    message = {"replacement": new["id"], "effective_on": "2026-12-01"}
    answer = client.post(f"/v1/tariffs/{body['base']}/rollout?preview=true", json=message).json()
    ((limits,),) = [schedule["tables"] for schedule in answer["schedules"]]
    assert (limits["table_id"], limits["cannot_hold"][0]["code"]) == (table, "kind_not_held")


def test_a_tables_own_schedule_and_its_end_say_it_for_that_table(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    route.table(venue, label="Other", controller=GAMES_ONLY)
    table = route.table(venue, controller=GAMES_ONLY)["id"]
    answer = client.post(f"/v1/tables/{table}/schedules", json=body).json()
    assert [row["table_id"] for row in answer["tables"]] == [table]
    message = {"effective_on": "2026-12-02", "follow_venue": True}
    answer = client.post(f"/v1/tables/{table}/schedules", json=message).json()
    assert (answer["tables"], answer["advice"]) == ([], [])


def test_of_weekly_windows_that_overlap_it_is_said_which_wins(
    client: TestClient, route: Route, body: dict[str, Any]
) -> None:
    venue = route.venue()["id"]
    weekly = [
        {"name": "Evening", "days": ["fri", "sat"], "from": "18:00", "to": "02:00", "tariff": body["base"]},
        {"name": "Late", "days": ["sat", "sun"], "from": "23:00", "tariff": None},
        {"name": "Noon", "days": ["fri"], "from": "12:00", "to": "18:00", "tariff": None},
    ]
    answer = client.post(f"/v1/venues/{venue}/schedules", json={**body, "weekly": weekly}).json()
    assert answer["advice"] == [
        {
            "code": "windows_overlap",
            "detail": "Evening and Late overlap on Saturday. Late wins, because it is later in the list.",
            "entries": ["weekly[0]", "weekly[1]"],
        }
    ]


def test_a_controller_that_knows_dates_needs_no_hand_and_neither_does_a_day_that_changes_nothing() -> None:
    schedule = Schedule(id="s", base=PLAIN, dates=(EVE,))
    same = Schedule(id="s", base=CHEAP, dates=(EVE,))
    december = {"currency": "USD", "first_on": date(2026, 12, 1), "last_on": date(2026, 12, 31)}
    assert len(day_keyings(schedule, Controller(), **december)) == 1
    assert day_keyings(schedule, Controller(clock="date"), **december) == ()
    assert day_keyings(same, Controller(), **december) == ()


def test_a_window_past_midnight_is_keyed_for_its_trading_date() -> None:
    eve = OnDate(name="Eve", on=date(2026, 12, 31), start=None, end=None, tariff=CHEAP)
    friday = Weekly(name="Friday", days=frozenset({4}), tariff=CHEAP)
    schedule = Schedule(id="s", base=PLAIN, weekly=(friday,), dates=(eve,))
    found = day_keyings(
        schedule, Controller(), currency="USD", first_on=date(2026, 12, 1), last_on=date(2026, 12, 1) + timedelta(60)
    )
    assert [(day.on, day.key_on, day.back_on, day.names) for day in found] == [
        (date(2026, 12, 31), date(2026, 12, 30), date(2027, 1, 1), ("Eve",))
    ]


def dense(route: Route, *, windows: int) -> dict[str, Any]:
    """A schedule of so many windows a day, each with prices of its own in turn."""
    prices = [[{"price": f"{1 + n}.{tenth}0", "units": 1 + n} for n in range(10)] for tenth in range(2)]
    tariffs = [
        route.post("/tariffs", {"code": f"t{n}", "name": "Dense", "currency": "USD", "games": {"prices": some}})["id"]
        for n, some in enumerate(prices)
    ]
    weekly = [
        {
            "name": f"W{n}",
            "days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"],
            "from": f"{6 + n // 12:02}:{5 * (n % 12):02}",
            "to": f"{6 + (n + 1) // 12:02}:{5 * ((n + 1) % 12):02}",
            "tariff": tariffs[n % 2],
        }
        for n in range(windows)
    ]
    return {"effective_on": "2026-12-01", "base": tariffs[0], "weekly": weekly}


def test_what_many_controllers_cannot_hold_of_a_dense_schedule_is_bounded_work(
    at_noon: TestClient, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    venue = route.venue()["id"]
    body = dense(route, windows=20)
    for number in range(6):
        route.table(venue, label=f"T{number}", controller={"windows_per_day": 2 + number % 3})
    fitted: list[int] = []
    properly = publications._limits
    monkeypatch.setattr(publications, "_limits", lambda *given, **on: fitted.append(1) or properly(*given, **on))
    answer = at_noon.post(f"/v1/venues/{venue}/schedules", params={"preview": True}, json=body)
    assert answer.status_code == 200
    assert len(answer.json()["tables"]) == 6
    assert len(fitted) == 3  # once for each controller, not for each table
    monkeypatch.setattr(publications, "PUBLICATION_BYTES_MAX", len(answer.content) // 2)
    refused = at_noon.post(f"/v1/venues/{venue}/schedules", json=body)
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
    assert at_noon.get(f"/v1/venues/{venue}/schedules").json()["items"] == []


CALENDAR_FILE = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//League//EN\r\nBEGIN:VEVENT\r\nUID:1@league\r\nDTSTAMP:20261101T000000Z\r\n"
    "SUMMARY:Match\r\nDTSTART:20261210T230000Z\r\nDTEND:20261211T010000Z\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)


def _writes(writer: Engine) -> bool:
    return cast(QueuePool, writer.pool).checkedout() > 0


@pytest.mark.parametrize("what", ["venue", "table", "rollout", "dates", "calendar"])
def test_controllers_are_judged_while_nobody_waits_to_write(
    at_noon: TestClient, route: Route, engine: Engine, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    body = dense(route, windows=20)
    other = body["weekly"][1]["tariff"]
    venue, table = _venue_of_three_kinds(route, tables=6)
    route.post(f"/venues/{venue}/schedules", {**body, "effective_on": "2026-11-01"})
    writer = engines_of(engine)[-1]
    waits: list[bool] = []
    properly = publications._limits
    monkeypatch.setattr(publications, "_limits", lambda *a, **on: waits.append(_writes(writer)) or properly(*a, **on))
    rollout = {"replacement": other, "effective_on": "2026-12-02"}
    dates = {"effective_on": "2026-12-02", "tariff": other, "country": "US", "venue_ids": [venue]}
    path, sent = {
        "venue": (f"/venues/{venue}/schedules", {"json": body}),
        "table": (f"/tables/{table}/schedules", {"json": body}),
        "rollout": (f"/tariffs/{body['base']}/rollout", {"json": rollout}),
        "dates": ("/dates-publications", {"json": dates}),
        "calendar": (
            f"/venues/{venue}/calendar-imports?calendar=League&tariff={other}&effective_on=2026-12-02",
            {"content": CALENDAR_FILE, "headers": {"Content-Type": "text/calendar"}},
        ),
    }[what]
    headers = {**sent.pop("headers", {}), "Idempotency-Key": "once"}  # type: ignore[dict-item]
    answer = at_noon.post(f"/v1{path}", headers=headers, **sent)  # type: ignore[arg-type]
    assert answer.status_code == 201
    assert waits == [False] * (1 if what == "table" else 3)
    again = at_noon.post(f"/v1{path}", headers=headers, **sent)  # type: ignore[arg-type]
    assert (again.content, len(waits)) == (answer.content, 1 if what == "table" else 3)  # answered before: not judged


def test_what_changed_since_it_was_judged_is_judged_while_it_is_written(
    at_noon: TestClient, route: Route, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = dense(route, windows=20)
    venue, _ = _venue_of_three_kinds(route, tables=6)
    path = f"/v1/venues/{venue}/schedules"
    judge, writer, waits = publications.judge, engines_of(engine)[-1], list[bool]()

    def and_then_a_table_is_made(*given: Any, **on: Any) -> publications.JudgedBefore:
        judged = judge(*given, **on)
        monkeypatch.setattr(publications, "judge", judge)
        route.table(venue, label="Late", controller={"windows_per_day": 7})
        return judged

    monkeypatch.setattr(publications, "judge", and_then_a_table_is_made)
    properly = publications._limits
    monkeypatch.setattr(publications, "_limits", lambda *a, **on: waits.append(_writes(writer)) or properly(*a, **on))
    tables = at_noon.post(path, json=body).json()["tables"]
    assert waits == [False, False, False, True]
    assert [table["label"] for table in tables][-1] == "Late"
    assert tables == at_noon.post(path, json={**body, "effective_on": "2026-12-02"}).json()["tables"]


def test_publishing_asks_as_many_statements_whatever_the_number_of_tables(route: Route, engine: Engine) -> None:
    body = dense(route, windows=2)
    statements: list[str] = []

    def count(connection: Any, _: Any, statement: str, *__: Any) -> None:
        if connection.get_execution_options().get("writes"):
            statements.append(statement)

    asked = []
    for tables in (3, 60):
        venue, _ = _venue_of_three_kinds(route, tables=tables)
        listen(engine, "before_cursor_execute", count)
        route.post(f"/venues/{venue}/schedules", body)
        unlisten(engine, "before_cursor_execute", count)
        asked.append(len(statements))
        statements.clear()
    assert asked[0] == asked[1] < 20


def _venue_of_three_kinds(route: Route, *, tables: int) -> tuple[str, str]:
    """Return a venue whose tables have controllers of three kinds in turn, and one of the tables."""
    venue = route.venue()["id"]
    made = [
        route.table(venue, label=f"T{number}", controller={"windows_per_day": 2 + number % 3})
        for number in range(tables)
    ]
    return venue, made[0]["id"]


def test_fifty_prices_for_many_controllers_of_few_are_refused_before_they_are_tried(
    at_noon: TestClient, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Forty controllers that hold few prices took 50 s inside the write transaction, for a schedule of three tariffs."""
    venue = route.venue()["id"]
    prices = [{"price": f"{1 + 0.37 * n:.2f}", "units": 1 + 3 * n} for n in range(50)]
    games = {"prices": prices, "counting": "climb_once"}
    tariffs = [
        route.post(
            "/tariffs", {"code": f"long-{n}", "name": "Long", "currency": "USD", "games": games, "minutes": games}
        )
        for n in range(4)
    ]
    entry = {"days": ["mon"], "from": "15:00"}
    weekly = [
        {**entry, "name": f"W{n}", "from": f"{15 + n}:00", "to": f"{16 + n}:00", "tariff": tariff["id"]}
        for n, tariff in enumerate(tariffs)
    ]
    monkeypatch.setattr(publications, "PUBLICATION_BYTES_MAX", 10**9)
    for number in range(20):
        held = {"prices_max": 1 + number}
        route.table(venue, label=f"T{number}", controller={"games": held, "minutes": held})
    body = {"effective_on": "2026-12-01", "base": tariffs[0]["id"], "weekly": weekly}
    began = process_time()
    refused = at_noon.post(f"/v1/venues/{venue}/schedules", json=body)
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
    assert "steps of work" in refused.json()["errors"][0]["found"]
    assert process_time() - began < 6
    plain = {"effective_on": "2026-12-01", "base": route.tariff()["id"]}
    assert at_noon.post(f"/v1/venues/{venue}/schedules", json=plain).status_code == 201


def test_a_roll_out_over_too_many_windows_names_fewer_venues_and_publishes_nothing(
    at_noon: TestClient, route: Route, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = dense(route, windows=20)
    venues = [route.venue()["id"] for _ in range(4)]
    for venue in venues:
        route.post(f"/venues/{venue}/schedules", body)
    monkeypatch.setattr(schedules, "_STEPS_OF_AN_ENTRY", STEPS_MAX // 63)
    rollout = {"replacement": body["weekly"][1]["tariff"], "effective_on": "2026-12-02"}
    path = f"/v1/tariffs/{body['base']}/rollout"
    refused = at_noon.post(path, json=rollout)
    assert (refused.status_code, refused.json()["code"]) == (422, "too_much_work")
    assert "name fewer venues" in refused.json()["errors"][0]["expected"]
    assert len(at_noon.get(f"/v1/venues/{venues[0]}/schedules").json()["items"]) == 1
    assert at_noon.post(path, json={**rollout, "venue_ids": venues[:3]}).status_code == 201
