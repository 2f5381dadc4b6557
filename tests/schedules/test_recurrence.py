"""Recurring events (W4): which rules are refused, and which dates the others have."""

from datetime import date, datetime, time, timedelta

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.schedules.recurrence import Recurrence
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

TUESDAY = date(2026, 12, 8)


def dates(recurrence, *, days=400):
    return [on for on in (recurrence.starts_on + timedelta(days=later) for later in range(days)) if on in recurrence]


def test_team_night_is_every_tuesday_but_the_excepted_one():
    team_night = Recurrence(TUESDAY, "FREQ=WEEKLY;BYDAY=TU", frozenset({date(2026, 12, 22)}))
    assert dates(team_night, days=30) == [date(2026, 12, 8), date(2026, 12, 15), date(2026, 12, 29), date(2027, 1, 5)]
    assert date(2026, 12, 1) not in team_night


def test_an_excepted_date_is_still_one_of_the_count():
    assert dates(Recurrence(TUESDAY, "FREQ=WEEKLY;COUNT=3", frozenset({TUESDAY}))) == [
        date(2026, 12, 15),
        date(2026, 12, 22),
    ]


def test_until_is_the_last_date_it_may_have():
    assert dates(Recurrence(TUESDAY, "FREQ=WEEKLY;UNTIL=20261222"))[-1] == date(2026, 12, 22)
    assert dates(Recurrence(TUESDAY, "FREQ=WEEKLY;UNTIL=20261221"))[-1] == date(2026, 12, 15)


def test_what_the_rule_leaves_open_is_taken_from_its_first_date():
    assert dates(Recurrence(date(2026, 1, 31), "FREQ=MONTHLY"), days=150) == [
        date(2026, 1, 31),
        date(2026, 3, 31),
        date(2026, 5, 31),
    ]
    leap_day = Recurrence(date(2028, 2, 29), "FREQ=YEARLY")
    assert [year for year in range(2028, 2100) if date(year, 2, 28) + timedelta(days=1) in leap_day] == list(
        range(2028, 2100, 4)
    )


def test_case_does_not_matter_and_the_last_friday_is_the_last():
    assert dates(Recurrence(date(2026, 11, 27), "freq=monthly;byday=-1fr"), days=70) == [
        date(2026, 11, 27),
        date(2026, 12, 25),
        date(2027, 1, 29),
    ]


@pytest.mark.parametrize(
    "rrule",
    [
        "",
        "every tuesday",
        "BYDAY=TU",
        "FREQ=HOURLY",
        "FREQ=SECONDLY",
        "FREQ=WEEKLY;BYHOUR=19",
        "FREQ=WEEKLY;BYMINUTE=0",
        "FREQ=WEEKLY;BYEASTER=0",
        "FREQ=WEEKLY;DTSTART=20200101",
        "FREQ=WEEKLY;X-LEAGUE=1",
        "RRULE:FREQ=WEEKLY",
        "FREQ=WEEKLY\nDTSTART:20200101T000000",
        "FREQ=WEEKLY;",
        "FREQ=WEEKLY;FREQ=DAILY",
        "FREQ=WEEKLY;COUNT=0",
        "FREQ=WEEKLY;COUNT=-1",
        "FREQ=WEEKLY;COUNT=1001",
        "FREQ=WEEKLY;COUNT=1e3",
        "FREQ=WEEKLY;COUNT=٣",
        "FREQ=WEEKLY;INTERVAL=0",
        "FREQ=WEEKLY;INTERVAL=367",
        "FREQ=WEEKLY;COUNT=3;UNTIL=20270101",
        "FREQ=WEEKLY;UNTIL=20270230",
        "FREQ=WEEKLY;UNTIL=20270101T000000Z",
        "FREQ=WEEKLY;UNTIL=2027-01-01",
        "FREQ=WEEKLY;BYDAY=",
        "FREQ=WEEKLY;BYDAY=DI",
        "FREQ=WEEKLY;BYDAY=1TU",
        "FREQ=DAILY;BYDAY=1TU",
        "FREQ=MONTHLY;BYDAY=6TU",
        "FREQ=MONTHLY;BYDAY=0TU",
        "FREQ=MONTHLY;BYDAY=2TU,WE",
        "FREQ=WEEKLY;BYDAY=TU,",
        "FREQ=WEEKLY;BYMONTHDAY=8",
        "FREQ=MONTHLY;BYMONTHDAY=32",
        "FREQ=MONTHLY;BYMONTHDAY=0",
        "FREQ=MONTHLY;BYYEARDAY=342",
        "FREQ=YEARLY;BYYEARDAY=367",
        "FREQ=MONTHLY;BYWEEKNO=50;BYDAY=TU",
        "FREQ=YEARLY;BYWEEKNO=50",
        "FREQ=YEARLY;BYWEEKNO=50;BYDAY=1TU",
        "FREQ=YEARLY;BYMONTH=13",
        "FREQ=YEARLY;BYMONTH=-1",
        "FREQ=MONTHLY;BYSETPOS=1",
        "FREQ=WEEKLY;BYDAY=TU;BYSETPOS=1",
        "FREQ=WEEKLY;WKST=1",
        "FREQ=DAILY;BYMONTH=" + ",".join(["12"] * 200),
    ],
)
def test_a_rule_that_rfc_5545_does_not_have_for_dates_is_refused(rrule):
    with pytest.raises(DomainError) as refused:
        Recurrence(TUESDAY, rrule)
    assert {(fault.code, fault.where) for fault in refused.value.faults} == {("bad_recurrence", "rrule")}


def test_everything_wrong_with_a_rule_is_said_at_once():
    with pytest.raises(DomainError) as refused:
        Recurrence(TUESDAY, "FREQ=HOURLY;COUNT=0;BYSECOND=1")
    assert [fault.found for fault in refused.value.faults] == ["FREQ=HOURLY", "COUNT=0", "BYSECOND=1"]


@pytest.mark.parametrize(
    "rrule",
    [
        "FREQ=WEEKLY;BYDAY=WE",
        "FREQ=MONTHLY;BYDAY=1TU;BYMONTH=11",
        "FREQ=WEEKLY;UNTIL=20261207",
        # These never come.
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=MONTHLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=MONTHLY;BYDAY=TU;BYSETPOS=30",
        "FREQ=YEARLY;BYDAY=TU;BYSETPOS=300",
        "FREQ=YEARLY;BYWEEKNO=1;BYDAY=MO;BYMONTH=7",
    ],
)
def test_a_first_date_that_does_not_fit_the_rule_is_refused(rrule):
    with pytest.raises(DomainError) as refused:
        Recurrence(TUESDAY, rrule)
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("bad_recurrence", "starts_on")]


DAY_NAMES = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


@st.composite
def rules(draw):
    """A first date and a rule that has it."""
    starts_on = draw(st.dates(date(2024, 1, 1), date(2028, 12, 31)))
    day_name, nth = DAY_NAMES[starts_on.weekday()], (starts_on.day + 6) // 7
    days = st.sampled_from(DAY_NAMES)
    nth_days = st.builds("{}{}".format, st.sampled_from([1, 2, 4, -1, -2]), days)

    def listing(name, own, others):
        values = draw(st.lists(others, max_size=3, unique=True))
        return f"{name}={','.join(map(str, [*values, own]))}"

    by_day, by_nth_day = listing("BYDAY", day_name, days), listing("BYDAY", f"{nth}{day_name}", nth_days)
    by_month_day = listing("BYMONTHDAY", starts_on.day, st.integers(1, 31) | st.integers(-31, -1))
    by_month = listing("BYMONTH", starts_on.month, st.integers(1, 12))
    by_year_day = listing("BYYEARDAY", starts_on.timetuple().tm_yday, st.integers(1, 366))
    by_week = listing("BYWEEKNO", starts_on.isocalendar().week, st.integers(1, 53))
    choices = {
        "DAILY": [by_day, by_month_day, by_month],
        "WEEKLY": [by_day, by_month, f"WKST={draw(days)}"],
        "MONTHLY": [by_nth_day, by_month_day, by_month],
        "YEARLY": draw(
            st.sampled_from(
                [[by_month, by_month_day], [by_month, by_nth_day], [by_day, by_month], [by_year_day], [by_week]]
            )
        ),
    }
    frequency = draw(st.sampled_from(list(choices)))
    parts = [part for part in choices[frequency] if draw(st.booleans())]
    if by_week in parts:
        parts.append(by_day)
    if frequency == "YEARLY" and by_nth_day in parts and by_month not in parts:
        parts.append(by_month)
    until = draw(st.dates(starts_on, starts_on + timedelta(days=2000)))
    end = draw(st.sampled_from(["", f"COUNT={draw(st.integers(1, 40))}", f"UNTIL={until:%Y%m%d}"]))
    interval = f"INTERVAL={draw(st.integers(1, 5))}"
    return starts_on, ";".join(part for part in [f"FREQ={frequency}", *parts, end, interval] if part)


def same_year(recurrence, year):
    """Compare a year of a recurrence with what dateutil finds when it runs the rule from its start."""
    text = recurrence.rrule if "WKST" in recurrence.rrule else f"{recurrence.rrule};WKST=MO"
    oracle = rrulestr(text, dtstart=datetime.combine(recurrence.starts_on, time.min))
    first, last = datetime.combine(date(year, 1, 1), time.min), datetime.combine(date(year, 12, 31), time.min)
    expected = [at.date() for at in oracle.between(first, last, inc=True)]
    whole_year = [first.date() + timedelta(days=day) for day in range((last - first).days + 1)]
    assert [on for on in whole_year if on in recurrence] == expected


@settings(max_examples=150)
@given(rules(), st.integers(0, 6))
def test_any_year_of_a_rule_has_the_dates_that_dateutil_finds_from_its_start(rule, later):
    starts_on, rrule = rule
    same_year(Recurrence(starts_on, rrule), starts_on.year + later)


@pytest.mark.parametrize(
    ("starts_on", "rrule"),
    [
        (date(2026, 1, 1), "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=1"),
        (date(2026, 1, 30), "FREQ=MONTHLY;INTERVAL=3;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1"),
        (date(2026, 1, 5), "FREQ=YEARLY;INTERVAL=2;BYDAY=MO;BYSETPOS=1,-1"),
        (date(2026, 12, 28), "FREQ=YEARLY;BYWEEKNO=53;BYDAY=MO"),
        (date(2026, 12, 31), "FREQ=DAILY;INTERVAL=100"),
        (date(2026, 12, 31), "FREQ=WEEKLY;INTERVAL=3;BYDAY=MO,TH,SU;WKST=SU"),
        (date(2026, 12, 31), "FREQ=MONTHLY;INTERVAL=5;BYMONTHDAY=-1"),
    ],
)
def test_each_of_twenty_years_has_the_dates_that_dateutil_finds(starts_on, rrule):
    for year in range(2026, 2046):
        same_year(Recurrence(starts_on, rrule), year)
