"""A service whose clock the test moves on, and short words for what these tests do again and again."""

from datetime import UTC, datetime
from itertools import count
from typing import Any
from uuid import UUID, uuid4

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route


class Calendar:
    """The service's clock, standing where the test puts it."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        self.now = datetime(2026, 11, 1, 17, tzinfo=UTC)
        self.ids = (str(UUID(int=number)) for number in count(1))  # readings of one instant go by their ids

    def on(self, text: str) -> None:
        """Put the clock to an instant; a date is noon in New York in winter."""
        self.now = datetime.fromisoformat(text if "T" in text else f"{text}T17:00:00+00:00")

    def work(self, **asked: Any) -> list[dict[str, Any]]:
        """Return the worklist as it is now."""
        response = self.client.get("/v1/worklist", params=asked)
        assert response.status_code == 200, response.text
        return response.json()["items"]  # type: ignore[no-any-return]

    def only(self, kind: str) -> list[dict[str, Any]]:
        """Return the work of one kind."""
        return [item for item in self.work() if item["kind"] == kind]

    def read(self, table: dict[str, Any], **observed: Any) -> None:
        """Record a reading taken now."""
        reading = {"id": next(self.ids), "table_id": table["id"], "taken_at": self.now.isoformat(), **observed}
        answer = self.route.post("/readings", {"readings": [reading]})
        assert answer["recorded"] == 1, answer

    def collect(self, table: dict[str, Any], counted: dict[str, int], **found: Any) -> dict[str, Any]:
        """Record a collection of one table's box, made now."""
        box = {"table_id": table["id"], "counted": counted, **found}
        collection = {"id": str(uuid4()), "venue_id": table["venue_id"], "collected_at": self.now.isoformat()}
        return self.route.post("/collections", {**collection, "tables": [box]})


@pytest.fixture
def calendar(client: TestClient, route: Route) -> Calendar:
    """The service with a clock that the test moves, at first on 2026-11-01."""
    calendar = Calendar(client, route)
    client.app.state.clock = lambda: calendar.now  # type: ignore[attr-defined]
    return calendar
