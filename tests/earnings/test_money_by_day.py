"""The money of a box belongs to the days since it was last emptied (N2)."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from baizebook.earnings.money_by_day import MeterPoint, days_of, spread, weights_of
from hypothesis import given
from hypothesis import strategies as st

MARCH_26 = date(2026, 3, 26)


def days(until: date, after: date = MARCH_26) -> list[date]:
    return days_of(emptied_before_on=after, emptied_on=until)


def test_ten_days_without_a_reading_are_equal() -> None:
    # 100.00 over 27 March to 5 April: March 50.00, April 50.00. Derived.
    parts = spread(100_00, days(date(2026, 4, 5)))
    assert sum(amount for day, amount in parts.items() if day.month == 3) == 50_00
    assert sum(amount for day, amount in parts.items() if day.month == 4) == 50_00


def test_odd_units_go_to_the_earlier_days() -> None:
    # 0.07 over three days: 0.03, 0.02, 0.02. Derived (largest remainder, ties to the earlier day).
    assert list(spread(7, days(date(2026, 3, 29))).values()) == [3, 2, 2]


def test_a_meter_read_in_between_decides_how_much_came_before_it() -> None:
    # 33.00 over 27 March to 2 April, the meter a third through on the second evening: 11.00 and 22.00. Derived.
    parts = spread(33_00, days(date(2026, 4, 2)), [MeterPoint(date(2026, 3, 28), Fraction(1, 3))])
    amounts = list(parts.values())
    assert (sum(amounts[:2]), sum(amounts[2:])) == (11_00, 22_00)
    assert amounts == [550, 550, 440, 440, 440, 440, 440]


@pytest.mark.parametrize("before", [None, date(2026, 4, 2), date(2026, 4, 3)])
def test_a_box_without_days_before_it_belongs_to_its_own_day(before: date | None) -> None:
    assert days_of(emptied_before_on=before, emptied_on=date(2026, 4, 2)) == [date(2026, 4, 2)]


def test_a_reading_outside_the_days_or_one_that_goes_down_says_nothing() -> None:
    seven = days(date(2026, 4, 2))
    odd = [
        MeterPoint(date(2026, 3, 20), Fraction(1, 2)),
        MeterPoint(date(2026, 4, 2), Fraction(1, 2)),
        MeterPoint(date(2026, 3, 30), Fraction(3, 2)),
    ]
    assert weights_of(seven, odd) == [Fraction(1, 7)] * 7
    falling = [MeterPoint(date(2026, 3, 28), Fraction(1, 2)), MeterPoint(date(2026, 3, 30), Fraction(1, 4))]
    assert spread(14_00, seven, falling) == spread(14_00, seven, falling[:1])


@given(
    amount=st.integers(-(10**9), 10**9),
    count=st.integers(1, 400),
    points=st.lists(
        st.builds(
            MeterPoint,
            st.integers(-5, 405).map(lambda n: MARCH_26 + timedelta(days=n)),
            st.fractions(0, 1, max_denominator=50),
        ),
        max_size=5,
    ),
)
def test_the_parts_add_up_to_the_amount(amount: int, count: int, points: list[MeterPoint]) -> None:
    box = days(MARCH_26 + timedelta(days=count))
    assert sum(weights_of(box, points)) == 1
    assert sum(spread(amount, box, points).values()) == amount


def test_a_day_out_of_order_has_nothing_and_half_a_day_half() -> None:
    box = days(MARCH_26 + timedelta(days=4))
    out = {box[1]: Fraction(1), box[2]: Fraction(1, 2)}
    assert list(spread(1000, box, (), out).values()) == [400, 0, 200, 400]
    point = MeterPoint(box[1], Fraction(1, 2))
    assert list(spread(1000, box, [point], out).values()) == [500, 0, 167, 333]
    assert list(spread(1000, box, (), dict.fromkeys(box, Fraction(1))).values()) == [250] * 4
