"""Two weeks of prices side by side (N4)."""

from datetime import time

from baizebook.pricing import Ladder, Rung, Schedule, Tariff, Weekly
from baizebook.what_if.paired_windows import PricedSide, paired_windows


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
