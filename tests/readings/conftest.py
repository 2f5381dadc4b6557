"""A table with a battery and two meters, and readings of it."""

from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 5, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
BATTERY = {"kind": "battery", "chemistry": "flooded", "nominal_volts": 12}


class Readings:
    """Takes readings of one table and posts them."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.venue = route.venue()
        self.table = route.table(self.venue["id"], meters=METERS, power=BATTERY)

    def reading(self, **changes: Any) -> dict[str, Any]:
        """Return a reading of the table, a minute after noon, with what is changed of it; None leaves a field out."""
        taken = {"id": str(uuid4()), "table_id": self.table["id"], "taken_at": "2026-11-25T12:01:00-05:00"}
        return {name: value for name, value in {**taken, **changes}.items() if value is not None}

    def post(self, *readings: Any, headers: dict[str, str] | None = None) -> dict[str, Any]:
        """Post a batch and return its answer, which must be a success."""
        response = self.client.post("/v1/readings", json={"readings": list(readings)}, headers=headers)
        assert response.status_code == 200, response.text
        return response.json()  # type: ignore[no-any-return]

    def refusal(self, reading: Any, headers: dict[str, str] | None = None) -> dict[str, Any]:
        """Post one reading that must be refused and return its problem."""
        (result,) = self.post(reading, headers=headers)["results"]
        assert result["outcome"] == "refused", result
        return result["problem"]  # type: ignore[no-any-return]

    def stored(self, query: str = "") -> list[dict[str, Any]]:
        """Return the readings on record."""
        return self.client.get(f"/v1/readings?{query}").json()["items"]  # type: ignore[no-any-return]


@pytest.fixture
def readings(at_noon: TestClient, route: Route) -> Readings:
    """A table at a venue in New York, made at noon, and readings of it."""
    return Readings(at_noon, route)
