"""Charts of over and short: they find a lean, name where it began, and accuse nobody."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from baizebook.reports.over_and_short import Chart, ChartPoint, chart, point


def series(*hundredths: int) -> list[ChartPoint]:
    return [ChartPoint(f"c{number}", Fraction(share, 10_000)) for number, share in enumerate(hundredths, start=1)]


def charted(points: list[ChartPoint]) -> Chart:
    made = chart(points)
    assert made is not None
    return made


CALM = (40, -30, 10, -50, 20, 0, -20, 40, -40, 30)
SHORT = (-310, -290, -350, -280, -330, -300)


def test_a_point_is_the_difference_as_a_share_of_the_expectation() -> None:
    assert point("c1", counted=298_00, expected=301_00) == ChartPoint("c1", Fraction(-3, 301))
    assert point("c1", counted=1_00, expected=0) is None


def test_a_calm_series_has_no_signal_and_says_so() -> None:
    calm = charted(series(*CALM))
    assert (calm.signals, calm.notice) == ((), "No lean beyond chance.")


def test_a_table_that_runs_short_is_found_with_the_collection_at_which_it_began() -> None:
    made = charted(series(*CALM, *SHORT))
    assert [(signal.chart, signal.side, signal.seen_at, signal.points_to) for signal in made.signals] == [
        ("ewma", "short", "c11", "c11"),
        ("cusum", "short", "c12", "c11"),
    ]


def test_over_is_found_like_short() -> None:
    made = charted(series(*(-share for share in (*CALM, *SHORT))))
    assert {(signal.side, signal.points_to) for signal in made.signals} == {("over", "c11")}


def test_a_signal_is_a_reason_to_look_and_never_an_accusation() -> None:
    made = charted(series(*CALM, *SHORT))
    texts = [made.notice, *(signal.detail for signal in made.signals)]
    assert all("reason to look, not an accusation" in text for text in texts)
    assert not any(word in text.lower() for text in texts for word in ("theft", "steal", "stole", "fraud", "guilty"))


def test_a_coin_off_after_exact_counts_is_no_alarm() -> None:
    made = charted(series(0, 0, 0, 0, 0, 0, 0, 0, -12))
    assert (made.sigma, made.signals) == (0.005, ())


def test_a_lean_from_the_first_collection_on_points_to_the_first() -> None:
    made = charted(series(*(SHORT * 2)))
    assert {signal.points_to for signal in made.signals} == {"c1"}


def test_seven_collections_are_too_few_for_a_chart() -> None:
    assert chart(series(*CALM[:7])) is None
    assert chart(series(*CALM[:8])) is not None


def test_sigma_is_the_mean_moving_range_over_1_128() -> None:
    points = series(*(share * 10 for share in CALM))
    ranges = np.abs(np.diff([float(p.share) for p in points]))
    assert charted(points).sigma == pytest.approx(float(ranges.mean()) / 1.128)
