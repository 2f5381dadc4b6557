"""The Theil–Sen line against a published series and against scipy.stats.theilslopes."""

from __future__ import annotations

import pytest
import scipy
from baizebook.health.theil_sen import theil_sen
from hypothesis import given, settings
from hypothesis import strategies as st

# EPA QA/G-9S (2006), data 10 10 10 5 10 20 18 17 15 24 15 at 1 … 11; the slope 1.0, the median of 55: derived.
EPA = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]


def test_the_slope_of_the_epa_series_is_the_median_of_its_55_slopes() -> None:
    trend = theil_sen(list(enumerate(EPA, start=1)))

    assert trend.slope == 1
    assert trend.n == 11


# Of several readings at one instant scipy takes the root of a negative number; so each has its own here.
series = st.lists(
    st.tuples(st.integers(0, 60), st.integers(12_300, 12_330)),
    min_size=2,
    max_size=25,
    unique_by=lambda point: point[0],
)


@settings(max_examples=100)
@given(series)
def test_slope_intercept_and_band_are_those_of_scipy(points: list[tuple[int, int]]) -> None:
    ours = theil_sen(points)
    theirs = scipy.stats.theilslopes([y for _, y in points], [x for x, _ in points], alpha=0.95, method="separate")

    assert float(ours.slope) == pytest.approx(theirs.slope, abs=1e-9)
    assert float(ours.middle_y - ours.slope * ours.middle_x) == pytest.approx(theirs.intercept, abs=1e-6)
    assert float(ours.slope_low) == pytest.approx(theirs.low_slope, abs=1e-9)
    assert float(ours.slope_high) == pytest.approx(theirs.high_slope, abs=1e-9)
