"""What the demo's tables showed over the weeks, and what is wrong with some of them. All of it is invented.

- ``By the jukebox``: a battery that loses charge.
- ``Upstairs``: a clock an hour slow since the last clock change: it changed by itself, and was turned back once more.
- ``Downstairs``: a clock that runs slow by twelve seconds a day.
- ``Window side``: the dearer weekday prices keyed wrongly: a game for 0.75 instead of 1.00, from Monday to Thursday.
- ``Back room``: not keyed after the price change (``load.py`` leaves it out).
- ``Stube``: silent for five weeks.
- ``Saal``: a cash box that is nearly full.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

MINUTE = timedelta(minutes=1)


GAMES_PER_CASH_COUNT = {"0.25": (5, 16), "0.50": (9, 20)}
"""Games played for a count of the cash meter, as a fraction: about 0.80 a game in dollars, 1.11 in euros."""


@dataclass(frozen=True, slots=True)
class Habit:
    """How a table is used: cash counts a week, and what its clock and battery do."""

    counts_a_week: int
    unit_value: str = "0.25"
    battery_mv: int = 12_740
    battery_mv_a_day: int = -1
    clock_slow_s_a_day: int = 0
    minutes_a_week: int = 0


HABITS = {
    "Window side": Habit(640),
    "By the jukebox": Habit(560, battery_mv=12_780, battery_mv_a_day=-10),
    "Back room": Habit(420, battery_mv=12_600),
    "Upstairs": Habit(380),
    "Downstairs": Habit(450, battery_mv=12_800, clock_slow_s_a_day=12),
    "Hall 1": Habit(900, minutes_a_week=1_500),
    "Hall 2": Habit(760, minutes_a_week=1_260),
    "Stube": Habit(150, unit_value="0.50", battery_mv=12_500),
    "Saal": Habit(190, unit_value="0.50", battery_mv=12_650),
}


def meters(label: str, *, began_at: datetime, at: datetime) -> dict[str, int]:
    """Return what a table's meters show: steady use since the route began, busier in every third week."""
    habit = HABITS[label]
    days = (at - began_at) // timedelta(days=1)
    busy = days + days // 21
    counts = 10_000 + habit.counts_a_week * busy // 7
    games, per = GAMES_PER_CASH_COUNT[habit.unit_value]
    if habit.minutes_a_week:
        return {"cash": counts, "minutes": 50_000 + habit.minutes_a_week * busy // 7}
    return {"cash": counts, "plays": 2_000 + (counts - 10_000) * games // per}


def volts(label: str, *, since: datetime, at: datetime) -> str:
    """Return the resting voltage of a table's battery."""
    habit = HABITS[label]
    millivolts = habit.battery_mv + habit.battery_mv_a_day * ((at - since) // timedelta(days=1))
    return f"{millivolts // 1000}.{millivolts % 1000 // 10:02d}"


def clock_error(label: str, *, since: datetime, at: datetime, changed_at: datetime | None) -> timedelta:
    """Return by how much a table's clock is wrong: what it shows less the venue's time."""
    if label == "Upstairs" and changed_at is not None and at >= changed_at:
        return -60 * MINUTE
    return -timedelta(seconds=HABITS[label].clock_slow_s_a_day) * ((at - since) // timedelta(days=1))
