"""The demo's agreements and tax areas, as they are sent. All of it is invented."""

from __future__ import annotations

from datetime import date
from typing import Any

TAX_AREAS: tuple[dict[str, Any], ...] = (
    {"code": "millbrook", "name": "Millbrook Falls", "rates": [{"from_on": "2020-01-01", "divisor": "1.05"}]},
    {"code": "port-alder", "name": "Port Alder", "rates": [{"from_on": "2020-01-01", "rate_percent": "6.25"}]},
    {
        "code": "port-adler",
        "name": "Port Adler, typed twice",
        "rates": [{"from_on": "2020-01-01", "rate_percent": "6.25"}],
    },
    {"code": "aldersfurt", "name": "Aldersfurt", "rates": [{"from_on": "2020-01-01", "rate_percent": "19"}]},
)
TAX_AREA_OF = {"lantern": "millbrook", "harbour": "port-alder", "marigold": "port-alder", "keiler": "aldersfurt"}


def agreements(began_on: date) -> dict[str, dict[str, Any]]:
    """Return every venue's agreement, in force since the route began."""
    since = {"effective_on": began_on.isoformat()}
    service_charge = {
        "name": "Service charge",
        "amount": "10.00",
        "per": "collection",
        "starts_on": began_on.isoformat(),
    }
    return {
        "lantern": {**since, "venue_percent": "50", "first_money": [service_charge], "loan_repay_percent": "25"},
        "harbour": {
            **since,
            "steps": [{"from_week": 1, "venue_percent": "60"}, {"from_week": 9, "venue_percent": "50"}],
            "cap": {"name": "County rule on locations", "venue_percent_max": "50"},
        },
        "marigold": {
            **since,
            "amount_tiers": {
                "mode": "marginal",
                "tiers": [{"from": "0.00", "venue_percent": "40"}, {"from": "500.00", "venue_percent": "50"}],
            },
            "operator_minimum": {"amount": "50.00", "kind": "guarantee"},
        },
        "keiler": {**since, "venue_percent": "45", "pays": "monthly"},
    }
