"""A route to work with, made through the running service: venues with an agreement, each with a table."""

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from tests.faults.caller import VENUE, ask
from tests.faults.fault import check

SINCE = datetime(2026, 1, 2, 18, tzinfo=UTC)
LADDER = {"prices": [{"price": "1.00", "units": 1}]}
METERS = [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}]


@dataclass(frozen=True, slots=True)
class Place:
    """A venue with one table, whose collections are split in halves."""

    venue_id: str
    table_id: str

    def collection(self, number: int, id_: UUID, *, dollars: int = 4) -> dict[str, Any]:
        """Return the collection of a minute since ``SINCE``: so many dollar coins."""
        return {
            "id": str(id_),
            "venue_id": self.venue_id,
            "collected_at": (SINCE + timedelta(minutes=number)).isoformat(),
            "collector": "Ana",
            "tables": [{"table_id": self.table_id, "counted": {"1.00": dollars}}],
        }

    def reading(self, number: int, id_: UUID) -> dict[str, Any]:
        """Return the reading of a minute since ``SINCE``."""
        taken_at = (SINCE + timedelta(minutes=number)).isoformat()
        return {"id": str(id_), "table_id": self.table_id, "taken_at": taken_at, "supply": {"volts": "12.40"}}


def post(url: str, path: str, body: Any) -> dict[str, Any]:
    """Post what must be accepted, and return the answer."""
    status, answer, _ = ask(url, "POST", f"/v1{path}", body)
    check(status in (200, 201), f"{path} was answered {status}: {answer[:300]!r}")
    found: dict[str, Any] = json.loads(answer)
    return found


def furnish(url: str, number: int) -> list[Place]:
    """Make so many places."""
    tariff = post(url, "/tariffs", {"code": "dollar", "name": "A dollar", "currency": "USD", "games": LADDER})
    places = []
    for _ in range(number):
        venue_id = post(url, "/venues", VENUE)["id"]
        post(url, f"/venues/{venue_id}/schedules", {"effective_on": "2026-01-01", "base": tariff["id"]})
        post(url, f"/venues/{venue_id}/agreements", {"effective_on": "2026-01-01", "venue_percent": "50"})
        table = {"label": "Window side", "accepts": ["1.00"], "meters": METERS}
        places.append(Place(venue_id, post(url, f"/venues/{venue_id}/tables", table)["id"]))
    return places
