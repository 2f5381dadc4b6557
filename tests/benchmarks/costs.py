"""The worst allowed request of each operation: processor time and size of the answer beside 2 s and 2 MB.

A service in this process, on SQLite, with a dense venue (200 windows a week, tariffs of 50 prices, a controller of 28
windows a day and 50 prices), a venue with weekly first money since 2000 of which most still waits and 25 collections,
the demo's route, and 20 more venues. What the contract bounds is taken at its bound; lists are asked for their longest page.

Ours is the greater of two shares: of 2 s of processor time, and of 2,000,000 bytes of answer, as seconds of the 2 s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from time import process_time
from typing import Any
from uuid import UUID, uuid4

from baizebook.app import create_app
from baizebook.demo.load import load
from baizebook.store.db import make_engine, writing
from baizebook.web.examples import DEMO_IDS
from fastapi.testclient import TestClient

from tests.benchmarks.figure import Figure
from tests.databases import OWNER_TOKEN, settings_for, sqlite_database

NOON = datetime(2026, 11, 25, 17, tzinfo=UTC)
GOAL_S, GOAL_BYTES = 2.0, 2_000_000
DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKS = 25
"""Collections of the old venue, one a week."""

Request = tuple[str, str, Any]


def run(rounds: int) -> Iterator[Figure]:
    """Send each request once; yield a figure for each operation."""
    del rounds  # the first answer counts, before anything is kept in memory
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        with writing(engine) as session:
            load(session, now=NOON - timedelta(minutes=1))
        app = create_app(settings_for(url), engine)
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        client = TestClient(app, headers=headers, raise_server_exceptions=False)
        made = Made(client)
        for name, (method, path, body) in made.requests():
            yield _figure(client, name, method, path, body)
        engine.dispose()


def _figure(client: TestClient, name: str, method: str, path: str, body: Any) -> Figure:
    sent: dict[str, Any] = {"content": body} if isinstance(body, bytes) else {"json": body}
    began = process_time()
    answer = client.request(method, path, headers={"If-Match": "*"}, **sent)
    cpu_s, size = process_time() - began, len(answer.content)
    share = max(cpu_s / GOAL_S, size / GOAL_BYTES)
    says = f"{cpu_s:.2f} s, {size / 1e6:.2f} MB, {answer.status_code}"
    return Figure(name, f"{name}: {says}", "the goal", 1.0, [(share * GOAL_S, GOAL_S)])


class Made:
    """What the requests ask about."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.dense = self._dense()
        self.old = self._old()
        for n in range(20):
            venue = self.post("/venues", {**PLACE, "name": f"Hall {n}"})["id"]
            self.post(f"/venues/{venue}/schedules", {"effective_on": "2026-01-01", "base": self.dense["tariff"]})
            for label in ("Left", "Right"):
                table = {"label": label, "accepts": ["0.25"], "placed_at": "2026-01-05T15:00:00Z"}
                self.post(f"/venues/{venue}/tables", table)

    def post(self, path: str, body: Any) -> dict[str, Any]:
        """Post what must succeed."""
        answer = self.client.post(f"/v1{path}", json=body)
        if not answer.is_success:
            raise RuntimeError(f"{path}: {answer.text[:500]}")
        return answer.json()  # type: ignore[no-any-return]

    def _dense(self) -> dict[str, str]:
        """A venue with as many windows as a schedule may have, and a table whose controller holds as many as any."""
        tariffs = [self.post("/tariffs", tariff(f"dense-{n}", first=100 + n))["id"] for n in range(4)]
        venue = self.post("/venues", PLACE)["id"]
        weekly = [
            {
                "name": f"W{n}",
                "days": DAYS,
                "from": f"{6 + n // 12:02}:{5 * (n % 12):02}",
                "to": f"{6 + (n + 1) // 12:02}:{5 * ((n + 1) % 12):02}",
                "tariff": tariffs[n % 3],
            }
            for n in range(200)
        ]
        body = {"effective_on": "2026-01-01", "base": tariffs[3], "weekly": weekly}
        schedule = self.post(f"/venues/{venue}/schedules", body)["id"]
        controller = {"windows_per_day": 14, "games": {"prices_max": 50}, "free": True}
        table = {"label": "Dense", "accepts": ["0.25", "1.00"], "placed_at": "2026-01-05T15:00:00Z", "meters": METERS}
        answer = self.client.post(f"/v1/venues/{venue}/tables", json={**table, "controller": controller})
        made = answer.json() if answer.is_success else self.post(f"/venues/{venue}/tables", table)
        return {"venue": venue, "table": made["id"], "schedule": schedule, "tariff": tariffs[3], "other": tariffs[0]}

    def _old(self) -> dict[str, str]:
        """A venue with weekly first money, and a collection a week, in the end."""
        venue = self.post("/venues", {**PLACE, "name": "Since 2000"})["id"]
        self.post(f"/venues/{venue}/schedules", {"effective_on": "2000-01-01", "base": self.dense["other"]})
        table = {"label": "Old", "accepts": ["0.25"], "placed_at": "2000-01-01T15:00:00Z", "meters": METERS}
        table_id = self.post(f"/venues/{venue}/tables", table)["id"]
        first = [{"name": "Cloth", "amount": "2.00", "per": "week", "starts_on": "2000-01-01"}]
        agreement = {"effective_on": "2000-01-01", "venue_percent": "50", "first_money": first}
        self.post(f"/venues/{venue}/agreements", agreement)
        begun = date(2026, 5, 2)
        sent = [
            collection(venue, table_id, f"{begun + timedelta(weeks=week)}T16:00:00Z", cash=40 * (week + 1))
            for week in range(WEEKS)
        ]
        for place in range(0, WEEKS, 25):
            self.post("/collections/batch", {"collections": sent[place : place + 25]})
        return {"venue": venue, "table": table_id, "collection": sent[-1]["id"]}

    def requests(self) -> Iterator[tuple[str, Request]]:
        """Yield the worst request of each operation."""
        yield from self._reads()
        for name, make in _WRITES.items():
            yield name, make(self)

    def _reads(self) -> Iterator[tuple[str, Request]]:
        dense, old = self.dense, self.old
        venue, table = dense["venue"], dense["table"]
        long = "from=2000-01-01&to=2026-11-25"
        paths = {
            "get_quote": f"/quotes?venue_id={venue}&games=10000&at=2026-12-01T12:00",
            "get_price_grid": f"/price-grid?venue_id={venue}&amounts={','.join(f'{n}.00' for n in range(1, 41))}",
            "get_week": f"/venues/{venue}/week",
            "list_venues": "/venues?limit=500",
            "list_all_tables": "/tables?limit=500",
            "list_tables": f"/venues/{venue}/tables?limit=500",
            "list_tariffs": "/tariffs?limit=500",
            "list_schedules": f"/venues/{venue}/schedules?limit=500",
            "list_readings": "/readings?limit=500",
            "list_collections": "/collections?limit=500",
            "list_collections of one venue": f"/collections?limit=500&venue_id={old['venue']}",
            "list_collection_changes": "/collections/changes?limit=500",
            "get_collection": f"/collections/{old['collection']}",
            "get_table_health": f"/tables/{old['table']}/health",
            "get_settings_sheet": f"/tables/{table}/settings-sheet",
            "get_settings_sheet_page": f"/tables/{table}/settings-sheet.html",
            "get_worklist": "/worklist?limit=500",
            "list_work_changes": "/worklist/changes?limit=500",
            "get_fault_report": f"/reports/faults?{long}",
            "get_differences": f"/reports/differences?table_id={old['table']}",
            "get_tax_report": "/reports/tax?from=2026-01-01&to=2026-11-25",
            "get_year_report": "/reports/year?year=2025",
            "get_statement": f"/venues/{old['venue']}/statements?from=2000-01-01&to=2026-11-25",
            "get_cash_in_hand": "/reports/cash-in-hand",
            "get_earnings": f"/reports/earnings?{long}",
            "get_best_and_worst": f"/reports/best-and-worst?{long}",
            "get_play": f"/reports/play?{long}",
            "get_price_change": f"/reports/price-change?tariff_id={DEMO_IDS['tariff weekday, dearer']}"
            if "tariff weekday, dearer" in DEMO_IDS
            else f"/reports/price-change?tariff_id={dense['tariff']}",
            "list_ledger_entries": "/ledger/entries?limit=500",
            "list_account_balances": "/ledger/accounts?limit=500",
            "export_ledger csv": "/ledger/export?format=csv",
            "export_ledger beancount": "/ledger/export?format=beancount",
            "verify_ledger": "/ledger/verify",
            "get_week_calendar": f"/venues/{venue}/week.ics",
            "get_price_card": f"/venues/{venue}/price-card.html",
            "get_statement_page": f"/venues/{old['venue']}/statement.html?month=2026-10",
        }
        for name, path in paths.items():
            yield name, ("GET", f"/v1{path}", None)


PLACE = {"name": "Dense", "time_zone": "America/New_York", "currency": "USD"}
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]


def tariff(code: str, *, first: int) -> dict[str, Any]:
    """A tariff of 50 prices."""
    prices = [{"price": f"{(first + 37 * n) / 100:.2f}", "units": 1 + 3 * n} for n in range(50)]
    return {"code": code, "name": code, "currency": "USD", "games": {"prices": prices, "counting": "climb_once"}}


def collection(venue: str, table: str, at: str, *, cash: int) -> dict[str, Any]:
    """A collection of one box of ten dollars."""
    box = {"table_id": table, "counted": {"0.25": 40}, "meters": {"cash": cash}}
    return {"id": str(uuid4()), "venue_id": venue, "collected_at": at, "collector": "Ana", "tables": [box]}


def _readings(made: Made) -> Request:
    readings = [
        {
            "id": str(uuid4()),
            "table_id": made.dense["table"],
            "taken_at": (NOON - timedelta(minutes=n)).isoformat(),
            "battery": {"volts": "12.50", "temperature_c": "21.0", "rested_minutes": 90},
            "clock": {"time": "11:00", "weekday": "sun", "display": "24h"},
            "meters": {"cash": n},
            "note": "x" * 200,
        }
        for n in range(5_000)
    ]
    return "POST", "/v1/readings", {"readings": readings}


def _scenarios(*scenarios: dict[str, Any]) -> Request:
    return "POST", "/v1/quotes", {"scenarios": list(scenarios)}


def _drafts(made: Made) -> Request:
    del made
    asked = {"time_zone": "America/New_York", "at": "2026-12-01T21:00", "games": 10_000}
    return _scenarios(*({"tariff": tariff("draft", first=100 + n), **asked} for n in range(200)))


def _plays(made: Made) -> Request:
    play = {"venue_id": made.dense["venue"], "from_at": "2026-12-01T12:00", "to_at": "2027-01-01T12:00"}
    return _scenarios(*[play] * 1_000)


_WRITES: dict[str, Callable[[Made], Request]] = {
    "post_quotes drafts": _drafts,
    "post_quotes plays": _plays,
    "post_quotes questions": lambda made: _scenarios(
        *(
            {"venue_id": made.dense["venue"], "at": f"2026-12-{1 + n % 28:02}T12:00", "games": 10_000 - n}
            for n in range(1_000)
        )
    ),
    "record_readings": _readings,
    "record_readings nonsense": lambda _: ("POST", "/v1/readings", {"readings": [{"x": "y"}] * 5_000}),
    "record_readings 200,000 values": lambda _: ("POST", "/v1/readings", b"[" + b"1," * 199_998 + b"1]"),
    "publish_tariff": lambda _: ("POST", "/v1/tariffs", tariff("last", first=99)),
    "check_tariff": lambda _: ("POST", "/v1/tariffs/check", tariff("last", first=98)),
    "roll_out_tariff": lambda made: (
        "POST",
        f"/v1/tariffs/{made.dense['tariff']}/rollout",
        {"replacement": made.dense["other"], "effective_on": "2026-11-26"},
    ),
    "preview_collection": lambda made: (
        "POST",
        "/v1/collections/preview",
        collection(made.old["venue"], made.old["table"], "2026-11-24T16:00:00Z", cash=40 * WEEKS + 40),
    ),
    "record_collection": lambda made: (
        "POST",
        "/v1/collections",
        collection(made.old["venue"], made.old["table"], "2026-11-24T16:00:00Z", cash=40 * WEEKS + 40),
    ),
    "record_collections": lambda made: (
        "POST",
        "/v1/collections/batch",
        {
            "collections": [
                collection(made.dense["venue"], made.dense["table"], f"2026-11-{1 + n % 24:02}T20:{n:02}:00Z", cash=n)
                for n in range(25)
            ]
        },
    ),
    "record_keyings": lambda made: (
        "POST",
        "/v1/keyings/batch",
        {
            "keyings": [
                {
                    "id": str(uuid4()),
                    "table_id": made.dense["table"],
                    "schedule_id": made.dense["schedule"],
                    "keyed_at": f"2026-11-{1 + n % 24:02}T15:00:00Z",
                    "by": "Ana",
                }
                for n in range(100)
            ]
        },
    ),
    "report_jobs": lambda made: (
        "POST",
        "/v1/jobs/batch",
        {
            "jobs": [
                {
                    "id": str(UUID(int=n + 1)),
                    "table_id": made.dense["table"],
                    "reported_at": "2026-11-20T15:00:00Z",
                    "fault": "cloth_damaged",
                    "playable": True,
                }
                for n in range(100)
            ]
        },
    ),
    "compare_prices": lambda made: (
        "POST",
        "/v1/reports/what-if",
        {
            "venue_id": made.old["venue"],
            "from": "2000-01-01",
            "to": "2026-11-25",
            "current": {"tariff_id": made.dense["tariff"]},
            "other": {"tariff_id": made.dense["other"]},
        },
    ),
    "propose_prices": lambda made: (
        "POST",
        "/v1/tariffs/proposals",
        {
            "table_id": made.dense["table"],
            "least_an_hour": "6.00",
            "minutes_a_game": 8,
            "mostly": ["1.00", "2.00", "5.00"],
            "first_price_max": "20.00",
        },
    ),
    "get_worklist after all that": lambda _: ("GET", "/v1/worklist?limit=500", None),
}
