"""Days out of order: exact, clipped, and no day twice."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise

import pytest
from baizebook.jobs.out_of_order import OutOfOrder, days_out_of_order, is_out_of_order, two_decimals, within
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


def test_a_table_is_in_order_again_when_its_job_is_done() -> None:
    spans = [OutOfOrder(at(3), at(5))]
    assert [is_out_of_order(spans, at(day)) for day in (2, 3, 4, 5)] == [False, True, True, False]
    assert is_out_of_order([OutOfOrder(at(3))], at(29))


HOURS = st.integers(0, 29 * 24)


@given(st.lists(st.tuples(HOURS, HOURS | st.none()), max_size=8))
def test_the_days_are_the_hours_that_any_fault_covers(drawn: list[tuple[int, int | None]]) -> None:
    spans = [
        OutOfOrder(at(1) + timedelta(hours=a), None if b is None else at(1) + timedelta(hours=b)) for a, b in drawn
    ]
    covered = sum(
        any(is_out_of_order([span], at(1) + timedelta(hours=hour)) for span in spans) for hour in range(29 * 24)
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
