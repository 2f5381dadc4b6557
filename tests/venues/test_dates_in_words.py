"""Dates, times and durations as sentences write them."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from baizebook.venues.dates_in_words import date_in_words, day_at, duration_in_words, moment_at

NEW_YORK = ZoneInfo("America/New_York")


def test_a_date_is_day_month_and_year() -> None:
    assert date_in_words(date(2026, 10, 22)) == "22 Oct 2026"
    assert date_in_words(date(9999, 1, 1)) == "1 Jan 9999"


def test_an_instant_has_the_date_and_time_of_the_venue() -> None:
    at = datetime(2026, 11, 24, 3, 30, tzinfo=UTC)
    assert (day_at(at, NEW_YORK), moment_at(at, NEW_YORK)) == ("23 Nov 2026", "23 Nov 2026, 22:30")


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (21_600, "6 h"),
        (-480, "8 min"),
        (59, "under a minute"),
        (97_200, "1 d 3 h"),
        (90_061, "1 d 1 h"),
        (86_460, "1 d 1 min"),
    ],
)
def test_a_duration_has_its_two_largest_units(seconds: int, words: str) -> None:
    assert duration_in_words(seconds) == words
