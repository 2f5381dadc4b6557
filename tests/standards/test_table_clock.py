"""Clocks against published figures: pace, and the dates on which places change their clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from importlib.resources import files
from zoneinfo import ZoneInfo

import pytest
from baizebook.health.clock_changes import last_change, next_change
from baizebook.health.clock_offset import ClockReading, Drift, drift, measure, ppm, walk
from hypothesis import given
from hypothesis import strategies as st

NEW_YORK, BERLIN = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin")


def test_a_second_a_day_is_11_574_ppm() -> None:
    assert round(float(ppm(Fraction(1))), 3) == 11.574  # arithmetic


@pytest.mark.parametrize(
    ("parts", "days", "seconds"),
    [
        # 20 ppm: arithmetic. 30 ppm: Nisshinbo Micro Devices, FAQ "What determines the accuracy of time by RTC ICs?".
        # Calibration steps: STMicroelectronics, data sheet M41T00AUD, "Clock calibration". Both published.
        pytest.param("20", "1", "1.728", id="20 ppm a day"),
        pytest.param("20", "30", "51.84", id="20 ppm in 30 days, about a minute a month"),
        pytest.param("30", "31", "80.352", id="crystal 20 + chip 5 + board 5, 31 days (printed: 80)"),
        pytest.param("4.068", "30.4375", "10.698", id="one calibration step down, a month (printed: 10.7)"),
        pytest.param("2.034", "30.4375", "5.349", id="one calibration step up, a month (printed: 5.35)"),
    ],
)
def test_the_pace_of_published_examples(parts: str, days: str, seconds: str) -> None:
    assert float(ppm(Fraction(seconds) / Fraction(days))) == pytest.approx(float(parts), rel=1e-4)


def test_at_freezing_a_crystal_loses_21_ppm_and_that_is_still_a_crystal_s() -> None:
    # Xtalong, "Why Crystal Oscillator is 32.768Khz": (0.036 ± 10 %) ppm/°C² about 25 °C, published; −0.034 lies in it.
    # At 0 °C −21.25 ppm: derived. 1.836 s a day, 55 s in 30 days.
    assert Fraction("-0.034") * 25**2 == Fraction("-21.25")
    assert not drift_of_a_clock_that_gained(-1, days=30).beyond_crystal


@pytest.mark.parametrize(("minutes", "beyond"), [(20, False), (25, True), (-25, True)])
def test_over_100_ppm_is_no_crystal_s_drift(minutes: int, beyond: bool) -> None:
    # The limit is ours, three times the 30 ppm above; 100 ppm are 8.64 s a day, 23.04 min in 160 days: derived.
    assert drift_of_a_clock_that_gained(minutes, days=160).beyond_crystal is beyond


def drift_of_a_clock_that_gained(minutes: int, *, days: int) -> Drift:
    start = datetime(2026, 1, 5, 12, tzinfo=UTC)
    end = start + timedelta(days=days)
    found = drift(walk([ClockReading(start, 720, 0), ClockReading(end, 720 + minutes, end.weekday())], UTC))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("zone", "at", "shift_s"),
    [  # IANA tz database, run with tzdata 2026.6
        (NEW_YORK, "2026-03-08T07:00:00+00:00", 3600),
        (NEW_YORK, "2026-11-01T06:00:00+00:00", -3600),
        (BERLIN, "2026-03-29T01:00:00+00:00", 3600),
        (BERLIN, "2026-10-25T01:00:00+00:00", -3600),
    ],
)
def test_a_clock_change_is_found_to_the_second_from_both_sides(zone: ZoneInfo, at: str, shift_s: int) -> None:
    instant = datetime.fromisoformat(at)

    for found in (
        next_change(zone, after=instant - timedelta(days=40)),
        next_change(zone, after=instant - timedelta(seconds=1)),
        last_change(zone, before=instant + timedelta(days=40)),
        last_change(zone, before=instant),
    ):
        assert found is not None
        assert (found.at, found.shift_s) == (instant, shift_s)


@pytest.mark.parametrize(
    ("zone", "spring", "autumn"),
    [
        # 15 USC 260a (Energy Policy Act 2005): published dates.
        (NEW_YORK, date(2010, 3, 14), date(2010, 11, 7)),
        (NEW_YORK, date(2013, 3, 10), date(2013, 11, 3)),
        (NEW_YORK, date(2017, 3, 12), date(2017, 11, 5)),
        # Directive 2000/84/EC: published dates.
        (BERLIN, date(2010, 3, 28), date(2010, 10, 31)),
        (BERLIN, date(2013, 3, 31), date(2013, 10, 27)),
    ],
)
def test_clocks_change_on_the_published_dates(zone: ZoneInfo, spring: date, autumn: date) -> None:
    forward = next_change(zone, after=datetime(spring.year, 1, 1, tzinfo=UTC))
    assert forward is not None
    back = next_change(zone, after=forward.at)

    assert back is not None
    assert (forward.at.astimezone(zone).date(), forward.shift_s) == (spring, 3600)
    assert (back.at.astimezone(zone).date(), back.shift_s) == (autumn, -3600)


def test_phoenix_has_no_change() -> None:
    assert next_change(ZoneInfo("America/Phoenix"), after=datetime(2026, 1, 15, tzinfo=UTC)) is None
    assert last_change(ZoneInfo("America/Phoenix"), before=datetime(2026, 1, 15, tzinfo=UTC)) is None


def test_british_columbia_has_no_change_from_2027() -> None:
    # tz 2026b. Read from the tzdata package: zoneinfo prefers the machine's own database, which may be older.
    with (files("tzdata") / "zoneinfo" / "America" / "Vancouver").open("rb") as data:
        vancouver = ZoneInfo.from_file(data, key="America/Vancouver")

    assert next_change(vancouver, after=datetime(2027, 1, 1, tzinfo=UTC)) is None


@pytest.mark.parametrize(
    ("at", "shown"),
    [  # RFC 5545 section 3.3.5, its own examples: published
        ("2007-11-04T05:30:00+00:00", 90),  # 01:30, the first of two
        ("2007-11-04T06:30:00+00:00", 90),  # 01:30 again
        ("2007-03-11T07:30:00+00:00", 210),  # 03:30, 02:30 does not occur
    ],
)
def test_a_clock_that_shows_the_venue_s_wall_time_is_right_around_the_change(at: str, shown: int) -> None:
    offset = measure(ClockReading(datetime.fromisoformat(at), shown, 6), NEW_YORK)

    assert (offset.low_s, offset.high_s) == (0, 60)


zones = st.sampled_from(
    [
        "America/New_York",
        "Europe/Berlin",
        "America/Phoenix",
        "Australia/Lord_Howe",
        "Asia/Kathmandu",
        "America/St_Johns",
    ]
)


@given(zones, st.integers(0, 37 * 365 * 86_400))
def test_whatever_zoneinfo_says_is_the_wall_time_is_the_right_clock(name: str, second: int) -> None:
    zone, at = ZoneInfo(name), datetime(2000, 1, 2, tzinfo=UTC) + timedelta(seconds=second)
    local = at.astimezone(zone)
    reading = ClockReading(at, local.hour * 60 + local.minute, local.weekday(), local.date(), "24h")

    offset = measure(reading, zone)

    assert offset.low_s <= 0 < offset.high_s
    assert offset.known_within_s is None
