"""Which price window holds, against published fares and policies."""

from datetime import UTC, date, datetime, time

import pytest
from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import OnDate, Schedule, Weekly

MON, TUE, WED, THU, FRI, SAT, SUN = range(7)
WEEKDAYS = frozenset({MON, TUE, WED, THU, FRI})
EVERY_DAY = frozenset(range(7))


def name_at(schedule, local):
    """Return which entry of a schedule wins at a local time at a venue in New York."""
    calendar = Calendar(zone_named("America/New_York"), schedule.day_starts_at)
    listing = Listing(schedule=schedule, effective_on=date(2026, 1, 1), published_at=datetime(2026, 1, 1, tzinfo=UTC))
    return listed(calendar, [listing]).at(calendar.resolve(datetime.fromisoformat(local))).name


def weekly(name, days, start, end):
    return Weekly(name=name, days=frozenset(days), start=time(*start), end=time(*end), tariff=None)


# GTFS Fares v2 example, gtfs.org. Calendar days; the base is the weekend's fare of 2.
GTFS = Schedule(
    id="T1",
    base=None,
    day_starts_at=time(0),
    weekly=(
        weekly("5", WEEKDAYS, (5, 0), (9, 30)),
        weekly("5", WEEKDAYS, (15, 0), (19, 0)),
        weekly("3", WEEKDAYS, (9, 30), (15, 0)),
        weekly("3", WEEKDAYS, (19, 0), (21, 30)),
        weekly("2", WEEKDAYS, (21, 30), (0, 0)),
        weekly("2", WEEKDAYS, (0, 0), (5, 0)),
        weekly("2", {SAT, SUN}, (0, 0), (0, 0)),
    ),
)


@pytest.mark.parametrize(
    ("local", "fare"),
    [
        ("2026-11-25T07:30", "5"),  # T1, published
        ("2026-11-25T11:30", "3"),  # T1, published
        ("2026-11-25T09:29", "5"),  # T1d, derived, and so the rest
        ("2026-11-25T09:30", "3"),
        ("2026-11-25T15:00", "5"),
        ("2026-11-25T19:00", "3"),
        ("2026-11-25T21:30", "2"),
        ("2026-11-23T00:30", "2"),
        ("2026-11-28T07:30", "2"),
    ],
)
def test_a_ride_costs_what_the_gtfs_example_says(local, fare):
    assert name_at(GTFS, local) == fare


# CDS curbs/examples, Curb Policies, derived: the lowest number wins there, the later entry here (W4).
CURB = Schedule(
    id="C6",
    base=None,
    day_starts_at=time(0),
    weekly=(
        weekly("P3", EVERY_DAY, (0, 0), (0, 0)),
        weekly("P2", EVERY_DAY, (8, 0), (22, 0)),
        weekly("P1", WEEKDAYS, (10, 0), (16, 0)),
    ),
)


@pytest.mark.parametrize(
    ("local", "policy"),
    [
        ("2026-11-25T12:00", "P1"),
        ("2026-11-25T17:00", "P2"),
        ("2026-11-28T12:00", "P2"),
        *((f"2026-11-{day}T23:00", "P3") for day in range(23, 30)),
        ("2026-11-25T16:00", "P2"),
    ],
)
def test_the_curb_has_the_policy_of_the_cds_example(local, policy):
    assert name_at(CURB, local) == policy


# opening_hours specification 0.7.4, run against opening-hours-py 2.1.4.
HALL = Schedule(
    id="W1",
    base=None,
    weekly=(
        weekly("happy", WEEKDAYS, (17, 0), (20, 0)),
        weekly("weekend", {FRI, SAT}, (20, 0), (2, 0)),
        weekly("league", {WED}, (19, 0), (23, 0)),
    ),
    dates=(OnDate(name="date", on=date(2026, 12, 24), start=time(10), end=time(14), tariff=None),),
)


@pytest.mark.parametrize(
    ("local", "window"),
    [
        ("2026-11-25T17:00", "happy"),
        ("2026-11-25T18:59", "happy"),
        ("2026-11-25T19:00", "league"),
        ("2026-11-25T22:59", "league"),
        ("2026-11-25T23:00", "Base"),
        ("2026-11-27T20:00", "weekend"),
        ("2026-11-28T01:59", "weekend"),
        ("2026-11-28T02:00", "Base"),
        ("2026-11-29T01:00", "weekend"),
        ("2026-12-24T09:59", "Base"),
        ("2026-12-24T10:00", "date"),
        ("2026-12-24T14:00", "Base"),
        ("2026-12-24T17:30", "happy"),
    ],
)
def test_the_hall_has_the_window_that_the_opening_hours_library_finds(local, window):
    assert name_at(HALL, local) == window


# The classic mistake, named in the same table: "day in {Fri, Sat} and (t >= 20:00 or t < 02:00)".
def test_friday_at_1_in_the_morning_is_still_thursday_and_no_weekend():
    assert name_at(HALL, "2026-11-27T01:00") == "Base"
