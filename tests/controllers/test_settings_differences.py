"""Settings found on a table against what should be there (S4)."""

from __future__ import annotations

from dataclasses import replace

from baizebook.controllers.settings_differences import ValueFound, differences
from baizebook.controllers.week_settings import NOTHING, Day, Prices, SettingsWindow, WeekSettings
from baizebook.pricing.ladder import Ladder, Rung
from baizebook.pricing.week import WEEKDAYS

GAMES = Ladder((Rung(75, 1), Rung(400, 6)))
DAY = SettingsWindow(0, 1440, Prices(GAMES))
WEEK = WeekSettings(tuple(Day(day, (DAY,)) for day in WEEKDAYS))
ACCEPTS = (25, 100, 500)


def found_on_monday(*windows: SettingsWindow) -> tuple[Day, ...]:
    return (Day("mon", windows), *WEEK.days[1:])


def test_a_table_that_holds_what_it_should_shows_no_difference() -> None:
    assert differences(WEEK.days, WEEK, against="keyed", accepts=ACCEPTS, currency="USD") == ()


def test_a_wrong_price_is_named_with_what_it_gives_away_at_each_coin_note_and_rung() -> None:
    wrong = replace(DAY, prices=Prices(Ladder((Rung(50, 1), Rung(400, 8)))))
    (row,) = differences(found_on_monday(wrong), WEEK, against="keyed", accepts=ACCEPTS, currency="USD")
    assert (row.day, row.starts, row.ends, row.sells) == ("mon", 0, 1440, "games")
    assert row.values == (ValueFound("prices[0].price", "0.75", "0.50"), ValueFound("prices[1].units", "6", "8"))
    assert [(effect.amount, effect.wanted, effect.found) for effect in row.effects] == [
        (50, 0, 1),
        (100, 1, 2),
        (400, 6, 8),
        (500, 7, 10),
    ]
    assert [effect.gives_away for effect in row.effects] == [1, 1, 2, 3]


def test_a_missing_price_takes_from_the_player() -> None:
    wrong = replace(DAY, prices=Prices(Ladder((Rung(75, 1),))))
    (row,) = differences(found_on_monday(wrong), WEEK, against="listed", accepts=ACCEPTS, currency="USD")
    assert row.values == (ValueFound("prices", "2", "1"),)
    assert [effect.gives_away for effect in row.effects] == [-1, -1]


def test_a_window_that_ends_too_early_differs_from_then_on() -> None:
    found = found_on_monday(SettingsWindow(0, 1380, Prices(GAMES)), SettingsWindow(1380, 1440, NOTHING))
    (row,) = differences(found, WEEK, against="keyed", accepts=(), currency="USD")
    assert (row.starts, row.ends, row.values) == (1380, 1440, (ValueFound("sold", "yes", "no"),))


def test_free_play_where_prices_should_be_is_one_difference() -> None:
    found = found_on_monday(replace(DAY, prices=Prices(free=True)))
    (row,) = differences(found, WEEK, against="keyed", accepts=ACCEPTS, currency="USD")
    assert (row.sells, row.values) == (None, (ValueFound("free", "no", "yes"),))


def test_a_date_without_settings_of_its_own_is_compared_with_its_weekday() -> None:
    closed = Day("2026-12-24", (SettingsWindow(0, 1440, NOTHING),))
    (row,) = differences((closed,), WEEK, against="listed", accepts=ACCEPTS, currency="USD")
    assert (row.day, row.values) == ("2026-12-24", (ValueFound("sold", "yes", "no"),))
    assert [effect.gives_away for effect in row.effects] == [-1, -1, -6, -7]
