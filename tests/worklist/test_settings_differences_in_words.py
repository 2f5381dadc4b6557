"""What whoever goes to a table is told of settings found otherwise than keyed."""

from __future__ import annotations

from baizebook.controllers.found_days import read_days
from baizebook.controllers.settings_differences import differences
from baizebook.controllers.week_settings import Day, Prices, SettingsWindow, WeekSettings
from baizebook.pricing.ladder import Ladder, Rung
from baizebook.worklist.settings_differences_in_words import differences_in_words

A_GAME = Ladder((Rung(100, 1), Rung(500, 6)))
HALF_AN_HOUR = Ladder((Rung(400, 30),))
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SIX = 360


def all_day(day: str, prices: Prices) -> Day:
    return Day(day, (SettingsWindow(0, 1440, prices),))


WANTED = WeekSettings(tuple(all_day(day, Prices(A_GAME, HALF_AN_HOUR)) for day in WEEK))


def told(*days: Day) -> list[str]:
    found = differences(days, WANTED, against="keyed", accepts=(25, 100, 500, 1000), currency="USD")
    return differences_in_words(found, currency="USD", turns_at=SIX)


def test_the_same_price_on_every_day_is_said_once() -> None:
    cheap = Prices(Ladder((Rung(75, 1), Rung(500, 6))), HALF_AN_HOUR)
    assert told(*(all_day(day, cheap) for day in WEEK)) == [
        "every day, games: price 1 is 0.75 instead of 1.00 (0.75 buys 1 game instead of 0)"
    ]


def test_three_days_in_a_row_are_said_from_the_first_to_the_last_and_others_one_by_one() -> None:
    silent = Prices(A_GAME)
    (first,) = told(*(all_day(day, silent) for day in ("mon", "tue", "wed", "fri", "sat")))
    assert (
        first == "Monday to Wednesday, Friday and Saturday: minutes are not sold (10.00 buys 0 minutes instead of 60)"
    )


def test_what_does_not_last_all_day_is_said_with_its_times() -> None:
    right, none = Prices(A_GAME, HALF_AN_HOUR), Prices(None, HALF_AN_HOUR)
    assert told(
        Day("mon", (SettingsWindow(0, 360, right), SettingsWindow(360, 420, none), SettingsWindow(420, 1440, right)))
    ) == ["Monday 12:00 to 13:00: games are not sold (10.00 buys 0 games instead of 12)"]


def test_what_is_sold_past_the_last_price_is_said_in_words() -> None:
    once = Prices(Ladder((Rung(100, 1), Rung(500, 6)), "climb_once"), HALF_AN_HOUR)
    assert told(all_day("sun", once)) == [
        "Sunday, games: counts so that each price counts once, and past the top price only the first price counts, "
        "instead of so that every price counts again and again, the highest first (10.00 buys 11 games instead of 12)"
    ]


def test_free_play_and_another_number_of_prices_are_said_in_words() -> None:
    assert told(all_day("mon", Prices(free=True))) == ["Monday: play is free, and should not be"]
    assert told(all_day("tue", Prices(Ladder((Rung(100, 1),)), HALF_AN_HOUR))) == [
        "Tuesday, games: there is 1 price instead of 2 (10.00 buys 10 games instead of 12)"
    ]
    assert told(all_day("wed", Prices(Ladder((Rung(100, 1), Rung(500, 7))), HALF_AN_HOUR))) == [
        "Wednesday, games: price 2 buys 7 games instead of 6 (10.00 buys 14 games instead of 12)"
    ]


def test_settings_written_and_read_again_differ_in_nothing() -> None:
    rung = {"prices": [{"price": "1.00", "units": 1}, {"price": "5.00", "units": 6}]}
    row = {"from": "06:00", "to": "06:00", "games": rung, "minutes": {"prices": [{"price": "4.00", "units": 30}]}}
    days = read_days({"days": [{"day": "mon", "windows": [row]}]}, turns_at=SIX, currency="USD")
    assert told(*days) == []
