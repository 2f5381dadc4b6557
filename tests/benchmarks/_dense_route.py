"""The route that the worst requests ask about: the demo, and beside it what the contract allows in each direction.

- 21 dense venues, each with two tables: a schedule of 200 windows a week, 5 recurring events and 60 dates, of 40 tariffs of
  50 prices; a controller of 14 windows a day and 50 prices.
- A venue whose table holds 2 prices of each of 50 tariffs of 50 games and 50 minutes, keyed.
- A hall of 200 tables. A venue with weekly first money since 2000 of which most still waits, and 25 collections.
- Lists with more in them than a page holds: tariffs, schedules, venues, readings with long notes.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from fastapi.testclient import TestClient

VENUES = 21
TARIFFS = 40
HALL = 200
WEEKS = 25
"""Collections of the old venue, one a week."""
LONG = "x" * 2_000
TODAY = date(2026, 11, 25)

PLACE = {"name": "Dense", "time_zone": "America/New_York", "currency": "USD"}
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]
CONTROLLER = {"windows_per_day": 14, "games": {"prices_max": 50}, "free": True}
TABLE = {"accepts": ["0.25", "1.00"], "placed_at": "2026-01-05T15:00:00Z", "meters": METERS}
DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def ladder(*, first: int, step: int = 3) -> dict[str, Any]:
    """Return 50 prices, the first of so many cents."""
    prices = [{"price": f"{(first + 37 * n) / 100:.2f}", "units": 1 + step * n} for n in range(50)]
    return {"prices": prices, "counting": "climb_once"}


def tariff(code: str, *, first: int) -> dict[str, Any]:
    """Return a tariff of 50 prices."""
    return {"code": code, "name": code, "currency": "USD", "games": ladder(first=first)}


def collection(number: int, venue: str, tables: list[str], at: str, *, cash: int) -> dict[str, Any]:
    """Return a collection of a box of ten dollars from each of some tables."""
    boxes = [{"table_id": table, "counted": {"0.25": 40}, "meters": {"cash": cash}} for table in tables]
    return {
        "id": str(UUID(int=(1 << 100) + number, version=4)),
        "venue_id": venue,
        "collected_at": at,
        "collector": "Ana",
        "tables": boxes,
    }


class DenseRoute:
    """What was made, by name."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.tariffs = [self.post("/tariffs", tariff(f"dense-{n}", first=100 + n))["id"] for n in range(TARIFFS)]
        self.schedules: list[str] = []
        self.venues: list[str] = []
        self.tables: list[str] = []
        for number in range(VENUES):
            venue = self.post("/venues", {**PLACE, "name": f"Dense {number}"})["id"]
            self.schedules.append(self.post(f"/venues/{venue}/schedules", self.schedule())["id"])
            self.venues.append(venue)
            for label in ("Left", "Right"):
                made = self.post(f"/venues/{venue}/tables", {**TABLE, "label": label, "controller": CONTROLLER})
                self.tables.append(made["id"])
        self.venue, self.table = self.venues[0], self.tables[0]
        self.few_venue, self.few_table = self._few()
        self.hall, self.hall_tables = self._hall()
        self.old, self.old_table, self.old_collection = self._old()
        self._lists()

    def post(self, path: str, body: Any) -> dict[str, Any]:
        """Post what must succeed."""
        answer = self.client.post(f"/v1{path}", json=body)
        if not answer.is_success:
            raise RuntimeError(f"{path}: {answer.text[:500]}")
        return answer.json()  # type: ignore[no-any-return]

    def schedule(self, *, effective_on: str = "2026-01-01") -> dict[str, Any]:
        """Return as dense a schedule as there can be within a megabyte."""
        weekly = [
            {
                "name": f"W{n}",
                "days": DAYS,
                "from": f"{6 + n // 12:02}:{5 * (n % 12):02}",
                "to": f"{6 + (n + 1) // 12:02}:{5 * ((n + 1) % 12):02}",
                "tariff": self.tariffs[n % TARIFFS],
            }
            for n in range(200)
        ]
        recurring = [
            {
                "name": f"R{n}",
                "starts_on": "2026-01-01",
                "rrule": f"FREQ=DAILY;INTERVAL={n + 2}",
                "from": f"{10 + n}:02",
                "to": f"{10 + n}:58",
                "tariff": self.tariffs[n],
            }
            for n in range(5)
        ]
        dates = [
            {
                "name": f"D{n}",
                "on": str(TODAY + timedelta(days=n)),
                "from": "12:00",
                "to": f"{13 + n % 8}:{1 + n % 50:02}",
                "tariff": self.tariffs[n % TARIFFS],
            }
            for n in range(60)
        ]
        return {
            "effective_on": effective_on,
            "base": self.tariffs[-1],
            "weekly": weekly,
            "recurring": recurring,
            "dates": dates,
        }

    def few(self, *, effective_on: str = "2026-01-01") -> dict[str, Any]:
        """Return a schedule of 50 windows, each of a tariff of its own, of which a small controller drops most prices."""
        weekly = [
            {
                "name": f"F{n}",
                "days": ["mon"],
                "from": f"{6 + n // 12:02}:{5 * (n % 12):02}",
                "to": f"{6 + (n + 1) // 12:02}:{5 * ((n + 1) % 12):02}",
                "tariff": tariff_id,
            }
            for n, tariff_id in enumerate(self.long_tariffs)
        ]
        return {"effective_on": effective_on, "base": self.long_tariffs[0], "weekly": weekly}

    def _few(self) -> tuple[str, str]:
        self.long_tariffs = [
            self.post("/tariffs", {**tariff(f"few-{n}", first=200 + n), "minutes": ladder(first=200 + n, step=5)})["id"]
            for n in range(50)
        ]
        venue = self.post("/venues", {**PLACE, "name": "Few prices"})["id"]
        schedule = self.post(f"/venues/{venue}/schedules", self.few())["id"]
        held = {"prices_max": 2}
        controller = {"windows_per_day": 14, "games": held, "minutes": held}
        table = self.post(f"/venues/{venue}/tables", {**TABLE, "label": "Few", "controller": controller})["id"]
        self.post(
            f"/tables/{table}/keyings", {"schedule_id": schedule, "keyed_at": "2026-02-01T15:00:00Z", "by": "Ana"}
        )
        return venue, table

    def _hall(self) -> tuple[str, list[str]]:
        venue = self.post("/venues", {**PLACE, "name": "Hall"})["id"]
        self.post(f"/venues/{venue}/schedules", {"effective_on": "2026-01-01", "base": self.tariffs[0]})
        self.post(f"/venues/{venue}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
        tables = [self.post(f"/venues/{venue}/tables", {**TABLE, "label": f"T{n}"})["id"] for n in range(HALL)]
        return venue, tables

    def _old(self) -> tuple[str, str, str]:
        venue = self.post("/venues", {**PLACE, "name": "Since 2000"})["id"]
        self.post(f"/venues/{venue}/schedules", {"effective_on": "2000-01-01", "base": self.tariffs[1]})
        table = {**TABLE, "label": "Old", "placed_at": "2000-01-01T15:00:00Z"}
        table_id = self.post(f"/venues/{venue}/tables", table)["id"]
        first = [{"name": "Cloth", "amount": "2.00", "per": "week", "starts_on": "2000-01-01"}]
        agreement = {"effective_on": "2000-01-01", "venue_percent": "50", "first_money": first}
        self.post(f"/venues/{venue}/agreements", agreement)
        begun = datetime(2026, 5, 2, 16, tzinfo=UTC)
        sent = [
            collection(
                week, venue, [table_id], f"{begun + timedelta(weeks=week):%Y-%m-%dT%H:%M}:00Z", cash=40 * (week + 1)
            )
            for week in range(WEEKS)
        ]
        self.post("/collections/batch", {"collections": sent})
        return venue, table_id, sent[-1]["id"]

    def _lists(self) -> None:
        """Make more than a page holds of what is listed."""
        for number in range(150):
            both = {**tariff(f"list-{number}", first=60), "minutes": ladder(first=60, step=5)}
            self.post("/tariffs", both)
        for number in range(12):
            self.post(f"/venues/{self.venues[1]}/schedules", self.schedule(effective_on=f"2027-01-{1 + number:02}"))
        texts = dict.fromkeys(("address", "contact", "legal_name", "payee", "tax_number", "notes"), LONG)
        for number in range(110):
            self.post("/venues", {**PLACE, **texts, "name": f"Named at length {number}"})
        readings = [
            {
                "id": str(UUID(int=(2 << 100) + number, version=4)),
                "table_id": self.table,
                "taken_at": f"{datetime(2026, 6, 1, tzinfo=UTC) + timedelta(hours=number):%Y-%m-%dT%H:%M}:00Z",
                "supply": {"volts": "12.40", "temperature_c": "10", "rested_minutes": 600},
                "meters": {"cash": number},
                "note": LONG,
            }
            for number in range(600)
        ]
        for place in range(0, len(readings), 300):
            self.post("/readings", {"readings": readings[place : place + 300]})
