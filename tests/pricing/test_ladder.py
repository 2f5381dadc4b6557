"""A prepaid ladder: what money buys, the least money, the next break; and what a ladder may not be."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from baizebook.pricing import Counting, Fault, Ladder, PricingError, Rung, split
from baizebook.pricing.ladder import WAYS_OF_COUNTING, NextBreak
from baizebook.pricing.lines import Line
from baizebook.pricing.money import MAX_MINOR
from hypothesis import given
from hypothesis import strategies as st


def ladder(*rungs: tuple[int, int], counting: Counting = "repeat") -> Ladder:
    return Ladder(tuple(Rung(pays, units) for pays, units in rungs), counting)


WEEKDAY = ladder((75, 1), (400, 6), (700, 11))
MINUTES = ladder((400, 25), (1200, 84))
MINUTES_ONCE = ladder((400, 25), (1200, 84), counting="climb_once")


@st.composite
def ladders(draw: st.DrawFn) -> Ladder:
    """Ladders of up to six rungs, each giving at least what the prices below it give for its money (P3)."""
    counting: Counting = draw(st.sampled_from(WAYS_OF_COUNTING))
    on_the_way: Counting = "repeat" if counting == "repeat" else "climb_once"
    rungs: list[Rung] = []
    for more, extra in draw(st.lists(st.tuples(st.integers(1, 400), st.integers(0, 20)), min_size=1, max_size=6)):
        price = more + (rungs[-1].price if rungs else 0)
        least = max(rungs[-1].units + 1, Ladder(tuple(rungs), on_the_way).total(price)) if rungs else 1
        rungs.append(Rung(price, least + extra))
    return Ladder(tuple(rungs), counting)


def refused(*faults: tuple[str, str]) -> Any:
    """Expect a refusal with these codes and places."""

    def matches(error: PricingError) -> bool:
        return [(fault.code, fault.where) for fault in error.faults] == list(faults)

    return pytest.raises(PricingError, check=matches)


class TestSelling:
    def test_the_lines_say_what_each_rung_sold(self) -> None:
        assert WEEKDAY.sell(1000).lines("games", "USD") == (
            Line("7.00 buys 11 games", 11, 700),
            Line("4 × 0.75, a game each", 4, 300),
        )

    def test_a_rung_sold_again_says_how_often(self) -> None:
        assert MINUTES.sell(2800).lines("minutes", "USD") == (
            Line("2 × 12.00, 84 minutes each", 168, 2400),
            Line("4.00 buys 25 minutes", 25, 400),
        )

    def test_a_single_unit_is_named_in_the_singular(self) -> None:
        assert WEEKDAY.sell(75).lines("games", "USD") == (Line("0.75 buys 1 game", 1, 75),)

    def test_a_currency_without_decimals_is_written_without_them(self) -> None:
        assert ladder((600, 35)).sell(1200).lines("minutes", "JPY") == (Line("2 × 600, 35 minutes each", 70, 1200),)

    def test_no_money_buys_nothing(self) -> None:
        sale = WEEKDAY.sell(0)
        assert (sale.units, sale.spends, sale.left, sale.sold) == (0, 0, 0, ())

    def test_a_ladder_of_one_rung_sells_it_again_whatever_lies_beyond(self) -> None:
        assert ladder((50, 1), counting="climb_once").sell(275) == ladder((50, 1)).sell(275)

    @pytest.mark.parametrize(
        ("counting", "lines"),
        [
            ("repeat", ["10.00 buys 16 games", "2 × 3.00, 4 games each"]),
            ("climb", ["10.00 buys 16 games", "3.00 buys 4 games", "3 × 1.00, a game each"]),
            ("climb_once", ["10.00 buys 16 games", "6 × 1.00, a game each"]),
        ],
    )
    def test_each_way_of_counting_sells_other_prices(self, counting: Counting, lines: list[str]) -> None:
        sale = ladder((100, 1), (300, 4), (1000, 16), counting=counting).sell(1650)
        assert [line.what for line in sale.lines("games", "USD")] == lines
        assert (sale.spends, sale.left) == (1600, 50)

    def test_the_largest_amount_is_sold_like_any_other(self) -> None:
        assert ladder((3, 1)).sell(10**15).lines("games", "USD") == (
            Line("333333333333333 × 0.03, a game each", 333_333_333_333_333, 999_999_999_999_999),
        )

    @pytest.mark.parametrize("money", [-1, MAX_MINOR + 1, 1.0, True])
    def test_money_that_is_no_amount_is_refused(self, money: Any) -> None:
        with refused(("bad_money", "money")):
            WEEKDAY.sell(money)

    @given(ladders(), st.integers(0, 5_000))
    def test_the_lines_add_up_and_all_money_is_spent_or_left(self, priced: Ladder, money: int) -> None:
        sale = priced.sell(money)
        lines = sale.lines("games", "USD")
        assert sum(line.units for line in lines) == sale.units == priced.total(money)
        assert sum(line.amount for line in lines) == sale.spends == money - sale.left
        assert 0 <= sale.left < priced.rungs[0].price

    @given(ladders(), st.integers(0, 5_000), st.integers(0, 500))
    def test_more_money_never_buys_less(self, priced: Ladder, money: int, more: int) -> None:
        assert priced.total(money) <= priced.total(money + more)

    @given(ladders(), st.lists(st.integers(1, 500), max_size=20))
    def test_money_fed_in_bit_by_bit_grants_what_it_buys_at_once(self, priced: Ladder, coins: list[int]) -> None:
        so_far = [sum(coins[:count]) for count in range(len(coins) + 1)]
        granted = [priced.total(after) - priced.total(before) for before, after in pairwise(so_far)]
        assert all(units >= 0 for units in granted)
        assert sum(granted) == priced.total(sum(coins))

    @given(ladders())
    def test_every_rung_gives_its_units_for_its_price(self, priced: Ladder) -> None:
        assert [priced.total(rung.price) for rung in priced.rungs] == [rung.units for rung in priced.rungs]


class TestLeast:
    def test_six_games_cost_less_than_six_single_ones(self) -> None:
        assert [WEEKDAY.least(games) for games in (1, 5, 6, 7, 11, 12, 17)] == [75, 375, 400, 475, 700, 775, 1100]

    def test_past_the_highest_rung_single_units_follow_where_it_is_sold_once(self) -> None:
        assert [MINUTES_ONCE.least(minutes) for minutes in (84, 85, 109, 110)] == [1200, 1600, 1600, 2000]

    @given(ladders(), st.integers(1, 10_000))
    def test_the_least_buys_the_units_and_a_minor_unit_less_does_not(self, priced: Ladder, units: int) -> None:
        least = priced.least(units)
        assert priced.total(least) >= units > priced.total(least - 1)

    @pytest.mark.parametrize("ask", [WEEKDAY.least, lambda units: split(WEEKDAY, units)])
    def test_only_1_to_10_000_units_can_be_asked_for(self, ask: Any) -> None:
        ask(10_000)
        with refused(("bad_units", "units")):
            ask(0)
        with refused(("bad_units", "units")):
            ask(True)
        with refused(("too_many_units", "units")):
            ask(10_001)

    def test_units_that_cost_more_than_the_largest_amount_are_refused(self) -> None:
        with refused(("too_many_units", "units")):
            ladder((MAX_MINOR, 1)).least(2)


class TestSplitting:
    def test_two_purchases_beat_one_where_the_highest_rung_is_sold_once(self) -> None:
        assert MINUTES_ONCE.least(168) == 2800
        assert split(MINUTES_ONCE, 168) == (1200, 1200)

    def test_there_is_no_plan_where_one_purchase_is_as_cheap(self) -> None:
        assert split(WEEKDAY, 12) == ()
        assert split(MINUTES, 168) == ()

    def test_parts_that_lose_nothing_together_are_one_purchase(self) -> None:
        # Fifteen games are five times three; paid in one go the fifth would meet the break at 4.50.
        awkward = ladder((100, 3), (450, 14))
        assert awkward.least(15) == 550
        assert split(awkward, 15) == (300, 200)


class TestNextBreak:
    @pytest.mark.parametrize(
        ("money", "add", "games"),
        [(0, 400, 6), (399, 1, 6), (400, 300, 11), (700, 400, 17), (1000, 100, 17), (1100, 300, 22), (1399, 1, 22)],
    )
    def test_it_is_the_least_money_that_completes_a_price_break(self, money: int, add: int, games: int) -> None:
        assert WEEKDAY.next_break(money) == NextBreak(add, games)

    def test_a_plain_price_has_none(self) -> None:
        assert ladder((50, 1)).next_break(100) is None

    @pytest.mark.parametrize(
        ("counting", "found"),
        [
            ("repeat", {0: (300, 4), 300: (300, 8), 900: (100, 16), 1000: (300, 20), 1900: (100, 32)}),
            ("climb", {0: (300, 4), 300: (700, 16), 900: (100, 16), 1000: (300, 20), 1300: (700, 32)}),
            ("climb_once", {0: (300, 4), 300: (700, 16), 900: (100, 16), 1000: None, 1900: None}),
        ],
    )
    def test_each_way_of_counting_has_its_own(self, counting: Counting, found: dict[int, Any]) -> None:
        example_c = ladder((100, 1), (300, 4), (1000, 16), counting=counting)
        assert {money: example_c.next_break(money) for money in found} == {
            money: pair and NextBreak(*pair) for money, pair in found.items()
        }

    def test_there_is_none_after_the_highest_rung_where_it_is_sold_once(self) -> None:
        assert MINUTES_ONCE.next_break(1199) == NextBreak(1, 84)
        assert MINUTES_ONCE.next_break(1200) is None

    def test_there_is_none_past_the_largest_amount(self) -> None:
        assert WEEKDAY.next_break(MAX_MINOR) is None


class TestRefusing:
    def test_a_rung_that_gives_less_than_those_below_it_for_the_same_money(self) -> None:
        with pytest.raises(PricingError) as refusal:
            ladder((75, 1), (400, 6), (800, 11))
        assert refusal.value.faults == (
            Fault(
                "price_break_worse",
                "prices[2].units",
                "11",
                "at least 12, what the prices below it give for the same money",
            ),
        )

    def test_a_rung_that_gives_as_much_as_those_below_it_stands(self) -> None:
        assert ladder((75, 1), (400, 6), (800, 12)).total(800) == 12

    def test_every_rung_that_does_not_rise_at_once(self) -> None:
        with refused(("prices_not_rising", "prices[1].price"), ("prices_not_rising", "prices[2].units")):
            ladder((75, 1), (75, 6), (700, 6))

    def test_no_rungs_and_more_than_fifty(self) -> None:
        with refused(("bad_price_count", "prices")):
            Ladder(())
        assert ladder(*((100 * n, n) for n in range(1, 51))).total(5_000) == 50
        with refused(("bad_price_count", "prices")):
            ladder(*((100 * n, n) for n in range(1, 52)))

    def test_a_ladder_may_climb_where_it_could_not_repeat(self) -> None:
        # 10.00 meets 11 on the way up, but three threes and a one where every price counts again.
        for counting in ("climb", "climb_once"):
            assert ladder((100, 1), (300, 4), (1000, 12), counting=counting).total(999) == 10  # type: ignore[arg-type]
        with refused(("price_break_worse", "prices[2].units")):
            ladder((100, 1), (300, 4), (1000, 12))

    def test_two_prices_count_the_same_whether_the_ladder_repeats_or_climbs(self) -> None:
        for priced in (ladder((75, 1)), ladder((75, 1), (400, 6)), WEEKDAY, ladder((100, 1), (300, 4), (1000, 16))):
            by_way = {way: Ladder(priced.rungs, way) for way in WAYS_OF_COUNTING}
            totals = {way: [one.total(money) for money in range(3_000)] for way, one in by_way.items()}
            for way, one in by_way.items():
                assert totals[way] == totals[one.counts_as]
                assert (one.counts_as == "repeat") == (totals[way] == totals["repeat"])

    def test_an_unknown_way_of_counting(self) -> None:
        with refused(("bad_counting", "counting")):
            ladder((75, 1), counting="top_rung")  # type: ignore[arg-type]

    @pytest.mark.parametrize(
        ("pays", "units", "places"),
        [
            (0, 1, ["price"]),
            (75, 0, ["units"]),
            (-75, -1, ["price", "units"]),
            (0.75, "1", ["price", "units"]),
            (True, 1, ["price"]),
            (MAX_MINOR + 1, 1_000_001, ["price", "units"]),
        ],
    )
    def test_a_rung_without_a_price_or_without_units(self, pays: Any, units: Any, places: list[str]) -> None:
        with refused(*(("bad_price", place) for place in places)):
            Rung(pays, units)
