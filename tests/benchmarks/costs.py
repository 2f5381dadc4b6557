"""The worst allowed request of each operation: processor time and size of the answer beside 2 s and 2 MB.

A service in this process, on SQLite, with the dense route (``tests.benchmarks._dense_route``). What the contract bounds is
taken at its bound; lists are asked for their longest page. Operations whose cost is that of one row send their example.
Each row says how it is to be answered; one that is answered otherwise is marked, and not within reach.

Ours is the greater of two shares: of 2 s of processor time, and of 2,000,000 bytes of answer, as seconds of the 2 s.
``BAIZEBOOK_COSTS`` names the only operations to ask, with commas between them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from time import process_time
from typing import Any
from uuid import UUID

from baizebook.app import create_app
from baizebook.demo.load import load
from baizebook.store.db import make_engine, writing
from baizebook.web.examples import DEMO_IDS
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.benchmarks._dense_route import (
    CONTROLLER,
    HALL,
    LONG,
    PLACE,
    TABLE,
    WEEKS,
    DenseRoute,
    collection,
    ladder,
    tariff,
)
from tests.benchmarks.figure import Figure
from tests.conftest import store_nothing
from tests.databases import OWNER_TOKEN, settings_for, sqlite_database
from tests.demo.examples_on_the_demo import send_example

NOON = datetime(2026, 11, 25, 17, tzinfo=UTC)
GOAL_S, GOAL_BYTES = 2.0, 2_000_000


@dataclass(frozen=True)
class Row:
    """One request: an operation, what of it is dear, what to send, and the status that it is to be answered with."""

    operation: str
    path: str
    what: str = ""
    method: str = "GET"
    body: Any = None
    status: int = 200
    check: Callable[[Any], bool] = lambda _: True

    @property
    def name(self) -> str:
        return f"{self.operation} {self.what}".strip()


def run(rounds: int) -> Iterator[Figure]:
    """Send each request once; yield a figure for each."""
    del rounds  # the first answer counts, before anything is kept in memory
    only = set(filter(None, os.environ.get("BAIZEBOOK_COSTS", "").split(",")))
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        with writing(engine) as session:
            load(session, now=NOON - timedelta(minutes=1))
        app = create_app(settings_for(url), engine)
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        client = TestClient(app, headers=headers, raise_server_exceptions=False)
        asked = set()
        for row in rows(DenseRoute(client)):
            asked.add(row.operation)
            if not only or row.operation in only:
                yield _figure(row.name, lambda row=row: _ask(client, row), row.status, row.check)  # type: ignore[misc]
        store_nothing(client)
        for path, item in app.openapi()["paths"].items():
            for method, operation in item.items():
                name = operation["operationId"]
                if name not in asked and (not only or name in only):
                    send = partial(send_example, client, method, path, operation)
                    yield _figure(f"{name} (example)", send, None, lambda _: True)
        engine.dispose()


def _ask(client: TestClient, row: Row) -> Response:
    kind = {"content": row.body} if isinstance(row.body, bytes) else {"json": row.body}
    return client.request(row.method, f"/v1{row.path}", headers={"If-Match": "*", **_kind_of(row)}, **kind)


def _kind_of(row: Row) -> dict[str, str]:
    files = {"import_file": "text/csv", "import_calendar": "text/calendar"}
    return {"Content-Type": files.get(row.operation, "application/json")} if isinstance(row.body, bytes) else {}


def _figure(name: str, ask: Callable[[], Response], status: int | None, is_right: Callable[[Any], bool]) -> Figure:
    began = process_time()
    answer = ask()
    cpu_s, size = process_time() - began, len(answer.content)
    as_meant = answer.is_success if status is None else answer.status_code == status
    if as_meant and answer.content and answer.headers.get("content-type") == "application/json":
        as_meant = is_right(answer.json())
    share = max(cpu_s / GOAL_S, size / GOAL_BYTES) if as_meant else float("inf")
    meant = "" if as_meant else f", NOT AS MEANT: {answer.text[:200]}"
    says = f"{cpu_s:.2f} s, {size / 1e6:.2f} MB, {answer.status_code}{meant}"
    return Figure(name, f"{name}: {says}", "the goal", 1.0, [(share * GOAL_S, GOAL_S)])


def rows(made: DenseRoute) -> Iterator[Row]:
    """Yield the worst request of each operation; those that only read first."""
    yield from _reads(made)
    yield from _computes(made)
    yield from _writes(made)
    yield Row("get_worklist", "/worklist?limit=500", "after all that")


def _reads(made: DenseRoute) -> Iterator[Row]:
    venue, table, old = made.venue, made.table, made.old
    long = "from=2025-11-25&to=2026-11-25"
    amounts = ",".join(f"{n}.00" for n in range(1, 20))
    yield Row("get_worklist", "/worklist?limit=500", "of touched tables")
    yield Row("get_worklist", "/worklist?format=csv", "csv")
    yield Row("get_work_calendar", "/worklist.ics")
    yield Row("list_work_changes", "/worklist/changes?limit=500")
    few = made.few_table
    yield Row("get_quote", f"/quotes?table_id={few}&money=5.00&at=2026-12-07T12:00", "of few prices, keyed")
    yield Row("get_week", f"/venues/{made.few_venue}/week?table_id={few}", "of few prices, keyed")
    yield Row("get_settings_sheet", f"/tables/{few}/settings-sheet", "of few prices, refused", status=422)
    yield Row("get_play", f"/reports/play?table_id={few}&{long}", "of few prices")
    yield Row("get_play", f"/reports/play?{long}", "of all")
    yield Row("get_quote", f"/quotes?venue_id={venue}&games=10000&at=2026-12-01T12:00")
    yield Row("get_price_grid", f"/price-grid?venue_id={venue}&amounts={amounts}")
    yield Row(
        "get_price_grid", f"/price-grid?venue_id={venue}&amounts={amounts},20,21,22,23,24,25", "refused", status=422
    )
    yield Row("get_week", f"/venues/{venue}/week")
    yield Row("get_week_picture", f"/venues/{venue}/week.svg")
    yield Row("get_week_calendar", f"/venues/{venue}/week.ics?weeks=1", "of a week")
    yield Row("get_week_calendar", f"/venues/{venue}/week.ics?weeks=8", "refused", status=422)
    yield Row("get_price_card", f"/venues/{venue}/price-card.html")
    yield Row("get_bag_tags", f"/venues/{made.hall}/bag-tags.html")
    yield Row("list_venues", "/venues?limit=500")
    yield Row("list_all_tables", "/tables?limit=500")
    yield Row("list_all_tables", "/tables?format=csv", "csv")
    yield Row("list_tables", f"/venues/{made.hall}/tables?limit=500")
    yield Row("list_tariffs", "/tariffs?limit=500")
    yield Row("list_schedules", f"/venues/{made.venues[1]}/schedules?limit=500")
    yield Row("list_readings", "/readings?limit=500")
    yield Row("list_collections", "/collections?limit=500")
    yield Row("list_collections", f"/collections?limit=500&venue_id={old}", "of one venue")
    yield Row("list_collection_changes", "/collections/changes?limit=500")
    yield Row("get_collection", f"/collections/{made.old_collection}")
    yield Row("get_collection_slip", f"/collections/{made.old_collection}/slip.html")
    yield Row("get_table_health", f"/tables/{table}/health")
    yield Row("get_battery_picture", f"/tables/{table}/battery.svg")
    yield Row("get_clock_picture", f"/tables/{table}/clock.svg")
    yield Row("get_table_card", f"/tables/{table}/card.html")
    yield Row("get_settings_sheet", f"/tables/{table}/settings-sheet")
    yield Row("get_settings_sheet_page", f"/tables/{table}/settings-sheet.html")
    yield Row("get_fault_report", f"/reports/faults?{long}")
    yield Row("get_differences", f"/reports/differences?table_id={made.old_table}")
    yield Row("get_differences_picture", f"/reports/differences.svg?table_id={made.old_table}")
    yield Row("get_tax_report", f"/reports/tax?{long}")
    yield Row("get_year_report", "/reports/year?year=2026")
    yield Row("get_statement", f"/venues/{old}/statements?year=2026")
    yield Row("get_statement_page", f"/venues/{old}/statement.html?month=2026-10")
    yield Row("get_cash_in_hand", "/reports/cash-in-hand")
    for by in ("table", "venue"):
        yield Row("get_earnings", f"/reports/earnings?{long}&by={by}&compare=before", f"by {by}")
    yield Row("get_best_and_worst", f"/reports/best-and-worst?{long}")
    yield Row("get_play", f"/reports/play?venue_id={DEMO_IDS['venue lantern']}&{long}", "of a venue")
    yield Row("get_play", f"/reports/play?table_id={table}&{long}", "of a dense table")
    yield Row("get_price_change", f"/reports/price-change?tariff_id={DEMO_IDS['tariff weekday, dearer']}&weeks=26")
    yield Row("list_ledger_entries", "/ledger/entries?limit=500")
    yield Row("list_account_balances", "/ledger/accounts?limit=500")
    for form in ("csv", "beancount", "ledger"):
        yield Row("export_ledger", f"/ledger/export?format={form}", form)
    yield Row("verify_ledger", "/ledger/verify")


def _computes(made: DenseRoute) -> Iterator[Row]:
    asked = {"time_zone": "America/New_York", "at": "2026-12-01T21:00", "games": 10_000}
    drafts = [{"tariff": tariff("draft", first=100 + n), **asked} for n in range(1_000)]
    play = {"venue_id": made.venue, "from_at": "2026-12-01T12:00", "to_at": "2027-01-01T12:00"}
    questions = [
        {"venue_id": made.venues[n % len(made.venues)], "at": f"2026-12-{1 + n % 28:02}T12:00", "games": 10_000 - n}
        for n in range(1_000)
    ]
    money = [
        {"table_id": made.tables[n % len(made.tables)], "at": f"2026-12-{1 + n % 28:02}T12:00", "money": "20.00"}
        for n in range(1_000)
    ]

    def quotes(what: str, scenarios: list[Any]) -> Row:
        return Row("post_quotes", "/quotes", what, "POST", {"scenarios": scenarios})

    yield quotes("drafts", drafts)
    yield quotes("plays", [play] * 1_000)
    yield quotes("questions", questions)
    yield quotes("at dense tables", money)
    yield Row("check_tariff", "/tariffs/check", "", "POST", tariff("last", first=98))
    yield Row("preview_collection", "/collections/preview", "", "POST", _next_of_old(made))
    yield Row("preview_collection", "/collections/preview", "of a hall", "POST", _of_hall(made, 0))
    priced = {
        "from": "2026-01-01",
        "to": "2026-11-25",
        "current": {"schedule_id": made.schedules[0]},
        "other": {"schedule_id": made.schedules[1]},
        "amounts": [f"{n}.00" for n in range(1, 51)],
    }
    yield Row("compare_prices", "/reports/what-if", "of two schedules", "POST", {**priced, "venue_id": made.venue})
    lists = {"current": {"tariff_id": made.tariffs[0]}, "other": {"tariff_id": made.tariffs[1]}}
    yield Row("compare_prices", "/reports/what-if", "of two tariffs", "POST", {**priced, **lists, "venue_id": made.old})
    aims = {
        "currency": "USD",
        "accepts": ["0.25", "1.00", "5.00"],
        "least_an_hour": "6.00",
        "minutes_a_game": 8,
        "first_price_max": "1.00",
    }
    yield Row("propose_prices", "/tariffs/proposals", "", "POST", {**aims, "highest_price": "5.00"})
    wide = {**aims, "highest_price": "50.00", "prices_max": 6}
    yield Row("propose_prices", "/tariffs/proposals", "refused", "POST", wide, status=422)
    yield Row("check_counting", "/tariffs/counting-check", "", "POST", _counting())


def _counting() -> dict[str, Any]:
    prices = [{"price": f"{1 + n}.00", "units": 1 + 2 * n} for n in range(50)]
    return {
        "currency": "USD",
        "settings": [{"prices": prices}] * 20,
        "observations": [{"inserted": ["1.00"] * 50, "shown": [1 + 2 * n for n in range(50)]}] * 20,
        "accepts": [f"{1 + n}.00" for n in range(50)],
    }


def _next_of_old(made: DenseRoute) -> dict[str, Any]:
    return collection(900, made.old, [made.old_table], "2026-11-24T16:00:00Z", cash=40 * WEEKS + 40)


def _of_hall(made: DenseRoute, number: int) -> dict[str, Any]:
    at = f"2026-11-{1 + number // 24:02}T{number % 24:02}:00:00Z"
    return collection(1_000 + number, made.hall, made.hall_tables, at, cash=40 * (number + 1))


def _all_outcomes(*expected: str) -> Callable[[Any], bool]:
    return lambda answer: {result["outcome"] for result in answer["results"]} <= set(expected)


def _writes(made: DenseRoute) -> Iterator[Row]:
    def post(operation: str, path: str, body: Any, what: str = "", **options: Any) -> Row:
        return Row(operation, path, what, "POST", body, **options)

    recorded = _all_outcomes("recorded")
    yield post("record_readings", "/readings", {"readings": _readings(made, 5_000)}, check=recorded)
    found = {
        "days": [{"day": day, "windows": _found_windows(28)} for day in ("mon", "tue", "wed", "thu", "fri", "sat")]
    }
    settings = [{**reading, "settings": found} for reading in _readings(made, 7, at=5_000)]
    yield post("record_readings", "/readings", {"readings": settings}, "with settings found", check=recorded)
    nonsense = {"readings": [{"x": "y"}] * 5_000}
    yield post("record_readings", "/readings", nonsense, "nonsense", check=_all_outcomes("refused", "rejected"))
    yield post(
        "record_readings", "/readings", b'{"readings":[' + b"1," * 199_900 + b"1]}", "200,000 values", status=422
    )
    yield post("record_readings", "/readings", b"[" + b"1," * 299_998 + b"1]", "300,000 values", status=400)
    yield post("publish_tariff", "/tariffs", tariff("last", first=99), status=201)
    schedule = made.schedule(effective_on="2026-12-24")
    yield post("publish_schedule", f"/venues/{made.venue}/schedules", schedule, status=201)
    yield post("publish_table_schedule", f"/tables/{made.table}/schedules", schedule, status=201)
    path = f"/venues/{made.few_venue}/schedules"
    yield post("publish_schedule", path, made.few(effective_on="2026-12-24"), "of few prices, refused", status=422)
    rollout = {"replacement": made.tariffs[1], "effective_on": "2026-11-26"}
    path = f"/tariffs/{made.tariffs[-1]}/rollout"
    yield post("roll_out_tariff", path, rollout, "over 21 venues, refused", status=422)
    yield post("roll_out_tariff", path, {**rollout, "venue_ids": made.venues[2:5]}, "over 3 venues", status=201)
    dates = {
        "name": "Many days",
        "dates": [
            {"on": f"{2027 + n // 336}-{1 + n % 336 // 28:02}-{1 + n % 28:02}", "name": f"N{n}"} for n in range(500)
        ],
    }
    yield post("put_date_set", "/date-sets", dates, status=201)
    published = {"effective_on": "2029-01-01", "tariff": made.tariffs[1], "country": "US"}
    path = "/dates-publications"
    every = {**published, "venue_ids": made.venues}
    yield post("publish_dates", path, every, "over 21 venues, refused", status=422)
    yield post("publish_dates", path, {**published, "venue_ids": made.venues[5:8]}, "over 3 venues", status=201)
    area = {
        "code": "dense",
        "name": "Dense",
        "rates": [{"from_on": f"{2000 + n // 12}-{1 + n % 12:02}-01", "rate_percent": f"{n % 9}"} for n in range(200)],
    }
    yield post("put_tax_area", "/tax-areas", area, status=201)
    yield post(
        "create_table", f"/venues/{made.venue}/tables", {**TABLE, "label": "New", "controller": CONTROLLER}, status=201
    )
    yield post("create_venue", "/venues", {**PLACE, "notes": LONG}, status=201)
    yield post("record_collection", "/collections", _next_of_old(made), "with first money since 2000", status=201)
    yield post("record_collection", "/collections", _of_hall(made, 0), f"of {HALL} tables", status=201)
    small = [
        collection(
            2_000 + n,
            made.venues[n % 21],
            [made.tables[2 * (n % 21)]],
            f"2026-11-{1 + n % 24:02}T20:{n:02}:00Z",
            cash=40 * n,
        )
        for n in range(25)
    ]
    yield post("record_collections", "/collections/batch", {"collections": small}, check=recorded)
    half = _of_hall(made, 1)
    half["tables"] = half["tables"][:100]
    yield post("record_collections", "/collections/batch", {"collections": [half]}, "of 100 tables", check=recorded)
    keyings = [
        {
            "id": str(UUID(int=(4 << 100) + n, version=4)),
            "table_id": made.tables[n % len(made.tables)],
            "schedule_id": made.schedules[n % len(made.tables) // 2],
            "keyed_at": f"2026-11-{1 + n % 24:02}T15:{n % 60:02}:00Z",
            "by": "Ana",
        }
        for n in range(100)
    ]
    yield post("record_keyings", "/keyings/batch", {"keyings": keyings}, check=recorded)
    jobs = [
        {
            "id": str(UUID(int=(5 << 100) + n, version=4)),
            "table_id": made.tables[n % len(made.tables)],
            "reported_at": "2026-11-20T15:00:00Z",
            "fault": "cloth_damaged",
            "playable": True,
            "words": LONG,
        }
        for n in range(100)
    ]
    yield post("report_jobs", "/jobs/batch", {"jobs": jobs}, check=recorded)
    yield Row("list_jobs", "/jobs?limit=500", "after all that")
    yield Row("list_job_changes", "/jobs/changes?limit=500", "after all that")
    yield Row("list_keying_changes", "/keyings/changes?limit=500", "after all that")
    yield Row("list_collections", f"/collections?limit=500&venue_id={made.hall}", "of a hall")
    lines = "\n".join(
        f"Upstairs,2026-{1 + n // 600 % 10:02}-{1 + n // 24 % 25:02} {n % 24:02}:{n % 60:02},12.40"
        for n in range(10_000)
    )
    yield post(
        "import_file",
        "/imports?of=readings&preview=true",
        f"table,taken at,volts\n{lines}\n".encode(),
        "10,000 readings, preview",
    )
    league = f"calendar=League&tariff={made.tariffs[2]}&effective_on=2026-12-01&mode=lines&preview=true"
    path = f"/venues/{made.old}/calendar-imports?{league}"
    yield post("import_calendar", path, _calendar(900), "900 events, preview")
    path = f"/venues/{made.venues[9]}/calendar-imports?{league}"
    yield post("import_calendar", path, _calendar(900), "at a dense venue, refused", status=422)
    trip = {"on": "2028-07-04", "person": "Rosalind", "stops": made.venues[:12], "order": "given"}
    yield post("create_trip", "/trips", trip, "of 12 stops", status=201)


def _readings(made: DenseRoute, number: int, *, at: int = 0) -> list[dict[str, Any]]:
    return [
        {
            "id": str(UUID(int=(3 << 100) + at + n, version=4)),
            "table_id": made.table,
            "taken_at": (NOON - timedelta(minutes=at + n)).isoformat(),
            "supply": {"volts": "12.50", "temperature_c": "21.0", "rested_minutes": 90},
            "clock": {"time": "11:00", "weekday": "sun", "display": "24h"},
            "meters": {"cash": n},
            "note": "x" * 200,
        }
        for n in range(at, at + number)
    ]


def _calendar(number: int) -> bytes:
    events = "".join(
        f"BEGIN:VEVENT\r\nUID:{n}@league\r\nDTSTAMP:20261101T000000Z\r\nSUMMARY:Match {n}\r\n"
        f"DTSTART:{NOON + timedelta(days=7, hours=3 * n):%Y%m%dT%H%M%SZ}\r\n"
        f"DTEND:{NOON + timedelta(days=7, hours=3 * n + 2):%Y%m%dT%H%M%SZ}\r\nEND:VEVENT\r\n"
        for n in range(number)
    )
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//League//EN\r\n{events}END:VCALENDAR\r\n".encode()


def _found_windows(number: int) -> list[dict[str, Any]]:
    return [
        {
            "from": f"{n // 2:02}:{n % 2 * 30:02}",
            "to": f"{(n + 1) // 2:02}:{(n + 1) % 2 * 30:02}",
            "games": {"prices": ladder(first=100)["prices"]},
        }
        for n in range(number)
    ]
