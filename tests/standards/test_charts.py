"""EWMA and CUSUM, against worked examples of NIST/SEMATECH's e-Handbook and of Montgomery & Runger."""

from __future__ import annotations

import pytest
from baizebook.reports.over_and_short import ewma, ewma_limit, first_crossing, tabular_cusum

# NIST/SEMATECH e-Handbook 6.3.2.4: limits seen second-hand; series from memory, and it reproduces.
EWMA_DATA = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
EWMA_SERIES = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
    "51.94 51.99"
)

# NIST/SEMATECH e-Handbook 6.3.2.3: from memory, and it reproduces.
TABULAR_DATA = (
    "324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150 328.325 327.250 "
    "327.825 328.500 326.675 327.775 326.875 328.350"
)


def numbers(row: str) -> list[float]:
    return [float(number) for number in row.split()]


def test_ewma_limits_are_those_of_the_handbook() -> None:
    width = ewma_limit(2.0539, weight=0.3)
    assert 50 + width == pytest.approx(52.5884, abs=0.0001)
    assert 50 - width == pytest.approx(47.4115, abs=0.0001 + 1e-9)


def test_ewma_follows_the_handbooks_series() -> None:
    assert ewma(numbers(EWMA_DATA), weight=0.3, start=50.0) == pytest.approx(numbers(EWMA_SERIES), abs=0.005 + 1e-9)


def test_tabular_cusum_first_signals_at_observation_14() -> None:
    sums = tabular_cusum(numbers(TABULAR_DATA), target=325.0, k=0.3175)
    assert first_crossing(sums.high, 4.1959) == (13, 12)  # counted from 0: seen at the 14th, pointing to the 13th
    assert sums.high[13] == pytest.approx(4.94, abs=0.005)
    assert sums.high[-1] == pytest.approx(19.035, abs=0.0005)
    assert first_crossing(sums.low, 4.1959) is None
