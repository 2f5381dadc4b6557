"""Whole weeks around a change of prices: what counts, and what says nothing (N3)."""

from collections import Counter
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from baizebook.earnings.earned_totals import Earned
from baizebook.earnings.money_by_day import MeterPoint
from baizebook.price_changes.panel import days_of_tables, weeks_around, weeks_beside
from baizebook.price_changes.prices_held import Change, PricesHeld, change_of, holds_throughout, prices_held, week_key
from baizebook.pricing import Calendar, Ladder, Rung, Schedule, Tariff, Timetable, zone_named

MONDAY = date(2026, 10, 5)
CHANGE = Change(until_on=MONDAY, from_on=MONDAY)
HELD = [
    PricesHeld(from_on=date.min, until_on=MONDAY, is_asked=False),
    PricesHeld(from_on=MONDAY, until_on=None, is_asked=True),
]
NEVER = [PricesHeld(from_on=date.min, until_on=None, is_asked=False)]


def box(first: date, days: int, gross: int, **changes: Any) -> Earned:
    """Return a box that holds the money of so many days from one on."""
    values = {
        "collection_id": str(first), "entry_id": None, "table_id": "t", "venue_id": "v", "currency": "USD",
        "emptied_before_on": first - timedelta(days=1), "emptied_on": first + timedelta(days=days - 1), "gross": gross,
    }  # fmt: skip
    return Earned(**{**values, **changes})


def test_weeks_are_counted_from_the_change_and_only_whole_ones_count() -> None:
    boxes = [
        box(MONDAY - timedelta(days=10), 10, 100_00),
        box(MONDAY, 14, 140_00),
        box(MONDAY + timedelta(days=14), 6, 6),
    ]
    found = weeks_around(days_of_tables(boxes)["t"], CHANGE, HELD, weeks=8)
    assert found.takings == {-1: 70_00.0, 1: 70_00.0, 2: 70_00.0}


def test_a_box_of_both_sides_says_nothing_unless_a_meter_was_read_at_the_change() -> None:
    days = {"first": MONDAY - timedelta(days=14), "days": 28}
    assert weeks_around(days_of_tables([box(**days, gross=280_00)])["t"], CHANGE, HELD, weeks=2).takings == {}  # type: ignore[arg-type]
    point = MeterPoint(MONDAY - timedelta(days=1), Fraction(1, 4))
    read = box(**days, gross=280_00, points=(point,))  # type: ignore[arg-type]
    found = weeks_around(days_of_tables([read])["t"], CHANGE, HELD, weeks=2)
    assert found.takings == {-2: 35_00.0, -1: 35_00.0, 1: 105_00.0, 2: 105_00.0}


def test_what_is_given_back_was_not_taken_in() -> None:
    found = weeks_around(days_of_tables([box(MONDAY, 7, 70_00, refunds=7_00)])["t"], CHANGE, HELD, weeks=1)
    assert found.takings == {1: 63_00.0}


def test_the_weeks_end_where_prices_change_once_more() -> None:
    again = MONDAY + timedelta(days=10)
    held = [HELD[0], PricesHeld(from_on=MONDAY, until_on=again, is_asked=True)]
    found = weeks_around(days_of_tables([box(MONDAY, 28, 280_00)])["t"], CHANGE, held, weeks=4)
    assert list(found.takings) == [1]


def test_beside_changes_on_two_days_a_week_is_their_mean() -> None:
    later = Change(until_on=MONDAY + timedelta(days=7), from_on=MONDAY + timedelta(days=7))
    boxes = [box(MONDAY + timedelta(days=7 * week), 7, amount) for week, amount in ((0, 70_00), (1, 100_00))]
    found = weeks_beside(days_of_tables(boxes)["t"], Counter({CHANGE: 3, later: 1}), NEVER, weeks=1)
    assert found.takings == {1: (3 * 70_00 + 100_00) / 4, -1: 70_00.0}


def test_the_last_change_to_the_prices_counts_and_none_is_none() -> None:
    assert change_of(HELD) == CHANGE
    assert change_of(HELD[1:]) is None
    assert change_of(NEVER) is None


def test_a_table_of_a_venue_without_a_schedule_sold_by_nothing() -> None:
    nothing = Timetable(Calendar(zone_named("America/New_York")), ())
    assert prices_held(nothing, is_asked=lambda _: True, from_on=date.min, until_on=None) == []


def test_prices_that_changed_in_the_same_weeks_do_not_hold_throughout() -> None:
    assert holds_throughout(NEVER, CHANGE, weeks=8)
    assert not holds_throughout(HELD, CHANGE, weeks=1)
    soon = [PricesHeld(from_on=date.min, until_on=MONDAY + timedelta(days=20), is_asked=False)]
    assert holds_throughout(soon, CHANGE, weeks=2)
    assert not holds_throughout(soon, CHANGE, weeks=3)
    assert not holds_throughout([], CHANGE, weeks=1)


def test_a_week_with_a_day_out_of_order_does_not_count() -> None:
    broken = {MONDAY + timedelta(days=9): Fraction(1, 2)}
    boxes = [box(MONDAY - timedelta(days=7), 7, 70_00), box(MONDAY, 21, 205_00, out_of_order=broken)]
    found = weeks_around(days_of_tables(boxes)["t"], CHANGE, HELD, weeks=8)
    assert found.takings == {-1: 70_00.0, 1: 70_00.0, 3: 70_00.0}


def test_the_week_of_a_schedule_is_worked_out_once_for_all_tables_that_sell_by_it() -> None:
    """Two hundred tables that sold by one schedule of 200 windows took most of a second."""
    schedule = Schedule(id="s", base=Tariff("USD", games=Ladder((Rung(100, 1),))))
    assert week_key(schedule) is week_key(schedule)
