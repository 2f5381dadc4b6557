"""Days out of order: exact, clipped, and no day twice."""

from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from itertools import pairwise

import pytest
from baizebook.jobs.out_of_order import (
    OutOfOrder,
    after_days_in_order,
    days_out_of_order,
    share_of_days,
    two_decimals,
    within,
)
from baizebook.pricing import Calendar, zone_named
from hypothesis import given
from hypothesis import strategies as st


def at(day: int, hour: int = 0) -> datetime:
    return datetime(2026, 11, day, hour, tzinfo=UTC)


NOVEMBER = {"from_at": at(1), "to_at": at(30)}


@pytest.mark.parametrize(
    ("spans", "days"),
    [
        ([], Fraction(0)),
        ([OutOfOrder(at(3), at(5, 12))], Fraction(5, 2)),
        ([OutOfOrder(at(3), at(3))], Fraction(0)),  # mended as it was reported
        ([OutOfOrder(at(3), at(6)), OutOfOrder(at(4), at(8))], Fraction(5)),  # overlapping
        ([OutOfOrder(at(3), at(9)), OutOfOrder(at(4), at(5))], Fraction(6)),  # one inside the other
        ([OutOfOrder(at(3), at(4)), OutOfOrder(at(4), at(5))], Fraction(2)),  # one after the other
        ([OutOfOrder(at(8), at(9)), OutOfOrder(at(3), at(4))], Fraction(2)),  # in any order
        ([OutOfOrder(at(28))], Fraction(2)),  # still out of order at the end
        ([OutOfOrder(at(1) - timedelta(days=9), at(2))], Fraction(1)),  # from before
    ],
)
def test_days_are_counted_once_and_within_the_time_asked_about(spans: list[OutOfOrder], days: Fraction) -> None:
    assert days_out_of_order(spans, **NOVEMBER) == days


def test_a_time_that_ends_before_it_starts_has_no_days() -> None:
    assert days_out_of_order([OutOfOrder(at(3))], from_at=at(9), to_at=at(8)) == 0


HOURS = st.integers(0, 29 * 24)


@given(st.lists(st.tuples(HOURS, HOURS | st.none()), max_size=8))
def test_the_days_are_the_hours_that_any_fault_covers(drawn: list[tuple[int, int | None]]) -> None:
    spans = [
        OutOfOrder(at(1) + timedelta(hours=a), None if b is None else at(1) + timedelta(hours=b)) for a, b in drawn
    ]
    hours = [at(1) + timedelta(hours=hour) for hour in range(29 * 24)]
    covered = sum(
        any(span.from_at <= hour and (span.to_at is None or hour < span.to_at) for span in spans) for hour in hours
    )
    assert days_out_of_order(spans, **NOVEMBER) == Fraction(covered, 24)
    parts = within(spans, **NOVEMBER)
    assert all(first[1] < second[0] for first, second in pairwise(parts))


@pytest.mark.parametrize(
    ("days", "text"),
    [(Fraction(0), "0.00"), (Fraction(5, 2), "2.50"), (Fraction(1, 3), "0.33"), (Fraction(1, 200), "0.01")],
)
def test_days_are_written_with_two_decimals_halves_up(days: Fraction, text: str) -> None:
    assert two_decimals(days) == text


LANTERN = Calendar(zone_named("America/New_York"), time(6))


@pytest.mark.parametrize(
    ("spans", "shares"),
    [
        ([OutOfOrder(at(3, 11), at(4, 11))], {date(2026, 11, 3): Fraction(1)}),  # from 06:00 to 06:00
        ([OutOfOrder(at(3, 5), at(3, 17))], {date(2026, 11, 2): Fraction(1, 4), date(2026, 11, 3): Fraction(1, 4)}),
        ([OutOfOrder(at(3, 11), at(3, 23)), OutOfOrder(at(3, 17), at(4, 5))], {date(2026, 11, 3): Fraction(3, 4)}),
        ([OutOfOrder(at(29, 11))], {date(2026, 11, 29): Fraction(13, 24)}),  # to the end of the time
        ([OutOfOrder(datetime(2026, 10, 31, 10, tzinfo=UTC), at(1, 11))], {}),  # before the time
    ],
)
def test_the_share_of_each_trading_day_is_exact(spans: list[OutOfOrder], shares: dict[date, Fraction]) -> None:
    assert share_of_days(spans, calendar=LANTERN, from_at=at(1, 11), to_at=at(30)) == shares


def test_the_day_that_summer_time_ends_has_twenty_five_hours() -> None:
    span = OutOfOrder(datetime(2026, 10, 31, 10, tzinfo=UTC), datetime(2026, 10, 31, 15, tzinfo=UTC))
    found = share_of_days([span], calendar=LANTERN, from_at=span.from_at, to_at=at(2))
    assert found == {date(2026, 10, 31): Fraction(5, 25)}


@pytest.mark.parametrize(
    ("days", "spans", "reached"),
    [
        (5, [], at(8)),
        (5, [OutOfOrder(at(4), at(6))], at(10)),
        (5, [OutOfOrder(at(4), at(6)), OutOfOrder(at(5), at(7)), OutOfOrder(at(9), at(10))], at(12)),
        (5, [OutOfOrder(at(1), at(5))], at(10)),
        (5, [OutOfOrder(at(1), at(2))], at(8)),
        (5, [OutOfOrder(at(8))], at(8)),  # it was reached as the table broke
        (5, [OutOfOrder(at(7))], None),
        (0, [OutOfOrder(at(1))], at(3)),
        (5, [OutOfOrder(at(4)), OutOfOrder(at(5), at(6))], None),
    ],
)
def test_days_in_order_leave_out_those_out_of_order(
    days: int, spans: list[OutOfOrder], reached: datetime | None
) -> None:
    assert after_days_in_order(at(3), Fraction(days), spans) == reached
