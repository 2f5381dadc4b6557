"""W1 to W5 against opening-hours-py: which window holds, on 40,000 random instants, without a single difference.

Each window is a rule of the OpenStreetMap opening_hours specification, its name as comment; rules are joined with ", ",
so that the later one wins (W4). A window that starts after midnight is written on the civil day on which it starts.
"""

import random
from datetime import UTC, date, datetime, time, timedelta

from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import OnDate, Schedule, Weekly
from opening_hours import OpeningHours

MONDAY = date(2026, 11, 23)
DAYS = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
NO_CLOCK_CHANGES = zone_named("America/Phoenix")


def random_times(chance: random.Random, day_starts_at: time) -> tuple[time, time]:
    """Two wall-clock times of one trading day, the second later in it; whole quarters of an hour."""
    first, second = sorted(chance.sample(range(97), 2))
    start = datetime.combine(MONDAY, day_starts_at)
    return tuple((start + timedelta(minutes=15 * quarters)).time() for quarters in (first, second))


def random_schedule(chance: random.Random) -> Schedule:
    day_starts_at = chance.choice([time(0), time(4), time(6), time(6), time(11, 30)])
    weekly, dates = [], []
    for number in range(chance.randint(0, 5)):
        start, end = random_times(chance, day_starts_at)
        days = frozenset(chance.sample(range(7), chance.randint(1, 7)))
        weekly.append(Weekly(name=f"week {number}", days=days, start=start, end=end, tariff=None))
    for number in range(chance.randint(0, 3)):
        start, end = random_times(chance, day_starts_at)
        on = MONDAY + timedelta(days=chance.randrange(14))
        dates.append(OnDate(name=f"date {number}", on=on, start=start, end=end, tariff=None))
    return Schedule(id="", base=None, weekly=tuple(weekly), dates=tuple(dates), day_starts_at=day_starts_at)


def as_rule(window: Weekly | OnDate, day_starts_at: time) -> str:
    after_midnight = window.start < day_starts_at
    if isinstance(window, OnDate):
        days = f"{window.on + timedelta(days=after_midnight):%Y %b %d}"
    else:
        days = ",".join(DAYS[(day + after_midnight) % 7] for day in sorted(window.days))
    end = "24:00" if window.end == time(0) else f"{window.end:%H:%M}"
    return f'{days} {window.start:%H:%M}-{end} "{window.name}"'


def test_no_instant_of_40_000_has_another_window_than_the_opening_hours_library_says():
    chance = random.Random(20261125)
    differences, names = [], set()
    for _ in range(400):
        schedule = random_schedule(chance)
        timetable = listed(
            Calendar(NO_CLOCK_CHANGES, schedule.day_starts_at),
            [
                Listing(
                    schedule=schedule,
                    effective_on=MONDAY - timedelta(days=9),
                    published_at=datetime(2026, 1, 1, tzinfo=UTC),
                )
            ],
        )
        rules = ", ".join(as_rule(window, schedule.day_starts_at) for window in schedule.weekly + schedule.dates)
        oracle = OpeningHours(rules) if rules else None
        for _ in range(100):
            minutes = 15 * chance.randrange(1, 14 * 96) + chance.choice([0, 0, -1, 7])
            local = datetime.combine(MONDAY, time(0)) + timedelta(minutes=minutes)
            expected = (oracle.state(local)[1] if oracle else "") or "Base"
            found = timetable.at(timetable.calendar.resolve(local)).name
            if found != expected:
                differences.append((rules, schedule.day_starts_at, local, found, expected))
            names.add(found)
    assert differences == []
    assert names == {"Base"} | {f"week {number}" for number in range(5)} | {f"date {number}" for number in range(3)}
