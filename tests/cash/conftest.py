"""A venue with one table whose money meter counts quarters, and collections of it, through the service."""

from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient

from tests.conftest import Route

METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
HALF = {"effective_on": "2026-01-01", "venue_percent": "50"}


class Till:
    """Agrees, collects and reverses at one venue; every collection has an id of its own."""

    def __init__(self, client: TestClient, route: Route) -> None:
        self.client, self.route = client, route
        games = {"prices": [{"price": "1.00", "units": 1}]}
        tariff = route.post(
            "/tariffs", {"code": "dollar", "name": "A dollar a game", "currency": "USD", "games": games}
        )
        self.venue = route.venue()["id"]
        route.schedule(self.venue, tariff["id"])
        self.table = route.table(self.venue, meters=METERS)["id"]
        self.made = 0

    def agree(self, **terms: Any) -> dict[str, Any]:
        """Publish an agreement, half and half since the start of 2026 unless told otherwise."""
        return self.route.post(f"/venues/{self.venue}/agreements", {**HALF, **terms})

    def body(self, on: str, dollars: int, *, cash: int | None = None, **changes: Any) -> dict[str, Any]:
        """Return a collection at 16:00 UTC of a day: so many dollar coins, and what the money meter shows."""
        self.made += 1
        at_table = {"table_id": self.table, "counted": {"1.00": dollars}}
        if cash is not None:
            at_table["meters"] = {"cash": cash}
        whole = {name: changes.pop(name) for name in ("id", "collector", "bag", "venue_id") if name in changes}
        return {
            "id": str(UUID(int=self.made)),
            "venue_id": self.venue,
            "collected_at": f"{on}T16:00:00Z",
            "collector": "Ana",
            "tables": [{**at_table, **changes}],
            **whole,
        }

    def collect(self, on: str, dollars: int, **changes: Any) -> dict[str, Any]:
        """Record such a collection."""
        return self.route.post("/collections", self.body(on, dollars, **changes))

    def reverse(self, collection: dict[str, Any], reason: str = "miscounted") -> dict[str, Any]:
        """Take a collection back."""
        return self.route.post(f"/collections/{collection['id']}/reversal", {"reason": reason})

    def refused(self, body: dict[str, Any], path: str = "/collections") -> tuple[int, str, list[str]]:
        """Post what must be refused; return status, code and the places that are named."""
        response = self.client.post(f"/v1{path}", json=body)
        problem = response.json()
        assert response.headers["content-type"] == "application/problem+json", response.text
        places = [error["where"] for error in problem["errors"]]
        return response.status_code, problem["type"].removeprefix("/problems/"), places

    def balances(self) -> dict[str, str]:
        """Return every account that is not zero, by its code."""
        accounts = self.client.get("/v1/ledger/accounts").json()["items"]
        return {
            account["account"]: account["balance"]
            for account in accounts
            if account["balance"].strip("-0.") and account["balance"] is not None
        }


@pytest.fixture
def till(at_noon: TestClient, route: Route) -> Till:
    """A venue with a table, on Wednesday 2026-11-25 at noon."""
    return Till(at_noon, route)
