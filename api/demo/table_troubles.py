"""What the demo's tables showed over the weeks, and what is wrong with some of them. All of it is invented.

- ``By the jukebox``: a battery that loses charge.
- ``Upstairs``: a clock an hour slow since the last clock change: it changed by itself, and was turned back once more.
- ``Downstairs``: a clock that runs slow by twelve seconds a day.
- ``Window side``: the dearer weekday prices keyed wrongly: a game for 0.75 instead of 1.00, from Monday to Thursday.
- ``Back room``: not keyed after the price change (``load.py`` leaves it out), and a games meter that misses about one
  game in eight: it counts fewer games than so much money buys at the dearest price.
- ``Stube``: silent for five weeks.
- ``Saal``: a cash box that is nearly full.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

ONE_MINUTE = timedelta(minutes=1)
ROUTE = timedelta(weeks=14)
"""How long the demo's route has been run."""
_A_DAY = timedelta(days=1)
_IN_EUROS, _WEEKEND, _WEEKDAY, _DEARER = Fraction(9, 20), Fraction(5, 16), Fraction(5, 14), Fraction(25, 78)
"""Games for a count of the cash meter: 1.11 a game in euros; in dollars 0.80 from Friday to Sunday, on other days 0.70,
and 0.78 since the prices rose."""


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
    if habit.minutes_a_week:
        return {"cash": counts, "minutes": 50_000 + habit.minutes_a_week * busy // 7}
    return {"cash": counts, "plays": 2_000 + int(_games(label, days, began_at=began_at))}


def _games(label: str, days: int, *, began_at: datetime) -> Fraction:
    """Return the games of some days since the route began, by the prices of each day."""
    habit, today = HABITS[label], (began_at + ROUTE - timedelta(hours=11)).date()
    rose_on = today - timedelta(days=today.weekday())
    games = Fraction(0)
    for day in range(1, days + 1):
        counts = (habit.counts_a_week * (n + n // 21) // 7 for n in (day, day - 1))
        on = (began_at + day * _A_DAY).date()
        if habit.unit_value != "0.25":
            a_count = _IN_EUROS
        elif label == "Back room" or on.weekday() > 3:
            a_count = _WEEKEND
        else:
            a_count = _DEARER if on >= rose_on else _WEEKDAY
        games += (next(counts) - next(counts)) * a_count
    return games


def volts(label: str, *, since: datetime, at: datetime) -> str:
    """Return the resting voltage of a table's battery."""
    habit = HABITS[label]
    millivolts = habit.battery_mv + habit.battery_mv_a_day * ((at - since) // timedelta(days=1))
    return f"{millivolts // 1000}.{millivolts % 1000 // 10:02d}"


def clock_error(label: str, *, since: datetime, at: datetime, changed_at: datetime | None) -> timedelta:
    """Return by how much a table's clock is wrong: what it shows less the venue's time."""
    if label == "Upstairs" and changed_at is not None and at >= changed_at:
        return -60 * ONE_MINUTE
    return -timedelta(seconds=HABITS[label].clock_slow_s_a_day) * ((at - since) // timedelta(days=1))
