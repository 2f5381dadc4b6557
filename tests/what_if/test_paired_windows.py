"""Two weeks of prices side by side (N4)."""

from dataclasses import replace
from datetime import time

import pytest
from baizebook.pricing import Ladder, Rung, Schedule, Tariff, Weekly
from baizebook.pricing.effort import Effort
from baizebook.what_if.comparison import Intake, WhatIf, compare, whole_sentence
from baizebook.what_if.paired_windows import PricedSide, paired_windows, spoken


def games(price: int) -> Tariff:
    return Tariff("USD", games=Ladder((Rung(price, 1),)), id=str(price), code=str(price))


CHEAP, DEAR, EARLY = games(75), games(100), games(50)


def test_two_tariffs_are_one_pair_all_week() -> None:
    (pair,) = paired_windows(PricedSide(name="a", tariff=CHEAP), PricedSide(name="b", tariff=DEAR))
    assert (pair.when, pair.minutes, pair.current, pair.other) == ("all week", 7 * 1440, CHEAP, DEAR)


def test_windows_are_cut_where_either_side_changes_and_add_up_to_the_week() -> None:
    early = Weekly(name="Early", days=frozenset(range(4)), start=time(15), end=time(18), tariff=EARLY)
    closed = Weekly(name="Closed", days=frozenset({0}), tariff=None)
    pairs = paired_windows(
        PricedSide(name="a", schedule=Schedule(id="s", base=CHEAP, weekly=(early,))),
        PricedSide(name="b", schedule=Schedule(id="t", base=DEAR, weekly=(closed,))),
    )
    assert {pair.when: (pair.current, pair.other) for pair in pairs} == {
        "tue-thu 06:00-15:00 18:00-06:00, fri-sun": (CHEAP, DEAR),
        "mon 06:00-15:00 18:00-06:00": (CHEAP, None),
        "tue-thu 15:00-18:00": (EARLY, DEAR),
        "mon 15:00-18:00": (EARLY, None),
    }
    assert sum(pair.minutes for pair in pairs) == 7 * 1440


@pytest.mark.parametrize(
    ("when", "aloud"),
    [
        ("mon-thu 15:00-18:00", "Monday to Thursday 15:00 to 18:00"),
        (
            "mon-thu 06:00-15:00 18:00-06:00, fri-sat 06:00-18:00, sun",
            "Monday to Thursday 06:00 to 15:00 and 18:00 to 06:00; Friday and Saturday 06:00 to 18:00; Sunday",
        ),
    ],
)
def test_times_of_the_week_are_read_aloud(when: str, aloud: str) -> None:
    assert spoken(when) == aloud


SAME = replace(DEAR, id="same")
EARLIER = Weekly(name="Early", days=frozenset(range(4)), start=time(15), end=time(18), tariff=EARLY)


@pytest.mark.parametrize(
    ("sold", "instead", "sentence"),
    [
        # A coin of 1.00 buys a game at 1.00, and two at 0.50.
        (Schedule(id="s", base=SAME, weekly=(EARLIER,)), Schedule(id="t", base=DEAR),
         "Going by the 30.00 USD put in, play may fall by up to 50.0 % before the other prices bring in less, "
         "depending on the window and the kind."),
        (Schedule(id="s", base=DEAR), Schedule(id="t", base=SAME, weekly=(EARLIER,)),
         "Going by the 30.00 USD put in, play must grow by up to 100.0 % before the other prices bring in more, "
         "depending on the window and the kind."),
        (Schedule(id="s", base=EARLY, weekly=(replace(EARLIER, tariff=DEAR),)),
         Schedule(id="t", base=DEAR, weekly=(EARLIER,)),
         "Going by the 30.00 USD put in, under the other prices play must grow by up to 100.0 % in some windows and "
         "kinds, and may fall by up to 50.0 % in others."),
        (Schedule(id="s", base=EARLY, weekly=(EARLIER,)), Schedule(id="t", base=DEAR),
         "The 30.00 USD put in would have bought 30 games instead of 60: the other prices bring in more unless more than "
         "50.0 % of play is lost."),
        (Schedule(id="s", base=SAME, weekly=(replace(EARLIER, tariff=None),)), Schedule(id="t", base=DEAR),
         "Priced as on Monday to Thursday 06:00 to 15:00 and 18:00 to 06:00; Friday to Sunday, the 30.00 USD put in would "
         "have bought 30 games, as many as now."),
    ],
)  # fmt: skip
def test_a_comparison_is_one_sentence_that_can_be_read_aloud(sold: Schedule, instead: Schedule, sentence: str) -> None:
    intake = Intake(counts={100: 30})
    windows = paired_windows(PricedSide(name="a", schedule=sold), PricedSide(name="b", schedule=instead))
    found = compare(windows, WhatIf(intake=intake, amounts=[100]), work=Effort())
    assert whole_sentence(found, windows, intake, "USD") == sentence
