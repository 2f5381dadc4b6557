"""What a place sells over time: an instant, a day, a week, a stretch, the next opening and the next change (W7, P9)."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from baizebook.pricing import timetable as timetable_module
from baizebook.pricing import week
from baizebook.pricing.errors import PricingError
from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.tariff import Tariff
from baizebook.pricing.timetable import Stretch, Timetable
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import OnDate, Schedule, Weekly

CALENDAR = Calendar(zone_named("America/New_York"))
MON, TUE, WED, THU, FRI, SAT, SUN = range(7)
PLAIN, HAPPY = (Tariff(currency="USD", free=True, code=code, id=code) for code in ("plain", "happy"))
EVERY_DAY = frozenset(range(7))


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def weekly(name, days, start, end, tariff):
    return Weekly(name=name, days=frozenset(days), start=start, end=end, tariff=tariff)


def timetable(schedule, effective_on="2026-01-01"):
    on = date.fromisoformat(effective_on)
    return listed(CALENDAR, [Listing(schedule=schedule, effective_on=on, published_at=utc("2026-01-01"))])


EVENINGS = Schedule(id="s-1", base=PLAIN, weekly=(weekly("Early", {MON, TUE, WED}, time(17), time(20), HAPPY),))


# W7


def test_an_answer_says_which_entry_won_of_which_schedule_and_the_span_in_which_it_wins():
    span = timetable(EVENINGS).at(utc("2026-11-25T23:30"))
    assert (span.name, span.kind, span.tariff, span.schedule_id, span.of) == ("Early", "weekly", HAPPY, "s-1", "venue")
    assert (span.from_at, span.to_at) == (utc("2026-11-25T22:00"), utc("2026-11-26T01:00"))
    assert span.trading_on == date(2026, 11, 25)


def test_a_span_goes_on_over_the_start_of_a_trading_day():
    span = timetable(EVENINGS).at(utc("2026-11-25T06:00"))
    assert (span.name, span.kind, span.trading_on) == ("Base", "base", date(2026, 11, 24))
    assert (span.from_at, span.to_at) == (utc("2026-11-25T01:00"), utc("2026-11-25T22:00"))


def test_a_span_of_exactly_the_days_from_wednesday_to_monday_has_both_its_bounds():
    span = timetable(EVENINGS).at(utc("2026-11-28T12:00"))
    assert (span.from_at, span.to_at) == (utc("2026-11-26T01:00"), utc("2026-11-30T22:00"))


def test_a_bound_more_than_seven_trading_days_away_is_left_open():
    always = timetable(Schedule(id="s", base=PLAIN))
    assert (always.at(utc("2026-11-25T12:00")).from_at, always.at(utc("2026-11-25T12:00")).to_at) == (None, None)
    closed = OnDate(name="Closed", on=date(2026, 11, 25), tariff=None)
    around = timetable(Schedule(id="s", base=PLAIN, dates=(closed,)))
    assert around.at(utc("2026-11-25T10:00")).to_at == utc("2026-11-25T11:00")
    assert around.at(utc("2026-11-17T12:00")).to_at == utc("2026-11-25T11:00")
    assert around.at(utc("2026-11-17T10:00")).to_at is None
    assert around.at(utc("2026-12-04T10:00")).from_at == utc("2026-11-26T11:00")
    assert around.at(utc("2026-12-04T12:00")).from_at is None


def test_a_span_ends_where_another_schedule_takes_over_even_with_the_same_tariff():
    first, second = (
        Listing(schedule=Schedule(id=id_, base=PLAIN), effective_on=date(2026, 3, day), published_at=utc(published))
        for id_, day, published in (("a", 1, "2026-01-01"), ("b", 3, "2026-03-03T15:30"))
    )
    both = listed(CALENDAR, [first, second])
    assert both.at(utc("2026-03-02T12:00")).from_at == utc("2026-03-01T11:00")
    assert both.at(utc("2026-03-02T12:00")).to_at == utc("2026-03-03T15:30")
    assert both.at(utc("2026-03-03T15:30")).from_at == utc("2026-03-03T15:30")
    assert [span.schedule_id for span in both.day(date(2026, 3, 3))] == ["a", "b"]


def test_a_span_over_a_clock_change_is_as_long_as_the_clock_makes_it():
    night = timetable(Schedule(id="s", base=PLAIN, weekly=(weekly("Night", {SAT}, time(22), time(4), HAPPY),)))
    span = night.at(utc("2026-11-01T05:30"))
    assert span.to_at - span.from_at == timedelta(hours=7)
    assert night.at(utc("2026-11-01T06:30")) == span


def test_a_span_goes_on_over_a_date_that_the_zone_skipped():
    apia = Calendar(zone_named("Pacific/Apia"), time(0))
    evening = weekly("Evening", {WED, SUN}, time(18), None, HAPPY)
    schedule = Schedule(id="s", base=PLAIN, weekly=(evening,), day_starts_at=time(0))
    listing = Listing(schedule=schedule, effective_on=date(2011, 1, 1), published_at=utc("2011-01-01"))
    before, after = (listed(apia, [listing]).at(utc(at)) for at in ("2011-12-30T09:00", "2011-12-30T11:00"))
    assert (before.from_at, before.to_at) == (utc("2011-12-29T10:00"), utc("2012-01-01T04:00"))
    assert (after.from_at, after.to_at) == (before.from_at, before.to_at)
    assert (before.trading_on, after.trading_on) == (date(2011, 12, 29), date(2011, 12, 31))


# days, weeks, stretches


def test_a_day_is_cut_at_its_start_and_its_end():
    spans = timetable(EVENINGS).day(date(2026, 11, 25))
    assert [(f"{span.from_at:%d %H:%M}", f"{span.to_at:%d %H:%M}", span.name) for span in spans] == [
        ("25 11:00", "25 22:00", "Base"),
        ("25 22:00", "26 01:00", "Early"),
        ("26 01:00", "26 11:00", "Base"),
    ]
    assert {span.trading_on for span in spans} == {date(2026, 11, 25)}


def test_a_week_has_seven_days_monday_first():
    week = timetable(EVENINGS).week(date(2026, 11, 29))
    assert [f"{on:%a}" for on in week] == ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    assert min(week) == date(2026, 11, 23)
    assert [len(spans) for spans in week.values()] == [3, 3, 3, 1, 1, 1, 1]


def test_the_week_of_the_first_schedule_is_empty_before_it_and_the_one_before_is_refused():
    started = timetable(EVENINGS, "2026-11-26")
    assert [len(spans) for spans in started.week(date(2026, 11, 25)).values()] == [0, 0, 0, 1, 1, 1, 1]
    with pytest.raises(PricingError) as refused:
        started.week(date(2026, 11, 18))
    assert refused.value.code == "no_schedule_yet"


def test_a_stretch_is_cut_only_where_another_entry_holds():
    spans = timetable(EVENINGS).between(utc("2026-11-25T23:00"), utc("2026-11-30T22:30"))
    assert [(f"{span.from_at:%d %H:%M}", f"{span.to_at:%d %H:%M}", span.name) for span in spans] == [
        ("25 23:00", "26 01:00", "Early"),
        ("26 01:00", "30 22:00", "Base"),
        ("30 22:00", "30 22:30", "Early"),
    ]
    assert [span.trading_on.day for span in spans] == [25, 25, 30]


def test_a_stretch_that_begins_before_the_first_schedule_is_refused():
    with pytest.raises(PricingError) as refused:
        timetable(EVENINGS).between(utc("2026-01-01T10:00"), utc("2026-01-01T12:00"))
    assert refused.value.code == "no_schedule_yet"


def test_an_empty_stretch_has_no_spans():
    assert timetable(EVENINGS).between(utc("2026-11-25T12:00"), utc("2026-11-25T12:00")) == ()


# P9 and the next change

HOURS = Schedule(id="s", base=None, weekly=(weekly("Open", {FRI, SAT}, time(15), time(2), PLAIN),))


def test_a_closed_place_opens_when_something_is_next_sold():
    assert timetable(HOURS).opens_at(utc("2026-11-25T12:00")) == utc("2026-11-27T20:00")
    assert timetable(HOURS).opens_at(utc("2026-11-29T07:00")) == utc("2026-12-04T20:00")


def test_an_open_place_opens_now():
    assert timetable(HOURS).opens_at(utc("2026-11-27T21:34:56")) == utc("2026-11-27T21:34:56")


def test_a_place_opens_with_its_first_schedule():
    assert timetable(EVENINGS).opens_at(utc("2025-12-25")) == utc("2026-01-01T11:00")


def test_a_place_that_does_not_open_within_400_days_does_not_open():
    assert timetable(Schedule(id="s", base=None)).opens_at(utc("2026-11-25T12:00")) is None
    opening = OnDate(name="Reopening", on=date(2027, 12, 24), tariff=PLAIN)
    reopening = timetable(Schedule(id="s", base=None, dates=(opening,)))
    assert reopening.opens_at(utc("2026-11-19T12:00")) == utc("2027-12-24T11:00")
    assert reopening.opens_at(utc("2026-11-19T11:00")) is None


def test_the_next_change_is_the_next_instant_with_another_tariff():
    evenings = timetable(EVENINGS)
    assert evenings.next_change(utc("2026-11-25T21:59:59")) == utc("2026-11-25T22:00")
    assert evenings.next_change(utc("2026-11-25T22:00")) == utc("2026-11-26T01:00")
    assert evenings.next_change(utc("2026-11-26T01:00")) == utc("2026-11-30T22:00")
    assert timetable(Schedule(id="s", base=PLAIN)).next_change(utc("2026-11-26T01:00")) is None


def test_another_entry_with_the_same_tariff_is_no_change():
    same = Schedule(id="s", base=PLAIN, weekly=(weekly("Same", EVERY_DAY, time(17), time(20), PLAIN),))
    assert timetable(same).next_change(utc("2026-11-25T12:00")) is None


def test_stretches_out_of_order_are_no_timetable():
    later, earlier = (
        Stretch(from_at=utc("2026-02-01"), schedule=HOURS),
        Stretch(from_at=utc("2026-01-01"), schedule=HOURS),
    )
    with pytest.raises(ValueError, match="time order"):
        Timetable(CALENDAR, (later, earlier))


def test_the_next_change_is_found_behind_a_schedule_that_never_changes():
    always = Schedule(id="always", base=PLAIN, weekly=(weekly("Same", EVERY_DAY, time(17), time(20), PLAIN),))
    stretches = (
        Stretch(from_at=utc("2026-01-01T11:00"), schedule=always),
        Stretch(from_at=utc("2026-06-01T10:00"), schedule=EVENINGS),
    )
    places = Timetable(CALENDAR, stretches)
    assert places.next_change(utc("2026-03-01T12:00")) == utc("2026-06-01T21:00")


@pytest.mark.parametrize("zone", ["America/New_York", "Australia/Lord_Howe", "Pacific/Apia"])
def test_a_schedule_without_windows_has_the_spans_of_one_whose_window_never_comes(zone):
    calendar = Calendar(zone_named(zone))
    never = OnDate(name="Never", on=date(1990, 1, 1), tariff=HAPPY)

    def spans(windows):
        first, second = (Schedule(id=id_, base=PLAIN, dates=windows) for id_ in ("s-1", "s-2"))
        stretches = (
            Stretch(from_at=utc("2011-12-24T01:00"), schedule=first),
            Stretch(from_at=utc("2012-01-06T17:30"), schedule=second),
        )
        hours = (utc("2011-12-24T01:00") + hour * timedelta(hours=1) for hour in range(24 * 30))
        return [Timetable(calendar, stretches).at(at) for at in hours]

    assert spans(()) == spans((never,))


def _remembered():
    functions = (week._plan_day, timetable_module._span_around, timetable_module._published_base_span)
    return [function.cache_info().currsize for function in functions]


def test_what_is_asked_of_a_draft_without_windows_is_not_remembered():
    remembered = _remembered()
    for _ in range(20):
        draft = timetable(Schedule(id="", base=PLAIN))
        draft.at(utc("2026-11-25T12:00"))
        draft.between(utc("2026-11-25T12:00"), utc("2026-11-26T12:00"))
    assert _remembered() == remembered


def test_the_span_of_a_published_schedule_without_windows_is_worked_out_once_a_day():
    published = timetable(Schedule(id="s-1", base=PLAIN))
    assert published.at(utc("2026-11-25T12:00")) is published.at(utc("2026-11-25T21:00"))
