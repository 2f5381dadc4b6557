"""How far inside the limits of work a real route is: 20 venues, 60 tables, 5 prices, 6 windows a day.

Each budget's dearest question that such a route asks takes at most the share stated here, measured in the engine's own
steps, or in what the limit counts.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from baizebook.app import create_app
from baizebook.calendars.calendar_file import EVENTS_WRITTEN_MAX
from baizebook.controllers.service import SHEET_PRICES_MAX
from baizebook.price_changes.service import _must_be_bounded
from baizebook.pricing.effort import STEPS_MAX, Effort
from baizebook.quotes.price_grid import GRID_LINES_MAX
from baizebook.store.db import make_engine
from baizebook.web.pagination import PAGE_BYTES_MAX
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route
from tests.databases import OWNER_TOKEN, settings_for, sqlite_database

VENUES, TABLES = 20, 3
PRICES = [{"price": f"{1 + n}.00", "units": 1 + n + n // 2} for n in range(5)]
DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "games", "counts": "games", "digits": 7, "resets": "never"},
]


class RealRoute(Route):
    """A route as one person runs it."""

    def __init__(self, client: TestClient) -> None:
        super().__init__(client)
        self.tariffs = [
            self.tariff(code=f"tariff-{n}", games={"prices": [{**p, "units": p["units"] * (n + 1)} for p in PRICES]})[
                "id"
            ]
            for n in range(4)
        ]
        self.venues, self.tables = list[str](), list[str]()
        for number in range(VENUES):
            venue = self.venue(name=f"Venue {number}")["id"]
            weekly = [
                {
                    "name": f"W{n}",
                    "days": DAYS,
                    "from": f"{10 + 2 * n}:00",
                    "to": f"{12 + 2 * n}:00",
                    "tariff": self.tariffs[n % 4],
                }
                for n in range(5)
            ]
            self.schedule(venue, self.tariffs[3], effective_on="2026-01-01", weekly=weekly)
            self.venues.append(venue)
            for label in ("Left", "Right", "Back")[:TABLES]:
                table = {"label": label, "accepts": ["0.25", "1.00", "5.00", "10.00"], "meters": METERS}
                self.tables.append(self.table(venue, placed_at="2026-01-05T15:00:00Z", **table)["id"])
        readings = [
            {
                "id": str(uuid4()),
                "table_id": table,
                "taken_at": (datetime(2026, 9, 1, 15, tzinfo=UTC) + timedelta(weeks=week)).isoformat(),
                "meters": {"cash": 400 * week, "games": 100 * week},
            }
            for table in self.tables
            for week in range(12)
        ]
        self.post("/readings", {"readings": readings})


@pytest.fixture(scope="module")
def route() -> Iterator[RealRoute]:
    with sqlite_database() as url:
        app = create_app(settings_for(url), make_engine(settings_for(url)))
        app.state.clock = lambda: NOON
        with TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"}) as client:
            yield RealRoute(client)


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The steps that each count of work had reached, as it went."""
    reached: list[int] = []
    spend = Effort.spend

    def noted(self: Effort, steps: int, **why: str) -> None:
        spend(self, steps, **why)
        reached.append(self.steps)

    monkeypatch.setattr(Effort, "spend", noted)
    return reached


def dearest(route: RealRoute) -> dict[str, tuple[str, str, Any, float]]:
    """Return the dearest question of each kind that counts steps, with the share of its budget that it may take."""
    at = "2026-12-01T21:00"
    bought = [{"table_id": table, "at": at, "money": f"{n}.00"} for table in route.tables for n in (1, 2, 5, 10, 20)]
    wanted = [{"table_id": table, "at": at, "games": games} for table in route.tables for games in (5, 20, 50)]
    plays = [{"venue_id": venue, "from_at": "2026-12-01T18:00", "to_at": "2026-12-02T02:00"} for venue in route.venues]
    prices = {"from": "2026-01-01", "to": "2026-11-25", "amounts": [f"{n}.00" for n in range(1, 21)]}
    lists = {"current": {"tariff_id": route.tariffs[0]}, "other": {"tariff_id": route.tariffs[1]}}
    aims = {"table_id": route.tables[0], "least_an_hour": "8.00", "minutes_a_game": 8, "mostly": ["1.00", "5.00"]}
    aims |= {"first_price_max": "2.00", "highest_price": "5.00"}
    return {
        "every amount at every table": ("POST", "/quotes", {"scenarios": bought}, 0.05),
        "what so many games take at every table": ("POST", "/quotes", {"scenarios": wanted}, 0.05),
        "an evening at every venue": ("POST", "/quotes", {"scenarios": plays}, 0.05),
        "all prices of all venues": ("GET", "/price-grid", None, 0.05),
        "a venue's prices for eight weeks": ("GET", f"/venues/{route.venues[0]}/week.ics?weeks=8", None, 0.05),
        "a quarter's play at all tables": ("GET", "/reports/play?from=2026-09-01&to=2026-11-25", None, 0.35),
        "two lists of prices": ("POST", "/reports/what-if", {**prices, **lists, "venue_id": route.venues[0]}, 0.05),
        "prices proposed for a table": ("POST", "/tariffs/proposals", aims, 0.7),
    }


def test_what_a_real_route_asks_takes_a_small_share_of_the_budget(route: RealRoute, steps: list[int]) -> None:
    found = {}
    for name, (method, path, body, share) in dearest(route).items():
        steps.clear()
        answer = route.client.request(method, f"/v1{path}", json=body)
        assert answer.status_code == 200, (name, answer.text[:300])
        assert "too_much_work" not in answer.text, name
        assert steps, name
        found[name] = (max(steps) / STEPS_MAX, share)
    steps.clear()
    _must_be_bounded(tables=VENUES * TABLES, dates=5, weeks=26)
    found["a change of prices on five dates, half a year before and after"] = (max(steps) / STEPS_MAX, 0.05)
    shares = {name: f"{share:.2%}" for name, (share, _) in found.items()}
    assert [name for name, (share, most) in found.items() if share > most] == [], shares


def test_what_a_real_route_reads_takes_a_small_share_of_what_may_be_answered(route: RealRoute) -> None:
    def get(path: str) -> Any:
        answer = route.client.get(f"/v1{path}")
        assert answer.status_code == 200, answer.text[:300]
        return answer

    sheet = get(f"/tables/{route.tables[0]}/settings-sheet").json()
    keyed = sum(len(window["games"]["prices"]) for day in sheet["days"] for window in day["windows"])
    assert 6 * 7 * 5 <= keyed <= 0.05 * SHEET_PRICES_MAX
    events = get(f"/venues/{route.venues[0]}/week.ics?weeks=8").text.count("BEGIN:VEVENT")
    assert 6 * 7 * 8 <= events <= 0.2 * EVENTS_WRITTEN_MAX
    lines = len(get("/price-grid").json()["items"])
    assert VENUES * 6 * 4 <= lines <= 0.15 * GRID_LINES_MAX
    for path in ("/venues", "/tables", "/tariffs", f"/venues/{route.venues[0]}/schedules", "/worklist"):
        answer = get(f"{path}?limit=500")
        assert answer.json()["next"] is None
        assert len(answer.content) <= 0.15 * PAGE_BYTES_MAX, (path, len(answer.content))
