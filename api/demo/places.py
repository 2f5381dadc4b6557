"""The demo's venues, tables and schedules. All of it is invented; names stand for no real place or person."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

_WEEKDAYS = ["mon", "tue", "wed", "thu"]

_BATTERY = {"kind": "battery", "nominal_volts": 12, "capacity_ah": "9.0"}
_METERS = [
    {"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"},
    {"name": "plays", "counts": "games", "digits": 6, "resets": "never"},
]
_CONTROLLER = {
    "games": {"prices_max": 4, "price_step": "0.25"},
    "kinds_at_once": False,
    "windows_per_day": 2,
    "counting": "repeat",
    "day_turns_at": "06:00",
    "take_over": [{"from": "mon", "to": ["tue", "wed", "thu"]}, {"from": "fri", "to": ["sat"]}],
    "clock": "weekday",
    "changes_for_summer_time": False,
}
_BOX = {"coins_max": 3000, "notes_max": 400, "value_max": "900.00"}


def _bar_table(label: str, *, chemistry: str = "agm", **more: Any) -> dict[str, Any]:
    return {
        "label": label,
        "accepts": ["0.25", "1.00", "5.00", "10.00", "20.00"],
        "power": {**_BATTERY, "chemistry": chemistry},
        "meters": _METERS,
        "controller": _CONTROLLER,
        "cash_box": _BOX,
        **more,
    }


def _hall_table(label: str) -> dict[str, Any]:
    return {
        "label": label,
        "accepts": ["0.25", "1.00", "5.00", "10.00", "20.00"],
        "power": {"kind": "mains"},
        "meters": [{"name": "minutes", "counts": "minutes", "digits": 7, "resets": "never"}, _METERS[0]],
        "cash_box": _BOX,
    }


def _pub_table(label: str) -> dict[str, Any]:
    return {
        "label": label,
        "accepts": ["0.50", "1.00", "2.00", "5.00", "10.00"],
        "power": {**_BATTERY, "chemistry": "unknown"},
        "meters": [{**_METERS[0], "unit_value": "0.50"}, _METERS[1]],
        "cash_box": {**_BOX, "value_max": "700.00"},
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoVenue:
    """A venue with its tables, and what it has listed since the demo's route began."""

    venue: dict[str, Any]
    tables: list[dict[str, Any]] = field(default_factory=list)


VENUES: dict[str, DemoVenue] = {
    "lantern": DemoVenue(
        venue={
            "name": "The Copper Lantern",
            "time_zone": "America/New_York",
            "currency": "USD",
            "address": "12 Quarry Street, Millbrook Falls",
            "latitude": 42.11,
            "longitude": -76.42,
            "contact": "Odile at the bar, 555-0142, after 16:00",
            "legal_name": "Copper Lantern Hospitality LLC",
        },
        tables=[
            _bar_table("Window side", licence={"number": "MF-2231"}),
            _bar_table("By the jukebox"),
            _bar_table("Back room", chemistry="flooded"),
        ],
    ),
    "harbour": DemoVenue(
        venue={
            "name": "Harbour Lane Tavern",
            "time_zone": "America/Chicago",
            "currency": "USD",
            "address": "3 Harbour Lane, Port Alder",
            "latitude": 43.213,
            "longitude": -88.024,
            "contact": "Bram, 555-0117",
            "legal_name": "Port Alder Taverns Inc.",
        },
        tables=[_bar_table("Upstairs"), _bar_table("Downstairs", chemistry="gel")],
    ),
    "marigold": DemoVenue(
        venue={
            "name": "Marigold Billiard Hall",
            "time_zone": "America/Chicago",
            "currency": "USD",
            "day_starts_at": "05:00",
            "address": "800 Foundry Road, Port Alder",
            "latitude": 43.188,
            "longitude": -87.971,
            "contact": "Front desk, 555-0160",
            "legal_name": "Marigold Recreation LLC",
        },
        tables=[_hall_table("Hall 1"), _hall_table("Hall 2")],
    ),
    "keiler": DemoVenue(
        venue={
            "name": "Zum blauen Keiler",
            "time_zone": "Europe/Berlin",
            "currency": "EUR",
            "address": "Mühlgasse 7, Aldersfurt",
            "latitude": 49.702,
            "longitude": 9.815,
            "contact": "Frau Sommerfeld, ab 17 Uhr",
            "legal_name": "Blauer Keiler Gaststätten GmbH",
        },
        tables=[_pub_table("Stube"), _pub_table("Saal")],
    ),
}


def schedules(tariffs: dict[str, str], *, began_on: date, today: date) -> dict[str, dict[str, Any]]:
    """Return the first schedule of every venue; ``tariffs`` are ids by the names of ``prices.TARIFFS``."""
    team_night = began_on + timedelta(days=(1 - began_on.weekday()) % 7)
    early = {"name": "Early evening", "days": _WEEKDAYS, "from": "15:00", "to": "18:00", "tariff": tariffs["early"]}
    weekend = {"name": "Weekend", "days": ["fri", "sat"], "from": "18:00", "tariff": tariffs["weekend"]}
    return {
        "lantern": {
            "effective_on": began_on.isoformat(),
            "base": tariffs["weekday"],
            "weekly": [early, weekend],
            "recurring": [
                {
                    "name": "Team night",
                    "starts_on": team_night.isoformat(),
                    "rrule": "FREQ=WEEKLY;BYDAY=TU",
                    "from": "19:00",
                    "to": "23:00",
                    "tariff": tariffs["team night"],
                }
            ],
            "dates": [{"name": "Stocktaking", "on": (today + timedelta(days=30)).isoformat(), "tariff": None}],
        },
        "harbour": {
            "effective_on": began_on.isoformat(),
            "base": tariffs["weekday"],
            "weekly": [weekend, {"name": "Closed on Mondays", "days": ["mon"], "tariff": None}],
        },
        "marigold": {
            "effective_on": began_on.isoformat(),
            "base": tariffs["hall"],
            "weekly": [
                {
                    "name": "Evening",
                    "days": ["fri", "sat"],
                    "from": "19:00",
                    "to": "02:00",
                    "tariff": tariffs["hall, evening"],
                }
            ],
        },
        "keiler": {
            "effective_on": began_on.isoformat(),
            "base": tariffs["kneipe"],
            "weekly": [{"name": "Ruhetag", "days": ["wed"], "tariff": None}],
            "dates": [
                {"name": "Open house", "on": (today + timedelta(days=10)).isoformat(), "tariff": tariffs["open house"]}
            ],
        },
    }
