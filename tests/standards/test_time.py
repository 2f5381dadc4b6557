"""Weekdays, recurrence and clock changes against their standards."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import pytest
from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import Recurring, Schedule
from baizebook.schedules.recurrence import Recurrence

NEW_YORK = zone_named("America/New_York")


def days(year, months):
    """Dates from {month: "2 9 16"}."""
    return [date(year, month, int(day)) for month, listing in months.items() for day in listing.split()]


# RFC 5545 section 3.8.5.3, published.
RECURRENCES = [
    (date(1997, 9, 2), "FREQ=WEEKLY;COUNT=10", days(1997, {9: "2 9 16 23 30", 10: "7 14 21 28", 11: "4"})),
    (
        date(1997, 9, 2),
        "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        days(1997, {9: "2 4 9 11 16 18 23 25 30", 10: "2"}),
    ),
    (
        date(1997, 9, 2),
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        days(1997, {9: "2 4 16 18 30", 10: "2 14 16"}),
    ),
    (
        date(1997, 9, 5),
        "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        days(1997, {9: "5", 10: "3", 11: "7", 12: "5"}) + days(1998, {1: "2", 2: "6", 3: "6", 4: "3", 5: "1", 6: "5"}),
    ),
    (date(1997, 8, 5), "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", days(1997, {8: "5 10 19 24"})),
    (date(1997, 8, 5), "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", days(1997, {8: "5 17 19 31"})),
    (date(2007, 1, 15), "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", days(2007, {1: "15 30", 2: "15", 3: "15 30"})),
]


@pytest.mark.parametrize(("starts_on", "rrule", "expected"), RECURRENCES)
def test_a_recurrence_has_the_dates_that_rfc_5545_prints(starts_on, rrule, expected):
    recurrence = Recurrence(starts_on, rrule)
    two_years = (starts_on + timedelta(days=later) for later in range(-365, 730))
    assert [on for on in two_years if on in recurrence] == expected


# Derived from the rule that a recurring event keeps its wall clock.
def test_a_weekly_event_at_19_in_new_york_keeps_its_wall_clock_over_the_end_of_summer_time():
    event = Recurring(
        name="Team night",
        occurs_on=Recurrence(date(2026, 10, 27), "FREQ=WEEKLY;COUNT=3"),
        start=time(19),
        end=time(23),
        tariff=None,
    )
    schedule = Schedule(id="s", base=None, recurring=(event,))
    listing = Listing(schedule=schedule, effective_on=date(2026, 10, 1), published_at=datetime(2026, 10, 1, tzinfo=UTC))
    timetable = listed(Calendar(NEW_YORK), [listing])
    spans = timetable.between(datetime(2026, 10, 20, tzinfo=UTC), datetime(2026, 11, 20, tzinfo=UTC))
    assert [span.from_at for span in spans if span.name == "Team night"] == [
        datetime(2026, 10, 27, 23, tzinfo=UTC),
        datetime(2026, 11, 4, 0, tzinfo=UTC),
        datetime(2026, 11, 11, 0, tzinfo=UTC),
    ]


# ISO 8601 week dates, published: the date, its ISO weekday, the Monday of its ISO week.
WEEK_DATES = [
    (date(2026, 1, 1), 4, date(2025, 12, 29)),  # 2026-W01-4
    (date(2026, 11, 25), 3, date(2026, 11, 23)),  # 2026-W48-3
    (date(2026, 12, 31), 4, date(2026, 12, 28)),  # 2026-W53-4
    (date(2027, 1, 1), 5, date(2026, 12, 28)),  # 2026-W53-5
    (date(2027, 1, 4), 1, date(2027, 1, 4)),  # 2027-W01-1
    (date(2028, 1, 1), 6, date(2027, 12, 27)),  # 2027-W52-6
]


@pytest.mark.parametrize(("on", "iso_weekday", "monday"), WEEK_DATES)
def test_the_week_of_a_date_is_its_iso_8601_week(on, iso_weekday, monday):
    schedule = Schedule(id="s", base=None)
    listing = Listing(schedule=schedule, effective_on=date(2025, 1, 1), published_at=datetime(2025, 1, 1, tzinfo=UTC))
    week = list(listed(Calendar(NEW_YORK), [listing]).week(on))
    assert week[0] == monday
    assert week[iso_weekday - 1] == on
    assert len(week) == 7


# IANA tz database, run with tzdata 2026.6: the second before a change, the change, the length of the civil day.
CLOCK_CHANGES = [
    ("America/New_York", "2026-03-08T07:00:00Z", "2026-03-08T01:59:59-05:00", "2026-03-08T03:00:00-04:00", 23),
    ("America/New_York", "2026-11-01T06:00:00Z", "2026-11-01T01:59:59-04:00", "2026-11-01T01:00:00-05:00", 25),
    ("Europe/Berlin", "2026-03-29T01:00:00Z", "2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00", 23),
    ("Europe/Berlin", "2026-10-25T01:00:00Z", "2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00", 25),
]


@pytest.mark.parametrize(("zone", "instant", "before", "after", "hours"), CLOCK_CHANGES)
def test_a_venues_clock_changes_as_the_tz_database_says(zone, instant, before, after, hours):
    calendar = Calendar(zone_named(zone), time(0))
    change = datetime.fromisoformat(instant)
    assert calendar.local(change - timedelta(seconds=1)).isoformat() == before
    assert calendar.local(change).isoformat() == after
    on = calendar.local(change).date()
    assert calendar.day_starts(on + timedelta(days=1)) - calendar.day_starts(on) == timedelta(hours=hours)


# Derived from the changes above.
@pytest.mark.parametrize(
    ("zone", "evening", "hours"),
    [
        ("America/New_York", date(2026, 3, 7), 5),
        ("America/New_York", date(2026, 10, 31), 7),
        ("Europe/Berlin", date(2026, 3, 28), 5),
        ("Europe/Berlin", date(2026, 10, 24), 7),
        ("America/Phoenix", date(2026, 3, 7), 6),
        ("America/Phoenix", date(2026, 10, 31), 6),
    ],
)
def test_22_to_4_local_lasts_5_hours_over_the_change_in_spring_and_7_in_autumn(zone, evening, hours):
    calendar = Calendar(zone_named(zone))
    assert calendar.at(evening, time(4)) - calendar.at(evening, time(22)) == timedelta(hours=hours)


# tz 2026b (British Columbia) and 2026c (Alberta), published.
@pytest.mark.parametrize("zone", ["America/Phoenix", "America/Vancouver", "America/Edmonton"])
def test_zones_without_clock_changes_from_2027_on_have_days_of_24_hours_only(zone):
    calendar = Calendar(zone_named(zone), time(0))
    starts = [calendar.day_starts(date(2027, 1, 1) + timedelta(days=later)) for later in range(731)]
    assert {next_start - start for start, next_start in pairwise(starts)} == {timedelta(hours=24)}


# RFC 5545 section 3.3.5, published: its own examples.
@pytest.mark.parametrize(
    ("local", "instant", "shown"),
    [
        ("2007-11-04T01:30", "2007-11-04T05:30Z", "2007-11-04T01:30:00-04:00"),
        ("2007-03-11T02:30", "2007-03-11T07:30Z", "2007-03-11T03:30:00-04:00"),
    ],
)
def test_a_local_time_without_offset_is_read_as_rfc_5545_reads_it(local, instant, shown):
    calendar = Calendar(NEW_YORK)
    found = calendar.resolve(datetime.fromisoformat(local))
    assert found == datetime.fromisoformat(instant)
    assert calendar.local(found).isoformat() == shown


# 15 USC 260a as amended by the Energy Policy Act of 2005, and Directive 2000/84/EC: published dates.
@pytest.mark.parametrize(
    ("zone", "spring", "autumn"),
    [
        ("America/New_York", date(2010, 3, 14), date(2010, 11, 7)),
        ("America/New_York", date(2013, 3, 10), date(2013, 11, 3)),
        ("America/New_York", date(2017, 3, 12), date(2017, 11, 5)),
        ("Europe/Berlin", date(2010, 3, 28), date(2010, 10, 31)),
        ("Europe/Berlin", date(2013, 3, 31), date(2013, 10, 27)),
    ],
)
def test_the_days_of_23_and_25_hours_are_those_of_the_statutes(zone, spring, autumn):
    calendar = Calendar(zone_named(zone), time(0))
    year = [date(spring.year, 1, 1) + timedelta(days=later) for later in range(365)]
    lengths = {on: calendar.day_starts(on + timedelta(days=1)) - calendar.day_starts(on) for on in year}
    odd = {on: length / timedelta(hours=1) for on, length in lengths.items() if length != timedelta(hours=24)}
    assert odd == {spring: 23, autumn: 25}
