"""Weeks of random schedules in zones with every sort of clock change, against a naive look at the wall clock."""

import time as process_time
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import pytest
from baizebook.pricing import timetable as timetable_module
from baizebook.pricing import trading_day, week
from baizebook.pricing.in_force import Listing, listed
from baizebook.pricing.tariff import Tariff
from baizebook.pricing.trading_day import Calendar, zone_named
from baizebook.pricing.week import OnDate, Recurring, Schedule, Weekly
from hypothesis import given, settings
from hypothesis import strategies as st

MICROSECOND = timedelta(microseconds=1)
TARIFFS = (None, *(Tariff(currency="USD", free=True, code=code, id=code) for code in "abc"))
DATES_AROUND_CLOCK_CHANGES = [
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("America/Havana", date(2025, 3, 9)),
    ("America/Havana", date(2025, 11, 2)),
    ("Asia/Beirut", date(2026, 3, 29)),
    ("Asia/Beirut", date(2026, 10, 25)),
    ("America/Asuncion", date(2023, 10, 1)),
    ("America/Asuncion", date(2024, 3, 24)),
    ("Pacific/Apia", date(2011, 12, 30)),
    ("America/Phoenix", date(2026, 3, 8)),
]
QUARTERS = st.integers(0, 95)


def wall(quarter):
    return time(quarter // 4, quarter % 4 * 15)


def as_shown(zone, at):
    """The label on the wall clock."""
    return at.astimezone(zone).replace(tzinfo=None)


@st.composite
def places(draw):
    """A timetable of one random schedule around a clock change, its schedule, and the date."""
    zone, middle = draw(st.sampled_from(DATES_AROUND_CLOCK_CHANGES))
    day_starts = draw(st.sampled_from([0, 0, 1, 6, 8, 9, 10, 24, 24, 94]) | QUARTERS)
    near = st.integers(-2, 2).map(lambda later: middle + timedelta(days=later))

    def window(kind, number, **which):
        first, last = sorted(draw(st.lists(st.integers(0, 96), min_size=2, max_size=2, unique=True)))
        start = (
            draw(st.sampled_from([wall((day_starts + first) % 96), None]))
            if first == 0
            else wall((day_starts + first) % 96)
        )
        end = (
            draw(st.sampled_from([wall((day_starts + last) % 96), None]))
            if last == 96
            else wall((day_starts + last) % 96)
        )
        tariff = draw(st.sampled_from(TARIFFS))
        return kind(name=f"{kind.__name__} {number}", start=start, end=end, tariff=tariff, **which)

    def windows(kind, key, values):
        return tuple(window(kind, number, **{key: draw(values)}) for number in range(draw(st.integers(0, 3))))

    schedule = Schedule(
        id="s",
        base=draw(st.sampled_from(TARIFFS)),
        weekly=windows(Weekly, "days", st.frozensets(st.integers(0, 6), min_size=1)),
        recurring=windows(Recurring, "occurs_on", st.frozensets(near, min_size=1)),
        dates=windows(OnDate, "on", near),
        day_starts_at=wall(day_starts),
    )
    calendar = Calendar(zone_named(zone), wall(day_starts))
    listing = Listing(schedule=schedule, effective_on=date(2000, 1, 1), published_at=datetime(2000, 1, 1, tzinfo=UTC))
    return listed(calendar, [listing]), schedule, middle


INSTANTS = st.integers(-60 * 60, 60 * 60).map(lambda minutes: timedelta(minutes=minutes)) | st.integers(-240, 240).map(
    lambda quarters: timedelta(minutes=15 * quarters)
)


def naive_day_start(zone, label):
    """The first instant that shows the label; where none does, the first that shows a later one (W2)."""
    at = label.replace(tzinfo=zone, fold=0).astimezone(UTC)
    if as_shown(zone, at) != label:
        while as_shown(zone, at - timedelta(minutes=1)) > label:
            at -= timedelta(minutes=1)
    return at


def naive_name(schedule, zone, at):
    """Look the winner up by the label on the wall clock alone (W1 to W5)."""
    on = as_shown(zone, at).date() + timedelta(days=2)
    while naive_day_start(zone, datetime.combine(on, schedule.day_starts_at)) > at:
        on -= timedelta(days=1)
    first_label = datetime.combine(on, schedule.day_starts_at)
    label = max(as_shown(zone, at), first_label)
    for entry in reversed(schedule.weekly + schedule.recurring + schedule.dates):
        match entry:
            case Weekly():
                present = on.weekday() in entry.days
            case Recurring():
                present = on in entry.occurs_on
            case OnDate():
                present = on == entry.on
        start = datetime.combine(on, entry.start or schedule.day_starts_at)
        end = datetime.combine(on, entry.end or schedule.day_starts_at)
        start += timedelta(days=start < first_label)
        end += timedelta(days=end <= first_label)
        if present and start <= label < end:
            return entry.name
    return "Base"


@settings(max_examples=60)
@given(places(), st.lists(INSTANTS, min_size=1, max_size=20))
def test_every_instant_has_the_window_that_the_wall_clock_shows(place, offsets):
    timetable, schedule, middle = place
    for offset in offsets:
        at = datetime.combine(middle, time(12), UTC) + offset
        assert timetable.at(at).name == naive_name(schedule, timetable.calendar.zone, at)


@settings(max_examples=50)
@given(places())
def test_the_spans_of_a_day_tile_it_exactly(place):
    timetable, _, middle = place
    for later in range(-2, 3):
        on = middle + timedelta(days=later)
        start, end = timetable.calendar.day_starts(on), timetable.calendar.day_starts(on + timedelta(days=1))
        spans = timetable.day(on)
        assert (spans == ()) == (start == end)
        edges = [span.from_at for span in spans] + [end]
        assert edges[0] == start
        assert [span.to_at for span in spans] == edges[1:]
        assert all(earlier < later for earlier, later in pairwise(edges))
        assert all(earlier.name != later.name for earlier, later in pairwise(spans))


@settings(max_examples=50)
@given(places(), INSTANTS)
def test_the_span_around_an_instant_reaches_as_far_as_its_entry_wins(place, offset):
    timetable, _, middle = place
    at = datetime.combine(middle, time(12), UTC) + offset
    span = timetable.at(at)
    assert span.trading_on == timetable.calendar.trading_day(at)
    if span.from_at is not None:
        assert span.from_at <= at
        assert timetable.at(span.from_at - MICROSECOND).name != span.name
    if span.to_at is not None:
        assert at < span.to_at
        assert timetable.at(span.to_at).name != span.name
    reach = timedelta(days=6)
    start, end = span.from_at or at - reach, span.to_at or at + reach
    assert [piece.name for piece in timetable.between(start, end)] == [span.name]


@settings(max_examples=50)
@given(places(), INSTANTS, st.integers(0, 10**6))
def test_the_pieces_between_two_instants_tile_the_time_between_them(place, offset, seconds):
    timetable, _, middle = place
    start = datetime.combine(middle, time(12), UTC) + offset
    end = start + timedelta(seconds=seconds)
    pieces = timetable.between(start, end)
    edges = [piece.from_at for piece in pieces] + [end]
    assert edges[0] == start
    assert [piece.to_at for piece in pieces] == edges[1:]
    assert all(earlier.name != later.name for earlier, later in pairwise(pieces))
    assert all(timetable.at(piece.from_at).name == piece.name for piece in pieces)


@settings(max_examples=50)
@given(places(), INSTANTS)
def test_the_next_change_and_the_next_opening_are_the_first_pieces_that_differ(place, offset):
    timetable, _, middle = place
    at = datetime.combine(middle, time(12), UTC) + offset
    pieces = timetable.between(at, at + timedelta(days=20))
    changes = [piece.from_at for piece in pieces if piece.tariff != pieces[0].tariff]
    openings = [piece.from_at for piece in pieces if piece.tariff is not None]
    if changes:
        assert timetable.next_change(at) == changes[0]
    if openings:
        assert timetable.opens_at(at) == openings[0]


@pytest.mark.parametrize("server_zone", ["UTC", "Asia/Tokyo", "America/New_York", "Australia/Lord_Howe"])
def test_the_answer_is_the_same_on_any_server_time_zone(monkeypatch, server_zone):
    monkeypatch.setenv("TZ", server_zone)
    process_time.tzset()
    try:
        for cached in (trading_day.day_start_us, week._plan_day, timetable_module._span_around):
            cached.cache_clear()
        night = Weekly(name="Night", days=frozenset({5}), start=time(22), end=time(4), tariff=None)
        schedule = Schedule(id="s", base=TARIFFS[1], weekly=(night,))
        listing = Listing(
            schedule=schedule, effective_on=date(2026, 1, 1), published_at=datetime(2026, 1, 1, tzinfo=UTC)
        )
        timetable = listed(Calendar(zone_named("America/New_York")), [listing])
        span = timetable.at(datetime(2026, 11, 1, 6, 30, tzinfo=UTC))
        assert (span.from_at, span.to_at) == (
            datetime(2026, 11, 1, 2, tzinfo=UTC),
            datetime(2026, 11, 1, 9, tzinfo=UTC),
        )
        assert timetable.opens_at(span.from_at) == datetime(2026, 11, 1, 9, tzinfo=UTC)
        assert timetable.calendar.trading_day(span.from_at) == date(2026, 10, 31)
    finally:
        monkeypatch.undo()
        process_time.tzset()
