"""A table at a venue with prices, read over some weeks, and its health asked through the service."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import NOON, Route

METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 5, "resets": "never"},
    {"name": "bills", "counts": "money", "unit_value": "1.00", "digits": 5, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 4, "resets": "never"},
]
BATTERY = {"kind": "battery", "chemistry": "flooded", "nominal_volts": 12}
EARLY = {"name": "Early", "days": ["mon", "tue", "wed", "thu", "fri"], "from": "15:00", "to": "18:00"}


class Watched:
    """A table made at noon of 2026-11-25 (a Wednesday, New York), and what was read there since."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.now = NOON
        client.app.state.clock = lambda: self.now  # type: ignore[attr-defined]
        self.venue = route.venue()
        self.table = self.add()

    def add(self, **changes: Any) -> dict[str, Any]:
        """Make a table that is the one watched from now on."""
        self.table = self.route.table(self.venue["id"], **{"power": BATTERY, "meters": METERS, **changes})
        return self.table

    def prices(self) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
        """Publish the weekday tariff, cheaper from three to six on weekdays; return both tariffs and the schedule."""
        weekday = self.route.tariff()
        early = self.route.tariff(code="early", games={"prices": [{"price": "0.50", "units": 1}]})
        schedule = self.route.schedule(self.venue["id"], weekday["id"], weekly=[{**EARLY, "tariff": early["id"]}])
        return weekday, early, schedule

    def at(self, days: float) -> datetime:
        """Return the instant so many days after noon."""
        return NOON + timedelta(days=days)

    def read(self, days: float, **observed: Any) -> str:
        """Record what was observed so many days after noon; the service's time goes on to then, at least."""
        self.now = max(self.now, self.at(days))
        id_ = observed.pop("id", str(uuid4()))
        reading = {"id": id_, "table_id": self.table["id"], "taken_at": self.at(days).isoformat(), **observed}
        answer = self.route.post("/readings", {"readings": [reading]})
        assert answer["recorded"] == 1, answer
        return str(id_)

    def volts(self, days: float, volts: str, **more: Any) -> str:
        """Record a voltage read at rest."""
        return self.read(days, supply={"volts": volts, "rested_minutes": 600, "temperature_c": "26.7"}, **more)

    def health(self, headers: dict[str, str] | None = None) -> dict[str, Any]:
        """Return the table's health."""
        response = self.client.get(f"/v1/tables/{self.table['id']}/health", headers=headers)
        assert response.status_code == 200, response.text
        return response.json()  # type: ignore[no-any-return]


@pytest.fixture
def watched(client: TestClient, route: Route) -> Watched:
    """A table of two money meters and a games meter, run from a flooded 12 V battery."""
    return Watched(client, route)
