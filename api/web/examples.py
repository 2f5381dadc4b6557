"""An example of every operation: the bodies that are sent, by operation, and what stands in addresses, by name.

A test sends each of them. The ids are invented: they name nothing that exists.
"""

from typing import Any

_VENUE = "01932c5a-7b7e-7c1e-8a54-0242ac120002"

_TABLE = "01932c5a-8f3d-7d22-9b61-0242ac120003"
_TARIFF = "01932c5b-11aa-7e0f-a1c4-0242ac120004"
_OTHER_TARIFF = "01932c5b-22bb-7e10-b2d5-0242ac120005"
_SCHEDULE = "01932c5b-33cc-7e11-83e6-0242ac120006"
_SENT = "01932c5c-44dd-7e12-94f7-0242ac120007"
_ENTRY = "01932c5c-55ee-7e13-a508-0242ac120008"
_WEEKDAY = {
    "code": "weekday",
    "name": "Weekday play",
    "currency": "USD",
    "games": {
        "prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}, {"price": "7.00", "units": 11}],
        "counting": "repeat",
    },
}
_SCHEDULE_BODY = {
    "effective_on": "2026-12-01",
    "base": _TARIFF,
    "weekly": [
        {"name": "Early evening", "days": ["mon", "tue"], "from": "15:00", "to": "18:00", "tariff": _OTHER_TARIFF}
    ],
    "recurring": [
        {
            "name": "Team night",
            "starts_on": "2026-12-08",
            "rrule": "FREQ=WEEKLY;BYDAY=TU",
            "except_on": ["2026-12-22"],
            "from": "19:00",
            "to": "23:00",
            "tariff": _OTHER_TARIFF,
        }
    ],
    "dates": [{"name": "Stocktaking", "on": "2027-01-02", "tariff": None}],
}
_COLLECTION = {
    "id": _SENT,
    "venue_id": _VENUE,
    "collected_at": "2026-11-24T15:10:00-05:00",
    "collector": "Rosalind",
    "tables": [
        {"table_id": _TABLE, "meters": {"cash": 10731}, "counted": {"0.25": 142, "1.00": 22, "5.00": 4}},
    ],
}


BODIES: dict[str, Any] = {
    "post_quotes": {"scenarios": [{"venue_id": _VENUE, "at": "2026-12-01T21:00", "money": "10.00"}]},
    "check_counting": {
        "currency": "USD",
        "settings": [{"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}]}],
        "observations": [{"inserted": ["1.00", "1.00", "1.00"], "shown": [1, 2, 4]}],
        "accepts": ["0.25", "1.00", "5.00"],
    },
    "create_venue": {"name": "The Copper Lantern", "time_zone": "America/New_York", "currency": "USD"},
    "change_venue": {"contact": "Odile at the bar, after 16:00"},
    "create_table": {
        "label": "Window side",
        "accepts": ["0.25", "1.00", "5.00", "20.00"],
        "power": {"kind": "battery", "chemistry": "agm", "nominal_volts": 12},
        "meters": [{"name": "cash", "counts": "money", "unit_value": "0.25", "digits": 7, "resets": "never"}],
    },
    "change_table": {"label": "By the window"},
    "move_table": {"venue_id": _VENUE, "moved_at": "2026-11-24T10:00:00-05:00", "meters": {"cash": 10731}},
    "put_tax_area": {
        "code": "millbrook",
        "name": "Millbrook Falls",
        "rates": [{"from_on": "2026-01-01", "rate_percent": "6.25"}],
    },
    "publish_tariff": _WEEKDAY,
    "check_tariff": _WEEKDAY,
    "publish_schedule": _SCHEDULE_BODY,
    "publish_table_schedule": {"effective_on": "2026-12-01", "follow_venue": True},
    "roll_out_tariff": {"replacement": _OTHER_TARIFF, "effective_on": "2026-12-01"},
    "record_keying": {"schedule_id": _SCHEDULE, "keyed_at": "2026-11-24T16:20:00-05:00", "by": "Rosalind"},
    "record_readings": {
        "readings": [
            {
                "id": _SENT,
                "table_id": _TABLE,
                "taken_at": "2026-11-24T19:52:00-05:00",
                "supply": {"volts": "12.40", "temperature_c": "10", "rested_minutes": 600},
                "clock": {"weekday": "tue", "time": "19:52", "display": "24h"},
                "meters": {"cash": 10731},
            }
        ]
    },
    "void_reading": {"reason": "Read off the wrong table."},
    "put_settings": {"clock": {"tolerance_s": 180}},
    "publish_agreement": {
        "effective_on": "2026-01-01",
        "venue_percent": "50",
        "first_money": [{"name": "Service charge", "amount": "10.00", "per": "collection", "starts_on": "2026-01-01"}],
    },
    "preview_collection": _COLLECTION,
    "record_collection": _COLLECTION,
    "reverse_collection": {"reason": "Notes counted twice."},
    "raise_dispute": {"by": "Odile", "claims": "20.00 more", "reason": "Refunds were not counted."},
    "answer_dispute": {"by": "Rosalind", "answer": "The slip was found; the next collection corrects it."},
    "report_job": {
        "id": _SENT,
        "table_id": _TABLE,
        "reported_at": "2026-11-25T21:40:00-05:00",
        "fault": "ball_stuck",
        "words": "The cue ball does not come back.",
        "playable": False,
    },
    "assign_job": {"person": "Rosalind"},
    "wait_for_parts": {"words": "A gutter, on order until Friday."},
    "close_job": {
        "at": "2026-11-26T10:15:00-05:00",
        "found": "The gutter was split; a new one is in.",
        "parts": [{"name": "gutter", "cost": "18.50"}],
        "minutes": 35,
        "test_money": "0.75",
    },
    "post_ledger_entry": {"kind": "deposit", "amount": "900.00", "on": "2026-11-24", "currency": "USD"},
    "reverse_ledger_entry": {"reason": "Booked twice.", "on": "2026-11-24"},
    "put_account_names": {"names": {"bank": "K-02 Savings bank"}},
    "create_token": {"name": "Rosalind's phone", "role": "collector"},
}
"""What is sent, by operation."""


PARAMETERS: dict[str, Any] = {
    "venue_id": _VENUE,
    "table_id": _TABLE,
    "tariff_id": _TARIFF,
    "reading_id": _SENT,
    "collection_id": _SENT,
    "dispute_id": _SENT,
    "job_id": _SENT,
    "entry_id": _ENTRY,
    "token_id": _SENT,
    "code": "price_break_worse",
    "on": "2026-12-01",
    "money": "10.00",
    "day": "tuesday",
    "time": "21:00",
    "at": "2026-12-01T21:00",
    "month": "2026-11",
    "from": "2026-01-01",
    "to": "2026-12-31",
}
"""What stands in addresses, by name."""
