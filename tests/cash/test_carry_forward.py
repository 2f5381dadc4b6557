"""What settlements leave for the next: every date reckoned once, every change taken out again by a reversal."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import baizebook.settlements.carried_forward
import pytest
from baizebook.settlements.agreement import Agreement, FirstMoney
from baizebook.settlements.box_contents import Box
from baizebook.settlements.carried_forward import ONE_BY_ONE_MAX, Claim, bounded, change, claims_waiting
from baizebook.settlements.first_money import Period, due, unreckoned
from baizebook.settlements.settlement import Settlement, settle
from hypothesis import given
from hypothesis import strategies as st

START = date(2026, 1, 1)
WEEKLY = Agreement(
    START,
    venue_percent=Fraction(50),
    first_money=(FirstMoney("Charge", 700, "week", START, spread=True), FirstMoney("Fee", 100, "collection", START)),
    id="a",
)


def on(day: int) -> date:
    return START + timedelta(days=day)


def test_the_first_settlement_reckons_all_dates_up_to_its_own() -> None:
    assert unreckoned([], until_on=on(9)) == (Period(None, on(9)),)


def test_a_settlement_reckons_the_dates_that_no_other_has_reckoned() -> None:
    standing = [Period(None, on(3)), Period(on(7), on(12))]
    assert unreckoned(standing, until_on=on(20)) == (Period(on(3), on(7)), Period(on(12), on(20)))
    assert unreckoned(standing, until_on=on(10)) == (Period(on(3), on(7)),)
    assert unreckoned(standing, until_on=on(5)) == (Period(on(3), on(5)),)
    assert unreckoned(standing, until_on=on(2)) == ()


def test_a_reversed_first_settlement_leaves_its_dates_to_the_next() -> None:
    assert unreckoned([Period(on(3), on(7))], until_on=on(9)) == (Period(None, on(3)), Period(on(7), on(9)))


def test_money_per_collection_is_due_once_however_many_periods_are_reckoned() -> None:
    claims = due([WEEKLY], [Period(None, on(2)), Period(on(4), on(6))], on=on(6))
    assert [(claim.name, claim.amount) for claim in claims] == [("Charge", 300), ("Charge", 200), ("Fee", 100)]


def test_what_waits_is_the_sum_of_all_changes_oldest_first() -> None:
    first = change(carried_in=(), carried_forward=(Claim("first_money", 500, on(1), "Charge"),))
    second = change(
        carried_in=(Claim("first_money", 500, on(1), "Charge"),),
        carried_forward=(Claim("first_money", 200, on(1), "Charge"), Claim("house_money", 50, on(8))),
    )
    assert claims_waiting([first, second]) == (
        Claim("first_money", 200, on(1), "Charge"),
        Claim("house_money", 50, on(8)),
    )
    assert claims_waiting([second]) == (Claim("first_money", -300, on(1), "Charge"), Claim("house_money", 50, on(8)))


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 2_000), st.booleans()), min_size=1, max_size=8))
def test_the_operator_claims_each_day_once_also_where_older_claims_are_summed(
    collections: list[tuple[int, int, bool]],
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(baizebook.settlements.carried_forward, "ONE_BY_ONE_MAX", 2)
        settle_come_and_go(collections)


def test_a_hundred_weekly_first_moneys_that_nothing_reaches_do_not_grow() -> None:
    """In three years 15,600 claims fall due; at most two hundred wait, and their sum by name is what fell due."""
    many = Agreement(
        START,
        venue_percent=Fraction(50),
        first_money=tuple(FirstMoney(f"Item {n}", 100 + n, "week", START) for n in range(100)),
        id="a",
    )
    carried: tuple[Claim, ...] = ()
    for week in range(156):
        claims = due([many], [Period(on(7 * week - 1), on(7 * week))], on=on(7 * week))
        made = settle(many, Box(50), currency="USD", trading_on=on(7 * week), due=claims, carried_in=carried)
        carried = made.carried_forward
        assert len(carried) <= ONE_BY_ONE_MAX + 100
    by_name: Counter[str] = Counter()
    for claim in carried:
        by_name[claim.name] += claim.amount
    assert by_name.total() == 156 * sum(100 + n for n in range(100)) - 156 * 50
    assert by_name["Item 99"] == 156 * 199
    assert min(claim.due_on for claim in carried if claim.name == "Item 99") == START


def test_only_what_falls_due_by_itself_is_summed_and_only_past_the_newest_hundred() -> None:
    returned = [Claim("house_money", 5, on(day)) for day in range(200)]
    weekly = [Claim("first_money", 7, on(7 * week), "Charge") for week in range(ONE_BY_ONE_MAX)]
    assert bounded([*returned, *weekly]) == (*returned, *weekly)
    one_more = Claim("first_money", 7, on(7 * ONE_BY_ONE_MAX), "Charge")
    two_more = replace(one_more, due_on=on(7 * ONE_BY_ONE_MAX + 7))
    assert bounded([*weekly, one_more, two_more]) == (replace(weekly[0], amount=14), *weekly[2:], one_more, two_more)
    too_much = Claim("first_money", -7, on(0), "Charge")
    assert too_much in bounded([too_much, *weekly, one_more])


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 2_000), st.booleans()), min_size=1, max_size=8))
def test_however_collections_come_and_go_the_operator_claims_each_day_once(
    collections: list[tuple[int, int, bool]],
) -> None:
    settle_come_and_go(collections)


def settle_come_and_go(collections: list[tuple[int, int, bool]]) -> None:
    """Settle in the order of arrival, reverse some at once, then collect enough: all that fell due was taken, once."""
    standing: list[tuple[Settlement, tuple[Period, ...], tuple[Claim, ...]]] = []

    def settled(day: int, counted: int) -> tuple[Settlement, tuple[Period, ...], tuple[Claim, ...]]:
        periods = unreckoned([period for _, found, _ in standing for period in found], until_on=on(day))
        carried = claims_waiting(change(carried_in=c, carried_forward=s.carried_forward) for s, _, c in standing)
        claims = due([WEEKLY], periods, on=on(day))
        made = settle(WEEKLY, Box(counted), currency="USD", trading_on=on(day), due=claims, carried_in=carried)
        return made, periods, carried

    for day, counted, stays in collections:
        made = settled(day, counted)
        if stays:
            standing.append(made)
        if not stays and standing:
            standing.pop(len(standing) // 2)
    standing.append(settled(48, 1_000_000))
    assert standing[-1][0].carried_forward == ()
    taken = sum(
        line.amount
        for settlement, _, _ in standing
        for line in settlement.lines
        if line.code in ("first_money", "correction")
    )
    assert taken == 7 * 700 + 100 * len(standing)
