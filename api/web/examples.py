"""An example of every operation: the bodies that are sent, by operation, and what stands in its address.

Each succeeds on the demo, whose rows have the ids below; a test sends each of them. What was answered is kept in
``answers.json``; ``python -m tests.demo.examples_on_the_demo`` writes it.
"""

import hashlib
import json
from importlib.resources import files
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

_BEGAN_MS = 1_767_571_200_000
"""2026-01-05T00:00:00Z in milliseconds: what was made with an id of the demo sorts before all that is made since."""

DEMO_NAMES = (
    "tariff weekday",
    "tariff weekday, dearer",
    "tariff weekend",
    "tariff early",
    "tariff team night",
    "venue lantern",
    "venue harbour",
    "venue marigold",
    "venue keiler",
    "table Window side",
    "table By the jukebox",
    "table Back room",
    "table Upstairs",
    "table Downstairs",
    "schedule lantern",
    "entry deposit",
    "dispute lantern",
    "token Rosalind",
    "reading settings",
    "collection lantern",
    "first collection marigold",
    "job Downstairs",
    "sent reading",
    "sent collection",
    "sent job",
    "venue wicket",
    "venue typed twice",
    "table Spare frame",
    "table typed twice",
    "move Spare frame",
    "collection harbour",
    "keying Back room",
    "sent keying",
    "sheet link office",
    "tariff typed twice",
    "job Window side",
    "job Upstairs",
    "job Back room",
    "job By the jukebox",
    "venue fiddle",
    "table Corner",
    "collection fiddle",
    "trip done",
    "trip planned",
    "webhook endpoint office",
    "webhook delivery office",
)
"""What the demo gives an id of its own, in the order it is made; ``sent``: ids that the examples send."""


def _id(name: str) -> UUID:
    """Return the id of a name: of version 7 (RFC 9562, section 5.7), its time by its place, the rest by its hash."""
    value = (_BEGAN_MS + DEMO_NAMES.index(name)) << 80
    value |= int.from_bytes(hashlib.sha256(f"baizebook demo: {name}".encode()).digest()[:10])
    value = value & ~(0xF << 76) | 0x7 << 76
    return UUID(int=value & ~(0x3 << 62) | 0x2 << 62)


DEMO_IDS = {name: _id(name) for name in DEMO_NAMES}
"""The ids of the demo, by name."""

_VENUE = str(DEMO_IDS["venue lantern"])
_TABLE = str(DEMO_IDS["table Window side"])
_TARIFF = str(DEMO_IDS["tariff weekday, dearer"])
_OTHER_TARIFF = str(DEMO_IDS["tariff team night"])
_SCHEDULE = str(DEMO_IDS["schedule lantern"])
_READING = str(DEMO_IDS["sent reading"])
_SHORT = f"{DEMO_IDS['table Downstairs']}:review:difference:{DEMO_IDS['collection harbour']}"
_SENT_COLLECTION = str(DEMO_IDS["sent collection"])
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
    "id": _SENT_COLLECTION,
    "venue_id": _VENUE,
    "collected_at": "2026-11-24T15:10:00-05:00",
    "collector": "Rosalind",
    "tables": [
        {"table_id": _TABLE, "meters": {"cash": 10731}, "counted": {"0.25": 142, "1.00": 22, "5.00": 4}},
    ],
}


_JOB = {
    "id": str(DEMO_IDS["sent job"]),
    "table_id": _TABLE,
    "reported_at": "2026-11-24T21:40:00-05:00",
    "fault": "ball_stuck",
    "words": "The cue ball does not come back.",
    "playable": False,
}

BODIES: dict[str, Any] = {
    "create_webhook_endpoint": {
        "name": "Office display",
        "url": "https://display.baizebook.example/hooks",
        "event_types": ["work.due", "job.reported"],
        "venue_ids": [_VENUE],
    },
    "change_webhook_endpoint": {"event_types": ["job.reported"], "venue_ids": None},
    "assign_work": {"person": "Rosalind"},
    "create_trip": {
        "on": "2028-07-03",
        "person": "Rosalind",
        "stops": [str(DEMO_IDS["venue marigold"]), str(DEMO_IDS["venue harbour"])],
        "order": "shortest",
        "start": {"latitude": 43.25, "longitude": -88.1},
    },
    "complete_trip": {"words": "All boxes emptied; Hall 2 needs a cloth."},
    "cancel_trip": {"reason": "Snow."},
    "defer_work": {"until": "2028-07-01", "reason": "The bar is closed for repairs until then."},
    "compare_prices": {
        "venue_id": _VENUE,
        "from": "2026-09-01",
        "to": "2028-07-01",
        "current": {"tariff_id": _TARIFF},
        "other": {"tariff": _WEEKDAY},
        "elasticity": "-0.8",
    },
    "propose_prices": {
        "table_id": _TABLE,
        "least_an_hour": "6.00",
        "minutes_a_game": 8,
        "mostly": ["5.00"],
        "first_price_max": "1.00",
    },
    "complete_work": {"outcome": "found", "words": "A jam: 6.75 lay behind the coin chute."},
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
    "retire_table": {
        "how": "sold",
        "at": "2026-11-24T11:00:00-05:00",
        "buyer": "Odile",
        "price": "350.00",
        "box": "empty",
    },
    "void_move": {"reason": "The other table was moved."},
    "depart_venue": {"on": "2026-11-24"},
    "move_table": {
        "venue_id": str(DEMO_IDS["venue harbour"]),
        "moved_at": "2026-11-24T10:00:00-05:00",
        "meters": {"cash": 10731},
    },
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
    "record_keyings": {
        "keyings": [
            {
                "id": str(DEMO_IDS["sent keying"]),
                "table_id": _TABLE,
                "schedule_id": _SCHEDULE,
                "keyed_at": "2026-11-24T16:20:00-05:00",
                "by": "Rosalind",
            }
        ]
    },
    "record_readings": {
        "readings": [
            {
                "id": _READING,
                "table_id": _TABLE,
                "taken_at": "2026-11-24T19:52:00-05:00",
                "supply": {"volts": "12.40", "temperature_c": "10", "rested_minutes": 600},
                "clock": {"weekday": "tue", "time": "19:52", "display": "24h"},
                "meters": {"cash": 10731},
            }
        ]
    },
    "void_keying": {"reason": "Recorded for the wrong table."},
    "void_reading": {"reason": "Read off the wrong table."},
    "put_settings": {"clock": {"tolerance_s": 180}},
    "publish_agreement": {
        "effective_on": "2026-01-01",
        "venue_percent": "50",
        "first_money": [{"name": "Service charge", "amount": "10.00", "per": "collection", "starts_on": "2026-01-01"}],
    },
    "preview_collection": _COLLECTION,
    "record_collection": _COLLECTION,
    "record_collections": {"collections": [_COLLECTION]},
    "reverse_collection": {"reason": "Notes counted twice."},
    "raise_dispute": {"by": "Odile", "claims": "20.00 more", "reason": "Refunds were not counted."},
    "answer_dispute": {"by": "Rosalind", "answer": "The slip was found; the next collection corrects it."},
    "report_job": _JOB,
    "report_jobs": {"jobs": [_JOB]},
    "assign_job": {"person": "Rosalind"},
    "wait_for_parts": {"words": "A gutter, on order until Friday."},
    "close_job": {
        "at": "2026-11-24T10:15:00-06:00",
        "found": "The gutter was split; a new one is in.",
        "parts": [{"name": "gutter", "cost": "18.50"}],
        "minutes": 35,
        "test_money": "0.75",
    },
    "post_ledger_entry": {
        "kind": "deposit",
        "amount": "106.28",
        "on": "2026-11-24",
        "currency": "USD",
        "bags": ["HA-012"],
    },
    "reverse_ledger_entry": {"reason": "Booked twice.", "on": "2026-11-24"},
    "put_account_names": {"names": {"bank": "K-02 Savings bank"}},
    "create_page_link": {"address": f"/v1/venues/{_VENUE}/price-card.html?paper=letter", "hours": 48},
    "create_sheet_link": {"name": "Price list in the office", "venue_ids": [_VENUE], "reports": ["worklist"]},
    "put_date_set": {
        "name": "Local days",
        "dates": [{"on": "2027-02-07", "name": "Big game"}, {"on": "2027-08-14", "name": "Town fair"}],
    },
    "publish_dates": {
        "effective_on": "2029-01-01",
        "venue_ids": [_VENUE, str(DEMO_IDS["venue harbour"])],
        "tariff": str(DEMO_IDS["tariff weekend"]),
        "country": "US",
        "days": "observed",
    },
    "import_calendar": """\
BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Example//League//EN
BEGIN:VEVENT
UID:2027-spring@league.example
DTSTAMP:20261120T120000Z
SUMMARY:League night
DTSTART;TZID=America/New_York:20270112T190000
DTEND;TZID=America/New_York:20270112T230000
RRULE:FREQ=WEEKLY;UNTIL=20270401T000000Z
EXDATE;TZID=America/New_York:20270216T190000
END:VEVENT
BEGIN:VEVENT
UID:2027-final@league.example
DTSTAMP:20261120T120000Z
SUMMARY:Final
DTSTART;TZID=America/New_York:20270410T180000
DURATION:PT5H
END:VEVENT
END:VCALENDAR
""",
    "import_file": "table,taken at,volts,meter cash\nUpstairs,2026-11-20 17:40,12.62,\nDownstairs,2026-11-20 17:55,12.48,\n",
    "create_token": {"name": "Rosalind's phone", "role": "collector"},
}
"""What is sent, by operation."""


def _event(type: str, id: str, path: str, *, table_id: str | None = _TABLE, venue_id: str | None = _VENUE) -> Any:
    data = {"id": id, "venue_id": venue_id, "table_id": table_id, "path": f"/v1/{path}/{id}"}
    return {"type": type, "timestamp": "2026-11-24T20:10:03.412Z", "data": data}


EVENTS: dict[str, Any] = {
    "reading_recorded": _event("reading.recorded", _READING, "readings"),
    "collection_recorded": _event("collection.recorded", _SENT_COLLECTION, "collections", table_id=None),
    "work_due": _event("work.due", str(uuid5(NAMESPACE_URL, f"urn:baizebook:work:{_SHORT}")), "worklist"),
    "job_reported": _event("job.reported", str(DEMO_IDS["sent job"]), "jobs"),
    "webhook_test": _event(
        "webhook.test", str(DEMO_IDS["webhook endpoint office"]), "webhook-endpoints", table_id=None, venue_id=None
    ),
}
"""An example of every event that webhooks bring."""

PARAMETER_EXAMPLES: dict[str, Any] = {
    "venue_id": _VENUE,
    "table_id": _TABLE,
    "tariff_id": _TARIFF,
    "reading_id": str(DEMO_IDS["reading settings"]),
    "collection_id": str(DEMO_IDS["collection lantern"]),
    "dispute_id": str(DEMO_IDS["dispute lantern"]),
    "work_id": str(uuid5(NAMESPACE_URL, f"urn:baizebook:work:{_SHORT}")),
    "job_id": str(DEMO_IDS["job Downstairs"]),
    "move_id": str(DEMO_IDS["move Spare frame"]),
    "entry_id": str(DEMO_IDS["entry deposit"]),
    "sheet_link_id": str(DEMO_IDS["sheet link office"]),
    "trip_id": str(DEMO_IDS["trip planned"]),
    "token_id": str(DEMO_IDS["token Rosalind"]),
    "webhook_endpoint_id": str(DEMO_IDS["webhook endpoint office"]),
    "delivery_id": str(DEMO_IDS["webhook delivery office"]),
    "keying_id": str(DEMO_IDS["keying Back room"]),
    "code": "price_break_worse",
    "tax_area": "port-adler",
    "from": "2026-01-01",
    "to": "2028-07-01",
    "year": 2026,
    "if-match": "*",
}
"""What stands in an address or header where it must stand, by its name."""

_QUESTION = {"venue_id": _VENUE, "day": "tuesday", "time": "21:00", "money": "10.00"}
ASKED: dict[str, dict[str, Any]] = {
    "get_quote": _QUESTION,
    "get_quote_csv": _QUESTION,
    "get_price_grid": {"venue_id": [_VENUE], "amounts": "1.00,5.00", "on": "2026-12-01"},
    "list_readings": {"table_id": _TABLE},
    "list_collections": {"venue_id": _VENUE},
    "list_jobs": {"venue_id": str(DEMO_IDS["venue harbour"])},
    "get_worklist": {"venue_id": _VENUE},
    "get_price_change": {"tariff_id": _TARIFF},
    "get_differences_picture": {"table_id": str(DEMO_IDS["table Downstairs"])},
    "get_differences": {"table_id": str(DEMO_IDS["table Downstairs"])},
    "get_statement": {"month": "2026-11"},
    "get_statement_page": {"month": "2026-11"},
    "get_statement_csv": {"month": "2026-11"},
    "list_account_balances": {"venue_id": _VENUE},
    "export_ledger": {"format": "csv"},
    "import_file": {"of": "readings", "preview": True},
    "import_calendar": {
        "calendar": "City league",
        "tariff": _OTHER_TARIFF,
        "effective_on": "2027-01-01",
        "preview": True,
    },
    "list_public_holidays": {"country": "US", "from_on": "2027-01-01", "to_on": "2027-12-31", "days": "observed"},
    "publish_dates": {"preview": True},
    "get_import_template": {"of": "tables"},
    "depart_venue": {"venue_id": str(DEMO_IDS["venue typed twice"])},
    "delete_venue": {"venue_id": str(DEMO_IDS["venue typed twice"])},
    "delete_table": {"table_id": str(DEMO_IDS["table typed twice"])},
    "take_back_departure": {"venue_id": str(DEMO_IDS["venue fiddle"])},
    "delete_date_set": {"name": "Feast days"},
    "delete_tariff": {"tariff_id": str(DEMO_IDS["tariff typed twice"])},
    "settle_collection": {"collection_id": str(DEMO_IDS["first collection marigold"])},
}
"""What else an operation is asked in its example, or asked instead, by operation and name."""

ANSWERS: dict[str, Any] = json.loads(files(__package__).joinpath("answers.json").read_text("utf-8"))
"""What the demo answers to each example, by operation; of long lists the first two items."""
