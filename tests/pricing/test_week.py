"""Windows of a schedule (W1 to W5): which are refused, and which one wins on a trading day."""

from datetime import UTC, date, datetime, time, timedelta, timezone

import pytest
from baizebook.pricing.errors import PricingError
from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.tariff import Tariff
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import OnDate, Recurring, Schedule, Weekly

MON, TUE, WED, THU, FRI, SAT, SUN = range(7)
FREE = Tariff(currency="USD", free=True, code="free")


def weekly(name, days, start=None, end=None):
    return Weekly(name=name, days=frozenset(days), start=start, end=end, tariff=None)


def day(on, *, zone="America/New_York", day_starts_at=time(6), **lists):
    """The spans of a trading day as (local start, local end, name)."""
    schedule = Schedule(id="s", base=FREE, day_starts_at=day_starts_at, **lists)
    calendar = Calendar(zone_named(zone), day_starts_at)
    listing = Listing(schedule=schedule, effective_on=date(2000, 1, 1), published_at=datetime(2000, 1, 1, tzinfo=UTC))
    return [
        (f"{calendar.local(span.from_at):%d %H:%M}", f"{calendar.local(span.to_at):%d %H:%M}", span.name)
        for span in listed(calendar, [listing]).day(on)
    ]


def refusals(**lists):
    with pytest.raises(PricingError) as refused:
        Schedule(id="s", base=None, **lists)
    return [(fault.code, fault.where) for fault in refused.value.faults]


# W3: windows


def test_a_window_over_midnight_is_one_span_of_one_trading_day():
    late = weekly("Late", {FRI}, time(20), time(2))
    assert day(date(2026, 11, 27), weekly=(late,)) == [
        ("27 06:00", "27 20:00", "Base"),
        ("27 20:00", "28 02:00", "Late"),
        ("28 02:00", "28 06:00", "Base"),
    ]
    assert day(date(2026, 11, 28), weekly=(late,)) == [("28 06:00", "29 06:00", "Base")]


@pytest.mark.parametrize(
    ("start", "end", "spans"),
    [
        (None, None, [("25 06:00", "26 06:00", "W")]),
        (time(6), time(6), [("25 06:00", "26 06:00", "W")]),
        (None, time(6), [("25 06:00", "26 06:00", "W")]),
        (None, time(18), [("25 06:00", "25 18:00", "W"), ("25 18:00", "26 06:00", "Base")]),
        (time(18), None, [("25 06:00", "25 18:00", "Base"), ("25 18:00", "26 06:00", "W")]),
        (time(18), time(6), [("25 06:00", "25 18:00", "Base"), ("25 18:00", "26 06:00", "W")]),
        (time(5), time(6), [("25 06:00", "26 05:00", "Base"), ("26 05:00", "26 06:00", "W")]),
    ],
)
def test_an_absent_from_is_the_days_start_and_an_absent_to_its_end(start, end, spans):
    assert day(date(2026, 11, 25), weekly=(weekly("W", {WED}, start, end),)) == spans


def test_windows_that_have_no_length_are_refused():
    assert refusals(weekly=(weekly("W", {WED}, time(18), time(18)),)) == [("empty_window", "weekly[0].to")]
    assert refusals(dates=(OnDate(name="D", on=date(2026, 1, 1), start=time(0), end=time(0), tariff=None),)) == [
        ("empty_window", "dates[0].to")
    ]


def test_a_window_past_the_next_days_start_is_refused_with_the_two_to_write():
    with pytest.raises(PricingError) as refused:
        Schedule(id="s", base=None, weekly=(weekly("W", {FRI, SUN}, time(22), time(8)),))
    (fault,) = refused.value.faults
    assert (fault.code, fault.where, fault.found) == ("window_past_day_end", "weekly[0].to", "22:00–08:00")
    assert fault.expected.endswith("22:00–06:00 on fri, sun; 06:00–08:00 on sat, mon")


def test_a_date_past_the_next_days_start_is_refused_with_the_two_dates_to_write():
    with pytest.raises(PricingError) as refused:
        Schedule(
            id="s",
            base=None,
            dates=(OnDate(name="D", on=date(2026, 12, 31), start=time(22), end=time(8), tariff=None),),
        )
    assert "22:00–06:00 on 2026-12-31; 06:00–08:00 on 2027-01-01" in refused.value.faults[0].expected


def test_all_faults_of_a_schedule_are_told_at_once_with_their_places():
    faulty = refusals(
        weekly=(
            weekly("fine", {MON}, time(8), time(10)),
            weekly("no day", set(), time(8), time(10)),
            weekly("eighth day", {7}, time(22), time(22)),
        ),
        recurring=(Recurring(name="R", occurs_on=set(), start=time(5), end=time(7), tariff=None),),
        dates=(
            OnDate(name="D", on=date(2026, 1, 1), start=time(8, 0, 1), end=time(9), tariff=None),
            OnDate(name="E", on=date(2026, 1, 1), end=time(9, tzinfo=timezone(timedelta(0))), tariff=None),
        ),
    )
    assert faulty == [
        ("bad_days", "weekly[1].days"),
        ("bad_days", "weekly[2].days"),
        ("empty_window", "weekly[2].to"),
        ("window_past_day_end", "recurring[0].to"),
        ("bad_time", "dates[0].from"),
        ("bad_time", "dates[1].to"),
    ]


# W4 and W5: who wins


def test_dates_beat_recurring_events_beat_the_weekly_list_beats_the_base():
    on = date(2026, 11, 25)
    lists = {
        "weekly": (weekly("Weekly", {WED}, time(10), time(22)),),
        "recurring": (Recurring(name="Recurring", occurs_on={on}, start=time(12), end=time(20), tariff=None),),
        "dates": (OnDate(name="Date", on=on, start=time(14), end=time(18), tariff=None),),
    }
    assert [name for _, _, name in day(on, **lists)] == [
        "Base",
        "Weekly",
        "Recurring",
        "Date",
        "Recurring",
        "Weekly",
        "Base",
    ]
    assert [name for _, _, name in day(date(2026, 12, 2), **lists)] == ["Base", "Weekly", "Base"]
    assert [name for _, _, name in day(date(2026, 12, 3), **lists)] == ["Base"]


def test_within_one_list_the_later_entry_wins():
    long, short = weekly("Long", {WED}, time(10), time(22)), weekly("Short", {WED}, time(12), time(14))
    assert [name for _, _, name in day(date(2026, 11, 25), weekly=(long, short))] == [
        "Base",
        "Long",
        "Short",
        "Long",
        "Base",
    ]
    assert [name for _, _, name in day(date(2026, 11, 25), weekly=(short, long))] == ["Base", "Long", "Base"]


def test_a_date_without_times_covers_its_whole_trading_day():
    holiday = OnDate(name="Inventory", on=date(2026, 11, 27), tariff=None)
    late = weekly("Late", {FRI}, time(20), time(2))
    assert day(date(2026, 11, 27), weekly=(late,), dates=(holiday,)) == [("27 06:00", "28 06:00", "Inventory")]


def test_a_date_with_times_leaves_the_rest_of_the_day_as_it_is():
    party = OnDate(name="Party", on=date(2026, 11, 27), start=time(19), end=time(21), tariff=None)
    late = weekly("Late", {FRI}, time(20), time(2))
    assert [(start, name) for start, _, name in day(date(2026, 11, 27), weekly=(late,), dates=(party,))] == [
        ("27 06:00", "Base"),
        ("27 19:00", "Party"),
        ("27 21:00", "Late"),
        ("28 02:00", "Base"),
    ]


# W1: clock changes


def test_in_the_hour_that_occurs_twice_a_window_holds_twice():
    night = weekly("Night", {SAT}, time(1), time(1, 30))
    schedule = Schedule(id="s", base=None, weekly=(night,))
    listing = Listing(schedule=schedule, effective_on=date(2026, 1, 1), published_at=datetime(2026, 1, 1, tzinfo=UTC))
    timetable = listed(Calendar(zone_named("America/New_York")), [listing])
    assert [(f"{span.from_at:%H:%M}", span.name) for span in timetable.day(date(2026, 10, 31))] == [
        ("10:00", "Base"),
        ("05:00", "Night"),
        ("05:30", "Base"),
        ("06:00", "Night"),
        ("06:30", "Base"),
    ]


def test_a_window_over_the_repeated_hour_is_one_span_an_hour_longer():
    assert day(date(2026, 10, 31), weekly=(weekly("Night", {SAT}, time(0), time(3)),))[1] == (
        "01 00:00",
        "01 03:00",
        "Night",
    )


def test_a_window_in_the_skipped_hour_never_comes_up():
    assert day(date(2026, 3, 7), weekly=(weekly("Night", {SAT}, time(2), time(3)),)) == [
        ("07 06:00", "08 06:00", "Base")
    ]
    assert day(date(2026, 3, 7), weekly=(weekly("Night", {SAT}, time(2), time(4)),)) == [
        ("07 06:00", "08 03:00", "Base"),
        ("08 03:00", "08 04:00", "Night"),
        ("08 04:00", "08 06:00", "Base"),
    ]


def test_what_shows_an_earlier_time_after_the_days_start_counts_as_its_start():
    first = weekly("First quarter", {SUN}, time(1, 30), time(1, 45))
    # The day starts at 01:30 −04:00; half an hour later it is 01:00 −05:00, and 01:30 comes again.
    assert day(date(2026, 11, 1), day_starts_at=time(1, 30), weekly=(first,)) == [
        ("01 01:30", "01 01:45", "First quarter"),
        ("01 01:45", "01 01:00", "Base"),
        ("01 01:00", "01 01:45", "First quarter"),
        ("01 01:45", "02 01:30", "Base"),
    ]
    assert day(date(2026, 10, 31), day_starts_at=time(1, 30), weekly=(first,)) == [("31 01:30", "01 01:30", "Base")]


def test_a_day_that_starts_in_a_gap_has_lost_its_first_minutes():
    first = weekly("First hour", {SUN}, time(2, 30), time(3, 30))
    assert day(date(2026, 3, 8), day_starts_at=time(2, 30), weekly=(first,)) == [
        ("08 03:00", "08 03:30", "First hour"),
        ("08 03:30", "09 02:30", "Base"),
    ]


def test_a_date_that_the_zone_skipped_has_no_spans():
    every_day = weekly("Evening", range(7), time(18), time(0))
    apia = {"zone": "Pacific/Apia", "day_starts_at": time(0), "weekly": (every_day,)}
    assert day(date(2011, 12, 30), **apia) == []
    assert day(date(2011, 12, 29), **apia) == [("29 00:00", "29 18:00", "Base"), ("29 18:00", "31 00:00", "Evening")]
    assert day(date(2011, 12, 31), **apia)[0] == ("31 00:00", "31 18:00", "Base")


def test_two_schedules_with_the_same_content_are_still_two():
    assert Schedule(id="s", base=None) != Schedule(id="s", base=None)
