"""Meters against published and derived figures."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from baizebook.readings.meters import Meter, MeterReading, counted, deltas, step

START = datetime(2026, 12, 1, 12, tzinfo=UTC)


def readings(*values: int) -> list[MeterReading]:
    return [MeterReading(START + timedelta(days=n), value) for n, value in enumerate(values)]


def test_a_cumulative_meter_at_5_8_15_counted_15_and_never_28() -> None:
    # Documentation of a metrics system, title not kept: seen second-hand. The meter starts from 0.
    found = deltas(Meter("plays", "games", 6), readings(0, 5, 8, 15))

    assert [delta.delta for delta in found] == [0, 5, 3, 7]
    assert counted(found) == 15


def test_the_first_reading_of_a_used_meter_contributes_nothing() -> None:
    # OpenTelemetry, Metrics Data Model, "Cumulative streams: handling unknown start time": published.
    (first,) = deltas(Meter("plays", "games", 6), readings(283_014))

    assert (first.kind, first.delta) == ("baseline", 0)


@pytest.mark.parametrize(
    ("before", "after", "modulus", "expected"),
    [
        pytest.param(999_990, 10, 10**6, ("rolled_over", 20), id="six digits roll over: derived"),
        pytest.param(4_294_967_290, 10, 2**32, ("rolled_over", 16), id="RFC 2578 counter of 32 bits: derived"),
        pytest.param(10_420, 10_400, 10**6, ("needs_review", None), id="down by a little: derived"),
        # US Navy, Ship's Serviceman 3 (NAVEDTRA 14239), "Vending Machine Cash Collections", page 2-28: the difference of
        # two meter readings times the price should equal the cash, published; the example is invented.
        pytest.param(10_420, 10_731, 10**6, ("counted", 311), id="meter now less meter before"),
    ],
)
def test_what_a_step_counted(before: int, after: int, modulus: int, expected: tuple[str, int | None]) -> None:
    assert step(before, after, modulus=modulus) == expected
