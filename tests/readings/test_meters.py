"""What meters counted: never negative takings, never a guess."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.pricing.errors import DomainError
from baizebook.readings.meters import (
    Meter,
    MeterDelta,
    MeterReading,
    MeterTotal,
    counted,
    deltas,
    disagreement,
    money,
    step,
)
from hypothesis import given
from hypothesis import strategies as st

START = datetime(2026, 12, 1, 12, tzinfo=UTC)
PLAYS = Meter("plays", "games", 6)
CASH = Meter("cash", "money", 7, unit_minor=25)


def at(n: float, value: int, *, reset: bool = False, collected: bool = False) -> MeterReading:
    return MeterReading(START + timedelta(days=n), value, reset, collected)


def story(found: tuple[MeterDelta, ...]) -> list[tuple[str, int | None]]:
    return [(delta.kind, delta.delta) for delta in found]


def test_readings_that_come_late_are_put_in_their_place() -> None:
    found = deltas(PLAYS, [at(2, 130), at(0, 100), at(1, 110)])

    assert story(found) == [("baseline", 0), ("counted", 10), ("counted", 20)]
    assert (found[2].before, found[2].value) == (110, 130)


def test_after_a_new_board_or_a_reset_the_meter_starts_from_what_it_shows() -> None:
    found = deltas(PLAYS, [at(0, 310), at(1, 0, reset=True), at(2, 12)])

    assert story(found) == [("baseline", 0), ("baseline", 0), ("counted", 12)]


def test_a_meter_that_fell_is_reviewed_and_goes_on_from_there() -> None:
    found = deltas(PLAYS, [at(0, 10_420), at(1, 10_400), at(2, 10_410)])

    assert story(found) == [("baseline", 0), ("needs_review", None), ("counted", 10)]
    assert counted(found) == 10


def test_exactly_half_the_modulus_is_not_the_smaller_story() -> None:
    assert step(500_000, 0, modulus=10**6) == ("needs_review", None)
    assert step(500_001, 0, modulus=10**6) == ("rolled_over", 499_999)


def test_a_meter_reset_at_collection_counts_from_zero_after_it() -> None:
    meter = Meter("cash", "money", 5, resets="at_collection", unit_minor=25)
    found = deltas(meter, [at(0, 40), at(7, 90, collected=True), at(9, 30), at(14, 95, collected=True), at(15, 100)])

    assert story(found) == [("baseline", 0), ("counted", 50), ("counted", 30), ("counted", 65), ("counted", 100)]


@pytest.mark.parametrize("after", [10, 40])
def test_a_meter_reset_at_collection_that_fell_without_one_is_reviewed(after: int) -> None:
    meter = Meter("cash", "money", 2, resets="at_collection", unit_minor=25)

    assert story(deltas(meter, [at(0, 95), at(1, after)]))[1] == ("needs_review", None)


def test_the_money_of_a_money_meter_is_its_count_times_its_unit() -> None:
    assert money(CASH, 311) == MeterTotal("cash", 7_775, 7_775)


def test_games_are_no_money() -> None:
    with pytest.raises(DomainError, match="money meter"):
        money(PLAYS, 3)


@pytest.mark.parametrize("value", [-1, 1_000_000])
def test_a_value_that_the_meter_cannot_show_is_refused_and_named(value: int) -> None:
    with pytest.raises(DomainError) as refused:
        deltas(PLAYS, [at(0, 5), at(1, value)])
    assert refused.value.faults[0].where == "readings[1].value"


@pytest.mark.parametrize(
    ("counts", "digits", "unit_minor"), [("money", 6, None), ("games", 6, 25), ("money", 6, 0), ("games", 0, None)]
)
def test_a_meter_that_makes_no_sense_is_refused(counts: str, digits: int, unit_minor: int | None) -> None:
    with pytest.raises(DomainError):
        Meter("m", counts, digits, unit_minor=unit_minor)  # type: ignore[arg-type]


class TestTwoMeters:
    def test_money_within_what_the_games_can_have_cost_is_one_story(self) -> None:
        assert disagreement(money(CASH, 40), MeterTotal("plays", 1000, 1400)) is None
        assert disagreement(money(CASH, 56), MeterTotal("plays", 1000, 1400)) is None

    def test_money_outside_is_shown_with_both_figures(self) -> None:
        cash, plays = money(CASH, 30), MeterTotal("plays", 1000, 1400)
        found = disagreement(cash, plays)

        assert found is not None
        assert (found.one, found.other, found.apart_minor) == (cash, plays, 250)

    def test_the_order_does_not_matter(self) -> None:
        found = disagreement(MeterTotal("plays", 1000, 1400), money(CASH, 60))

        assert found is not None
        assert found.apart_minor == 100

    def test_a_range_the_wrong_way_round_is_refused(self) -> None:
        with pytest.raises(DomainError):
            MeterTotal("plays", 1400, 1000)


@given(st.integers(0, 999_999), st.lists(st.integers(0, 400_000), max_size=20))
def test_however_often_it_rolls_over_everything_is_counted_once(start: int, added: list[int]) -> None:
    values = [start]
    for more in added:
        values.append((values[-1] + more) % 10**6)

    found = deltas(PLAYS, [at(n, value) for n, value in enumerate(values)])

    assert counted(found) == sum(added)


@given(st.lists(st.integers(0, 999_999), max_size=20))
def test_takings_are_never_negative(values: list[int]) -> None:
    found = deltas(PLAYS, [at(n, value) for n, value in enumerate(values)])

    assert all(delta.delta is None or delta.delta >= 0 for delta in found)
    assert len(found) == len(values)
