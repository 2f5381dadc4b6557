"""The demo's tariffs, as they are sent to ``POST /v1/tariffs``. All of it is invented."""

from typing import Any


def _ladder(*rungs: tuple[str, int]) -> dict[str, Any]:
    return {"prices": [{"price": pays, "units": units} for pays, units in rungs]}


TARIFFS: dict[str, dict[str, Any]] = {
    "weekday": {
        "code": "weekday",
        "name": "Weekday play",
        "currency": "USD",
        "games": _ladder(("0.75", 1), ("4.00", 6), ("7.00", 11)),
    },
    "weekday, dearer": {
        "code": "weekday",
        "name": "Weekday play",
        "currency": "USD",
        "games": _ladder(("1.00", 1), ("4.00", 5), ("9.00", 12)),
    },
    "weekend": {
        "code": "weekend",
        "name": "Weekend play",
        "currency": "USD",
        "games": _ladder(("1.25", 1), ("4.50", 4), ("11.00", 11)),
    },
    "early": {
        "code": "early",
        "name": "Early evening",
        "currency": "USD",
        "games": _ladder(("0.50", 1), ("3.00", 7)),
    },
    "team night": {
        "code": "team-night",
        "name": "Team night",
        "currency": "USD",
        "games": _ladder(("1.00", 1), ("6.00", 8), ("15.00", 21)),
        "minutes": _ladder(("4.00", 32), ("12.00", 105)),
    },
    "hall": {
        "code": "hall",
        "name": "Hall time",
        "currency": "USD",
        "metered": {
            "tiers": [
                {"from_minutes": 0, "price": "9.00", "per_minutes": 60, "step_minutes": 15},
                {"from_minutes": 120, "price": "7.00", "per_minutes": 60, "step_minutes": 15},
            ],
            "minimum": "3.00",
            "maximum": {"amount": "40.00", "per_minutes": 720},
        },
    },
    "hall, evening": {
        "code": "hall-evening",
        "name": "Hall time in the evening",
        "currency": "USD",
        "metered": {
            "start_fee": "1.00",
            "tiers": [{"from_minutes": 0, "price": "12.00", "per_minutes": 60, "step_minutes": 15}],
            "maximum": {"amount": "60.00", "per_minutes": 720},
        },
    },
    "kneipe": {
        "code": "kneipe",
        "name": "Spiel und Zeit",
        "currency": "EUR",
        "games": _ladder(("1.00", 1), ("4.00", 5)),
        "minutes": _ladder(("2.00", 12), ("8.00", 54)),
    },
    "open house": {"code": "open-house", "name": "Open house", "currency": "EUR", "free": True},
}
