"""Which way a controller counts (P11): a worked example, and hidden machines that are found out with a few sums."""

from __future__ import annotations

from contextlib import suppress
from random import Random
from typing import Any

import pytest
from baizebook.pricing import Counting, Ladder, PricingError, Rung, check_counting
from baizebook.pricing.counting_check import CANDIDATES_MAX, NextSum, RuledOut, Seen, prices_seen
from baizebook.pricing.ladder import WAYS_OF_COUNTING

EXAMPLE_C = (Rung(100, 1), Rung(300, 4), Rung(1000, 16))
REPEAT, CLIMB, CLIMB_ONCE = (Ladder(EXAMPLE_C, way) for way in WAYS_OF_COUNTING)
SUMS_MAX = 5


def every_way(rungs: tuple[Rung, ...]) -> list[Ladder]:
    """Return the prices counted in every way that makes a ladder of them (P3)."""
    found = []
    for way in WAYS_OF_COUNTING:
        with suppress(PricingError):
            found.append(Ladder(rungs, way))
    return found


def test_before_anything_is_seen_every_way_fits_and_one_sum_tells_all_three_apart() -> None:
    check = check_counting(every_way(EXAMPLE_C), [])
    assert (check.fits, check.ruled_out) == ((REPEAT, CLIMB, CLIMB_ONCE), ())
    # Up to 15.00 two of the three show the same (rule P1's table: 6.00 and 13.00 part only one of them).
    assert check.next_sum == NextSum(1600, ((22, (CLIMB_ONCE,)), (23, (CLIMB,)), (24, (REPEAT,))))


def test_the_first_observation_that_a_way_does_not_give_rules_it_out() -> None:
    seen = [Seen(300, 4), Seen(600, 7), Seen(1300, 20), Seen(1600, 23)]
    check = check_counting(every_way(EXAMPLE_C), seen)
    assert check.fits == (CLIMB,)
    assert check.ruled_out == (RuledOut(REPEAT, 1, 8), RuledOut(CLIMB_ONCE, 2, 19))
    assert check.next_sum is None


def test_two_settings_are_told_apart_like_two_ways_of_counting() -> None:
    dearer = Ladder((Rung(100, 1), Rung(400, 5)))
    check = check_counting([REPEAT, dearer], [Seen(100, 1), Seen(200, 2)])
    assert check.next_sum == NextSum(300, ((3, (dearer,)), (4, (REPEAT,))))


def test_the_next_sum_is_one_that_the_table_can_take() -> None:
    check = check_counting([REPEAT, CLIMB], [], accepts=(700,))
    assert check.next_sum == NextSum(700, ((8, (CLIMB,)), (9, (REPEAT,))))
    assert check_counting([REPEAT, CLIMB], [], accepts=(500,)).next_sum is None
    assert check_counting([REPEAT, CLIMB], []).next_sum == NextSum(600, ((7, (CLIMB,)), (8, (REPEAT,))))


def test_ways_that_no_sum_tells_apart_all_remain() -> None:
    two_prices = every_way((Rung(100, 1), Rung(300, 4)))
    check = check_counting(two_prices, [Seen(600, 8)])
    assert [ladder.counting for ladder in check.fits] == ["repeat", "climb"]
    assert check.next_sum is None


def test_prices_that_nobody_knows_are_read_from_what_was_seen() -> None:
    coin_by_coin = [Seen(100 * coins, REPEAT.total(100 * coins)) for coins in range(1, 11)]
    assert prices_seen(coin_by_coin)[0] == REPEAT
    climbing = [Seen(100 * coins, CLIMB.total(100 * coins)) for coins in range(1, 27)]
    check = check_counting(prices_seen(climbing), climbing)
    assert CLIMB in check.fits
    assert "repeat" not in {ladder.counting for ladder in check.fits}
    assert prices_seen([Seen(50, 0)]) == prices_seen([]) == ()


@pytest.mark.parametrize("lists", [1, 2, 4])
def test_a_hidden_machine_is_found_out_with_at_most_five_sums(lists: int) -> None:
    random = Random(lists)
    for _ in range(200):
        candidates = [ladder for _ in range(lists) for ladder in every_way(random_rungs(random))]
        hidden = random.choice(candidates)
        accepts = random.choice([None, (25,), (25, 100, 500)])
        seen: list[Seen] = []
        check = check_counting(candidates, seen, accepts=accepts)
        while check.next_sum is not None:
            assert len(seen) < SUMS_MAX
            seen.append(Seen(check.next_sum.money, hidden.total(check.next_sum.money)))
            check = check_counting(candidates, seen, accepts=accepts)
            assert hidden in check.fits
        sums = range(0, 3 * max(ladder.rungs[-1].price for ladder in candidates) + 1, 25)
        for other in check.fits:
            assert [other.total(money) for money in sums] == [hidden.total(money) for money in sums]


@pytest.mark.parametrize("way", WAYS_OF_COUNTING)
def test_a_hidden_machine_fed_coin_by_coin_shows_its_prices(way: Counting) -> None:
    random = Random(7)
    found = 0
    while found < 100:
        hidden = next((one for one in every_way(random_rungs(random)) if one.counting == way), None)
        if hidden is None or any(rung.units == hidden.units_below(i) for i, rung in enumerate(hidden.rungs)):
            continue  # A price that adds nothing cannot be seen.
        found += 1
        coins = range(25, 3 * hidden.rungs[-1].price + 1, 25)
        seen = [Seen(money, hidden.total(money)) for money in coins]
        fits = check_counting(prices_seen(seen), seen).fits
        assert hidden.counts_as in {ladder.counts_as for ladder in fits if ladder.rungs == hidden.rungs}


def test_the_dearest_question_allowed_stays_quick() -> None:
    ladders = [
        ladder
        for first in range(20)
        for ladder in every_way(tuple(Rung(7 + first + 101 * n, 1 + 17 * n) for n in range(50)))
    ][:CANDIDATES_MAX]
    assert check_counting(ladders, [Seen(money, money) for money in range(1, 1001)]).fits == ()
    assert check_counting(ladders, []).next_sum is not None


@pytest.mark.parametrize(
    ("seen", "codes"),
    [
        ([Seen(0, 0)], ["bad_money"]),
        ([Seen(100, -1), Seen(True, 1)], ["bad_units", "bad_money"]),
        ([Seen(100, 1)] * 1001, ["too_much_work"]),
    ],
)
def test_observations_that_cannot_be_are_refused(seen: list[Seen], codes: list[str]) -> None:
    def matches(error: PricingError) -> bool:
        return [fault.code for fault in error.faults] == codes

    refusal: Any = pytest.raises(PricingError, check=matches)
    with refusal:
        check_counting([REPEAT], seen)


def random_rungs(random: Random) -> tuple[Rung, ...]:
    """Prices of one to five rungs in steps of 0.25, such as a table has, that make a ladder in some way of counting."""
    while True:
        size = random.randint(1, 5)
        prices = sorted(random.sample(range(1, 60), size))
        units = sorted(random.sample(range(1, 80), size))
        rungs = tuple(Rung(25 * price, count) for price, count in zip(prices, units, strict=True))
        if every_way(rungs):
            return rungs
