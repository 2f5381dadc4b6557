"""What left the demo's route, and what broke on it, in its last weeks. All of it is invented.

- ``fiddle``: a venue that left, after its one table was collected a last time and sold.
- Jobs in each state: open (``Downstairs``), given to somebody (``Back room``), waiting for parts (``Upstairs``) and done:
  on the last Wednesday but one the bar of the Copper Lantern reported two faults; one was mended with a part, one closed
  on the phone.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

FIDDLE = {
    "name": "The Paper Kite",
    "time_zone": "America/New_York",
    "currency": "USD",
    "address": "41 Mill Race, Millbrook Falls",
    "contact": "closed for good",
    "legal_name": "Paper Kite Tavern LLC",
}
CORNER = {"label": "Corner", "accepts": ["0.25", "1.00", "5.00"]}
LAST_BOX = {"0.25": 120, "1.00": 35, "5.00": 6}
SOLD = {"how": "sold", "buyer": "Quarry Street Social Club", "price": "350.00"}
BAR = "Odile at the bar"


@dataclass(frozen=True, slots=True)
class DemoJob:
    """A job at a table: its report and who made it, its steps, and how it ended, each some time after the report."""

    label: str
    reported_at: datetime
    report: dict[str, Any]
    by: str
    assigned_to: str | None = None
    waits_for: str | None = None
    done_after: timedelta | None = None
    done: dict[str, Any] | None = None


def wednesday_before(now: datetime) -> datetime:
    """Return 01:30 UTC after the last Wednesday evening that is at least three days ago."""
    day = now - timedelta(days=3)
    return (day - timedelta(days=(day.weekday() - 3) % 7)).replace(hour=1, minute=30, second=0, microsecond=0)


def jobs(now: datetime) -> list[DemoJob]:
    """Return the jobs of the last weeks in the order of their reports."""
    evening = wednesday_before(now)
    return [
        DemoJob(
            "Upstairs",
            evening - timedelta(days=6),
            {"fault": "cushion_damaged", "words": "The cushion by the window is dead.", "playable": True},
            by="Bram",
            assigned_to="Rosalind",
            waits_for="A set of cushions, ordered.",
        ),
        DemoJob(
            "Window side",
            evening,
            {"fault": "ball_stuck", "words": "The cue ball does not come back.", "playable": False},
            by=BAR,
            assigned_to="Rosalind",
            done_after=timedelta(hours=14),
            done={
                "found": "The gutter was split; a new one is in.",
                "parts": [{"name": "gutter", "cost": "18.50"}],
                "minutes": 35,
                "test_money": "1.00",
            },
        ),
        DemoJob(
            "By the jukebox",
            evening + timedelta(minutes=10),
            {"fault": "lamp_out", "words": "No light since the band packed up.", "playable": False},
            by=BAR,
            done_after=timedelta(minutes=25),
            done={"found": "The plug of the lamp was out; Odile put it back in."},
        ),
        DemoJob(
            "Back room",
            evening + timedelta(days=1),
            {"fault": "lock_damaged", "words": "The door of the box sticks.", "playable": True},
            by="Bram",
            assigned_to="Rosalind",
        ),
    ]
