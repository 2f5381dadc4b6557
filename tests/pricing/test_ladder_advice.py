"""Advice on a ladder: what it says, and that it stays quick."""

from __future__ import annotations

from baizebook.pricing import Counting, Ladder, Rung, advice
from baizebook.pricing.ladder_advice import STEPS_SHOWN_MAX
from baizebook.pricing.lines import Advice


def ladder(*rungs: tuple[int, int], counting: Counting = "repeat") -> Ladder:
    return Ladder(tuple(Rung(pays, units) for pays, units in rungs), counting)


def only(code: str, found: tuple[Advice, ...]) -> Advice:
    (advised,) = (one for one in found if one.code == code)
    return advised


def test_a_plain_price_needs_no_advice() -> None:
    assert advice(ladder((100, 1)), "games", "USD") == ()


def test_a_break_that_gives_only_what_single_games_give() -> None:
    assert advice(ladder((100, 1), (400, 4)), "games", "USD") == (
        Advice(
            "break_adds_nothing",
            "4.00 buys 4 games with or without this price break.",
            "games",
            amount=400,
            units=4,
            instead_units=4,
        ),
    )


def test_an_amount_that_buys_less_than_it_would_without_the_higher_break() -> None:
    # Two threes are twenty minutes; the break at four takes one of them.
    assert only("higher_break_takes_away", advice(ladder((300, 10), (400, 11)), "minutes", "USD")) == Advice(
        "higher_break_takes_away",
        "6.00 buys 11 minutes; without the price break at 4.00 it would buy 20.",
        "minutes",
        amount=600,
        units=11,
        instead_units=20,
    )


def test_what_the_highest_break_takes_away_is_seen_beyond_twice_the_rung_below_it() -> None:
    assert only("higher_break_takes_away", advice(ladder((400, 4), (1100, 9)), "games", "USD")) == Advice(
        "higher_break_takes_away",
        "12.00 buys 9 games; without the price break at 11.00 it would buy 12.",
        "games",
        amount=1200,
        units=9,
        instead_units=12,
    )


def test_two_purchases_that_get_more_than_one_of_the_same_money() -> None:
    assert advice(ladder((400, 25), (1200, 84), counting="climb_once"), "minutes", "USD") == (
        Advice(
            "splitting_pays",
            "12.00 and then 12.00 buy 168 minutes; 24.00 in one purchase buys 159.",
            "minutes",
            amount=2400,
            units=159,
            instead_units=168,
            parts=(1200, 1200),
        ),
    )


def test_a_run_of_free_games_is_one_advice() -> None:
    assert advice(ladder((200, 1), (400, 4)), "games", "USD") == (
        Advice(
            "free_unit",
            "Games 3 to 4 are free: 2 games and 4 games both cost 4.00.",
            "games",
            amount=400,
            units=3,
            instead_units=4,
        ),
    )


def test_free_minutes_are_no_news() -> None:
    assert advice(ladder((400, 25)), "minutes", "USD") == ()


def test_only_the_lowest_steps_of_a_huge_ladder_are_looked_at() -> None:
    small = ladder((1, 1), (100, 101), counting="climb_once")
    assert only("splitting_pays", advice(small, "minutes", "JPY")).parts == (100, 100)
    huge = ladder((1, 1), (STEPS_SHOWN_MAX + 100, STEPS_SHOWN_MAX + 101), counting="climb_once")
    assert advice(huge, "minutes", "JPY") == ()


def test_the_top_price_of_a_climbing_ladder_takes_away_where_the_count_would_have_started_over() -> None:
    climbing = ladder((100, 1), (300, 4), (1000, 16), counting="climb")
    assert only("higher_break_takes_away", advice(climbing, "games", "USD")) == Advice(
        "higher_break_takes_away",
        "6.00 buys 7 games; without the price break at 10.00 it would buy 8.",
        "games",
        amount=600,
        units=7,
        instead_units=8,
    )
    assert only("splitting_pays", advice(climbing, "games", "USD")).parts == (300, 300)
