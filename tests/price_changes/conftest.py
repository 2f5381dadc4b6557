"""Two venues with six tables each, collected every Monday, of which one changes its prices on 5 October 2026."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route

CHANGED_ON = date(2026, 10, 5)
FIRST_MONDAY = date(2026, 8, 31)
METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]


class TwoVenues:
    """Makes the venues and their tables, changes prices, and collects week by week."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route, self.made = client, route, 0
        self.at(datetime(2026, 8, 1, 12, tzinfo=UTC))
        self.cheap = self._tariff("1.00")
        self.dear = self._tariff("1.50")
        self.venues = [route.venue(name=name)["id"] for name in ("The Copper Lantern", "Harbour Lane")]
        self.tables = [
            [route.table(venue, label=f"Table {number}", meters=METERS)["id"] for number in range(6)]
            for venue in self.venues
        ]
        self.shown = {table: [0, 0] for tables in self.tables for table in tables}
        for venue in self.venues:
            route.schedule(venue, self.cheap)

    def at(self, now: datetime) -> None:
        """Let the service's clock show a time."""
        self.client.app.state.clock = lambda: now  # type: ignore[attr-defined]

    def _tariff(self, price: str) -> str:
        games = {"prices": [{"price": price, "units": 1}]}
        name = {"code": f"games-{price}", "name": f"A game for {price}", "currency": "USD"}
        return str(self.route.post("/tariffs", {**name, "games": games})["id"])

    def change_prices(self, venue: int = 0, on: date = CHANGED_ON) -> str:
        """Publish the dearer prices at a venue from a date on; return the schedule."""
        self.at(datetime(on.year, on.month, on.day, 3, tzinfo=UTC))
        schedule = {"effective_on": on.isoformat(), "base": self.dear}
        return str(self.route.post(f"/venues/{self.venues[venue]}/schedules", schedule)["id"])

    def collect(self, monday: date, dollars: dict[int, list[int]]) -> None:
        """Collect at both venues on a Monday at one in the night: what the trading days until Sunday brought."""
        at = datetime(monday.year, monday.month, monday.day, 5, tzinfo=UTC)
        self.at(at + timedelta(hours=2))
        for venue, amounts in dollars.items():
            self.made += 1
            tables: list[dict[str, Any]] = []
            for table, amount in zip(self.tables[venue], amounts, strict=True):
                price = 1.5 if venue == 0 and monday > CHANGED_ON else 1
                shown = self.shown[table]
                shown[0], shown[1] = shown[0] + 4 * amount, shown[1] + int(amount / price)
                meters = {"cash": shown[0], "plays": shown[1]}
                tables.append({"table_id": table, "meters": meters, "counted": {"1.00": amount}})
            self.route.post(
                "/collections",
                {
                    "id": str(UUID(int=self.made)),
                    "venue_id": self.venues[venue],
                    "collected_at": at.isoformat(),
                    "collector": "Ana",
                    "tables": tables,
                },
            )

    def weeks_of_trade(self, more_after: int) -> None:
        """Collect five weeks before and five after: each table has a level of its own, and a share of the change."""
        for week in range(11):
            monday = FIRST_MONDAY + timedelta(weeks=week)
            if monday == CHANGED_ON:
                self.change_prices()
            after = more_after if monday > CHANGED_ON else 0
            levels = [60 + 7 * number + (3 * number + 5 * week) % 8 for number in range(6)]
            self.collect(
                monday, {0: [level + after + (number * 3) % 5 for number, level in enumerate(levels)], 1: levels}
            )
        self.at(NOON)


@pytest.fixture
def two_venues(client: TestClient, route: Route) -> TwoVenues:
    """Two venues that sell a game for 1.00."""
    return TwoVenues(client, route)
