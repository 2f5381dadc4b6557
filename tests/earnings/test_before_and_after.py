"""Did a change of prices pay (N3)? Against published figures, scipy, and simulated routes."""

from random import Random

import pytest
import scipy
from baizebook.earnings.before_and_after import (
    TableWeeks,
    price_change_effect,
)


def flat(before: float, after: float) -> TableWeeks:
    return TableWeeks([before] * 4, [after] * 4)


def test_the_difference_of_differences_of_published_means() -> None:
    # Card and Krueger, American Economic Review 84 (1994) 772-793, table 3: New Jersey 20.44 to 21.03, Pennsylvania
    # 23.33 to 21.17; 2.75 of the rounded means (published as 2.76 of the unrounded). Second column from memory.
    found = price_change_effect([flat(20.44, 21.03)], [flat(23.33, 21.17)])
    assert found is not None
    assert round(found.effect, 2) == 2.75
    assert found.verdict == "cannot_tell"  # one table on a side tells nothing


def panel(chance: Random, *, tables: int, effect: float) -> list[TableWeeks]:
    """Return tables that each have a level of their own, a week's noise, and an effect on their weeks after."""
    made = []
    for _ in range(tables):
        level = chance.uniform(60, 200)
        before = [level + chance.gauss(0, 25) for _ in range(8)]
        after = [level + effect + chance.gauss(0, 25) for _ in range(8)]
        made.append(TableWeeks(before, after))
    return made


def test_the_error_is_that_of_welch() -> None:
    chance = Random(5)
    changed, others = panel(chance, tables=12, effect=20), panel(chance, tables=30, effect=0)
    found = price_change_effect(changed, others)
    welch = scipy.stats.ttest_ind([t.change for t in changed], [t.change for t in others], equal_var=False)
    assert found is not None
    assert found.error is not None
    assert found.effect / found.error == pytest.approx(welch.statistic)
    assert found.interval is not None
    low, high = welch.confidence_interval(0.90)
    assert found.interval == pytest.approx((low, high), abs=0.25 * (high - low))


def test_the_same_question_has_the_same_answer() -> None:
    changed, others = panel(Random(1), tables=8, effect=5), panel(Random(2), tables=8, effect=0)
    assert price_change_effect(changed, others) == price_change_effect(changed, others)


@pytest.mark.parametrize("effect", [0.0, 30.0])
def test_the_interval_covers_the_effect_nine_times_in_ten(effect: float, monkeypatch: pytest.MonkeyPatch) -> None:
    # Asked: 85 to 95 % of simulated routes. Fewer resamples than in earnest keep the test short.
    monkeypatch.setattr("baizebook.earnings.before_and_after.RESAMPLES", 400)
    chance, covered, called = Random(20261127), 0, 0
    routes = 300
    for _ in range(routes):
        found = price_change_effect(panel(chance, tables=10, effect=effect), panel(chance, tables=20, effect=0))
        assert found is not None
        assert found.interval is not None
        covered += found.interval[0] <= effect <= found.interval[1]
        called += found.verdict == "more"
    assert 0.85 <= covered / routes <= 0.95
    if effect == 0.0:
        assert called / routes <= 0.07


def test_too_few_tables_or_weeks_cannot_tell() -> None:
    many = panel(Random(3), tables=8, effect=50)
    found = price_change_effect(many[:4], many)
    assert found is not None
    assert (found.interval, found.verdict) == (None, "cannot_tell")
    assert price_change_effect([TableWeeks([1.0], [2.0])] * 9, many) is None
