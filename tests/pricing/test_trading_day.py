"""Trading days (W1, W2): where they start and end, through clock changes of every sort."""

import copy
import pickle
from datetime import UTC, date, datetime, time, timedelta, timezone

import pytest
from baizebook.pricing.errors import PricingError
from baizebook.pricing.trading_day import Calendar, zone_named

NEW_YORK = zone_named("America/New_York")


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_one_in_the_morning_on_saturday_belongs_to_friday():
    calendar = Calendar(NEW_YORK)
    saturday_1_00 = utc("2026-11-28T06:00")
    assert calendar.trading_day(saturday_1_00) == date(2026, 11, 27)
    assert calendar.trading_day(utc("2026-11-28T10:59:59")) == date(2026, 11, 27)
    assert calendar.trading_day(utc("2026-11-28T11:00")) == date(2026, 11, 28)


@pytest.mark.parametrize(
    ("zone", "day_starts_at", "on", "starts", "next_starts"),
    [
        # The day's first label is skipped: the first instant after the gap.
        ("America/New_York", time(2, 30), date(2026, 3, 8), "2026-03-08T07:00", "2026-03-09T06:30"),
        ("America/New_York", time(2), date(2026, 3, 8), "2026-03-08T07:00", "2026-03-09T06:00"),
        ("America/New_York", time(3), date(2026, 3, 8), "2026-03-08T07:00", "2026-03-09T07:00"),
        # It occurs twice: the first of the two, and only once.
        ("America/New_York", time(1, 30), date(2026, 11, 1), "2026-11-01T05:30", "2026-11-02T06:30"),
        ("America/New_York", time(1, 30), date(2026, 10, 31), "2026-10-31T05:30", "2026-11-01T05:30"),
        # Half an hour.
        ("Australia/Lord_Howe", time(0), date(2026, 4, 5), "2026-04-04T13:00", "2026-04-05T13:30"),
        ("Australia/Lord_Howe", time(0), date(2026, 10, 4), "2026-10-03T13:30", "2026-10-04T13:00"),
        ("Australia/Lord_Howe", time(2, 15), date(2026, 10, 4), "2026-10-03T15:30", "2026-10-04T15:15"),
        # Changes at midnight where the day starts at midnight.
        ("America/Havana", time(0), date(2026, 3, 8), "2026-03-08T05:00", "2026-03-09T04:00"),
        ("America/Havana", time(0), date(2025, 11, 2), "2025-11-02T04:00", "2025-11-03T05:00"),
        ("Asia/Beirut", time(0), date(2026, 3, 29), "2026-03-28T22:00", "2026-03-29T21:00"),
        ("Asia/Beirut", time(0), date(2026, 10, 24), "2026-10-23T21:00", "2026-10-24T22:00"),
        ("America/Asuncion", time(0), date(2023, 10, 1), "2023-10-01T04:00", "2023-10-02T03:00"),
        # A civil date that does not exist: no day at all, or only the night that belongs to it.
        ("Pacific/Apia", time(0), date(2011, 12, 30), "2011-12-30T10:00", "2011-12-30T10:00"),
        ("Pacific/Apia", time(6), date(2011, 12, 30), "2011-12-30T10:00", "2011-12-30T16:00"),
        ("Pacific/Apia", time(6), date(2011, 12, 29), "2011-12-29T16:00", "2011-12-30T10:00"),
    ],
)
def test_a_trading_day_starts_once_and_ends_where_the_next_one_starts(zone, day_starts_at, on, starts, next_starts):
    calendar = Calendar(zone_named(zone), day_starts_at)
    start, end = utc(starts), utc(next_starts)
    assert calendar.day_starts(on) == start
    assert calendar.day_starts(on + timedelta(days=1)) == end
    if start < end:
        assert calendar.trading_day(start) == on
        assert calendar.trading_day(end - timedelta(microseconds=1)) == on
    assert calendar.trading_day(start - timedelta(microseconds=1)) < on
    assert calendar.trading_day(end) == on + timedelta(days=1)


@pytest.mark.parametrize(
    ("wall", "instant"),
    [
        (time(6), "2026-11-27T11:00"),
        (time(21), "2026-11-28T02:00"),
        (time(0), "2026-11-28T05:00"),
        (time(5, 59), "2026-11-28T10:59"),
    ],
)
def test_a_time_before_the_days_start_is_on_the_next_civil_date(wall, instant):
    assert Calendar(NEW_YORK).at(date(2026, 11, 27), wall) == utc(instant)


def test_the_days_own_start_is_where_it_starts_even_if_the_clock_skips_it():
    calendar = Calendar(NEW_YORK, time(2, 30))
    assert (
        calendar.at(date(2026, 3, 8), time(2, 30)) == calendar.day_starts(date(2026, 3, 8)) == utc("2026-03-08T07:00")
    )


@pytest.mark.parametrize(
    ("after", "instant"),
    [
        ("2026-11-25T15:00", "2026-12-02T02:00"),  # a Wednesday
        ("2026-11-25T01:59:59", "2026-11-25T02:00"),  # Tuesday, 20:59:59
        ("2026-11-25T02:00", "2026-12-02T02:00"),  # Tuesday, 21:00: strictly after
        ("2026-11-24T15:00", "2026-11-25T02:00"),  # Tuesday morning
    ],
)
def test_next_tuesday_at_21_is_strictly_after_now(after, instant):
    assert Calendar(NEW_YORK).next(1, time(21), utc(after)) == utc(instant)


def test_next_friday_at_1_is_on_saturday_morning():
    assert Calendar(NEW_YORK).next(4, time(1), utc("2026-11-25T15:00")) == utc("2026-11-28T06:00")


def test_a_friday_that_the_zone_skips_is_passed_over():
    apia = Calendar(zone_named("Pacific/Apia"), time(0))
    assert apia.next(4, time(21), utc("2011-12-28T12:00")) == utc("2012-01-06T07:00")


def test_a_time_that_is_skipped_is_read_with_the_offset_from_before_the_gap():
    assert Calendar(NEW_YORK).at(date(2026, 3, 7), time(2, 30)) == utc("2026-03-08T07:30")


def test_the_local_time_carries_the_venues_offset():
    assert Calendar(NEW_YORK).local(utc("2026-12-02T02:00")).isoformat() == "2026-12-01T21:00:00-05:00"


@pytest.mark.parametrize(
    "name",
    [
        "",
        "Mars/Base",
        "america/new_york",
        "New York",
        "America",
        "../../etc/passwd",
        "/etc/localtime",
        "localtime",
        "Factory",
        "\x00",
        "\ud800",
        "America/New_York\n",
        "x" * 5000,
        "EST5EDT4",
        "+01:00",
    ],
    ids=lambda name: ascii(name)[:30],
)
def test_a_time_zone_that_does_not_exist_is_refused(name):
    with pytest.raises(PricingError) as refused:
        zone_named(name)
    assert refused.value.code == "unknown_time_zone"
    assert refused.value.faults[0].where == "time_zone"


@pytest.mark.parametrize("name", ["America/New_York", "America/Argentina/Buenos_Aires", "UTC", "Asia/Kolkata"])
def test_a_time_zone_is_found_by_its_name_and_is_the_same_each_time(name):
    assert zone_named(name).key == name
    assert zone_named(name) is zone_named(name)


def test_a_local_time_can_be_copied_and_kept():
    local = Calendar(NEW_YORK).local(utc("2026-12-02T02:00"))
    for copied in (copy.deepcopy(local), pickle.loads(pickle.dumps(local))):
        assert copied.isoformat() == "2026-12-01T21:00:00-05:00"
        assert copied.tzinfo is NEW_YORK


@pytest.mark.parametrize("starts_at", [time(6, 0, 1), time(6, 0, 0, 1), time(6, tzinfo=timezone(timedelta(hours=1)))])
def test_a_day_that_does_not_start_on_a_whole_minute_of_the_wall_clock_is_refused(starts_at):
    with pytest.raises(PricingError) as refused:
        Calendar(NEW_YORK, starts_at)
    assert (refused.value.code, refused.value.faults[0].where) == ("bad_time", "day_starts_at")


def test_an_instant_without_an_offset_is_refused():
    with pytest.raises(TypeError):
        Calendar(NEW_YORK).trading_day(datetime(2026, 11, 25, 12))  # noqa: DTZ001
    with pytest.raises(TypeError):
        Calendar(NEW_YORK).resolve(utc("2026-11-25T12:00"))
