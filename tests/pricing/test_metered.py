"""Metered time: what a play costs, how long money lasts, and what the rates refuse."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from baizebook.pricing.errors import PricingError
from baizebook.pricing.lines import Advice, Line
from baizebook.pricing.metered import Charge, Lasts, charge, lasts, metered_advice
from baizebook.pricing.play import Piece
from baizebook.pricing.rate import Cap, Rate, Tier
from hypothesis import given, settings
from hypothesis import strategies as st

START = datetime(2026, 12, 1, 20, tzinfo=UTC)
HALL = Rate((Tier(0, 900, 60, 15),), minimum=300, maximum=Cap(4000, 720))
FREE = "free"
CLOSED = None


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def pieces(*parts: tuple[float, Rate | str | None]) -> list[Piece]:
    """A play from its parts, each its minutes and what holds: a rate, ``FREE`` or ``CLOSED``."""
    found, start = [], START
    for minutes, holds in parts:
        end = start + timedelta(minutes=minutes)
        found.append(Piece(start, end, holds if isinstance(holds, Rate) else None, free=holds == FREE))
        start = end
    return found


def cost(*parts: tuple[float, Rate | str | None], players: int = 1) -> Charge:
    return charge(pieces(*parts), players=players, currency="USD")


def lasting(money: int, *parts: tuple[float, Rate | str | None], players: int = 1) -> Lasts:
    return lasts(pieces(*parts), money=money, players=players, currency="USD")


def by_minute(price: int, **terms: object) -> Rate:
    return Rate((Tier(0, price, 60, 1),), **terms)  # type: ignore[arg-type]


# What a play costs


def test_fifty_minutes_in_quarter_hours_are_billed_as_an_hour() -> None:
    assert cost((50, HALL)) == Charge(900, 60, (Line("60 minutes at 9.00 an hour", 60, 900),))


def test_a_play_of_exactly_an_hour_has_used_nothing_of_the_tier_that_starts_there() -> None:
    rate = Rate((Tier(0, 600, 60), Tier(60, 1000, 60)))

    assert cost((60, rate)).total == 600
    assert cost((60 + 1 / 60, rate)).total == 1600


def test_the_moved_end_stays_in_its_tier() -> None:
    rate = Rate((Tier(0, 600, 60, 30), Tier(60, 2, 1, 45)))

    assert cost((31, rate)).minutes_billed == 60
    assert cost((61, rate)).minutes_billed == 105


def test_a_play_of_no_length_costs_nothing() -> None:
    assert cost((0, by_minute(900, start_fee=200, minimum=300))) == Charge(0, 0, ())


def test_a_short_play_costs_the_minimum_and_says_so() -> None:
    assert cost((10, HALL)).lines == (
        Line("15 minutes at 9.00 an hour", 15, 225),
        Line("At least 3.00 for the whole play", 0, 75),
    )


def test_the_start_fee_counts_within_the_capped_slice() -> None:
    rate = Rate((Tier(0, 50, 1),), start_fee=300, maximum=Cap(1500, 720))

    assert cost((10, rate)).total == 800
    assert cost((720, rate)).total == 1500
    assert cost((725, rate)).total == 1500 + 5 * 50
    assert cost((3 * 720, rate)).total == 3 * 1500
    assert cost((725, rate)).lines == (
        Line("Start fee of 3.00", 0, 300),
        Line("725 minutes at 0.50 a minute", 725, 36250),
        Line("At most 15.00 every 12 hours", 0, -34800),
    )


def test_a_cap_without_minutes_caps_the_whole_play() -> None:
    found = cost((10 * 60, by_minute(900, maximum=Cap(4000))))

    assert found.total == 4000
    assert found.lines[-1] == Line("At most 40.00 for the whole play", 0, -5000)


def test_a_quiet_slice_does_not_make_room_in_a_full_one() -> None:
    rate = Rate((Tier(0, 1000, 60), Tier(60, 100, 60)), maximum=Cap(500, 60))

    assert cost((120, rate)).total == 500 + 100


def test_each_player_pays_rate_fee_minimum_and_maximum() -> None:
    rate = by_minute(600, per="player", start_fee=100, minimum=300, maximum=Cap(1000))

    assert cost((30, rate), players=4).total == 4 * 400
    assert cost((1, rate), players=4).total == 4 * 300
    assert cost((600, rate), players=4).total == 4 * 1000
    assert cost((30, rate), players=4).lines == (
        Line("Start fee of 1.00 for each of 4 players", 0, 400),
        Line("30 minutes at 6.00 an hour for each of 4 players", 30, 1200),
    )


def test_players_do_not_matter_where_the_table_is_charged() -> None:
    assert cost((60, HALL), players=4) == cost((60, HALL))


def test_three_lines_of_a_third_of_a_cent_are_allotted_so_that_they_add_up() -> None:
    rate = Rate((Tier(0, 100, 60, 1), Tier(20, 101, 60, 1), Tier(40, 102, 60, 1)))

    found = cost((60, rate))

    assert found.total == 101
    assert [line.amount for line in found.lines] == [33, 34, 34]


def test_half_a_cent_is_rounded_up_once() -> None:
    assert cost((1, by_minute(30))).total == 1
    assert cost((1, by_minute(30)), (1, by_minute(31))).total == 1


def test_a_price_for_the_whole_play_is_that_of_the_highest_tier_reached() -> None:
    rate = Rate((Tier(0, 1000), Tier(60, 1500), Tier(180, 1200)), tier_mode="set", start_fee=50)

    assert cost((60, rate)).total == 1050
    assert cost((61, rate)).total == 1550
    assert cost((181, rate)).lines == (
        Line("Start fee of 0.50", 0, 50),
        Line("181 minutes at 12.00 for a play of more than 180 minutes", 181, 1200),
    )


# Across pieces


def test_elapsed_time_and_tiers_go_on_counting_across_a_change_of_tariff() -> None:
    day = Rate((Tier(0, 600, 60, 1), Tier(60, 300, 60, 1)))
    night = Rate((Tier(0, 1200, 60, 1), Tier(60, 900, 60, 1)))

    assert cost((30, day), (60, night)).total == 300 + 600 + 450


def test_a_step_that_no_longer_applies_makes_a_longer_play_cheaper() -> None:
    # M4: only the last piece's step applies, so the hour begun is charged to the minute once the tariff has changed.
    by_hour, later = Rate((Tier(0, 1000, 60),)), by_minute(600)

    assert cost((30, by_hour)).total == 1000
    assert cost((30, by_hour), (1, later)).total == 510
    assert lasting(999, (30, by_hour), (30, later)).minutes == 0


def test_fee_minimum_and_maximum_are_those_at_the_start() -> None:
    day, night = by_minute(600, start_fee=100, maximum=Cap(500)), by_minute(600, start_fee=700, minimum=9000)

    assert cost((6, day), (6, night)).total == 100 + 60 + 60
    assert cost((6, day), (600, night)).total == 500


def test_a_free_piece_costs_nothing_and_bills_no_minutes() -> None:
    found = cost((30, HALL), (45, FREE), (15, HALL))

    assert found == Charge(675, 45, (Line("45 minutes at 9.00 an hour", 45, 675), Line("45 minutes free", 0, 0)))


def test_a_play_that_ends_free_is_billed_to_the_change_without_a_step() -> None:
    found = cost((20.5, HALL), (60, FREE))

    assert found.total == 308
    assert found.minutes_billed == 21
    assert found.lines[0].what == "20 minutes 30 seconds at 9.00 an hour"


def test_a_play_that_begins_free_has_no_fee_minimum_or_maximum() -> None:
    rate = by_minute(600, start_fee=500, minimum=9000, maximum=Cap(9000))

    assert cost((30, FREE), (30, rate)).total == 300
    assert cost((30, FREE), (1200, rate)).total == 12000
    assert cost((30, FREE)).total == 0


def test_a_play_goes_on_at_the_last_rate_where_no_time_is_sold_with_a_caution() -> None:
    found = cost((30, HALL), (30, CLOSED))

    assert found == Charge(900, 60, (Line("60 minutes at 9.00 an hour", 60, 900),), ("continued_at_last_rate",))


def test_a_play_that_began_free_stays_free_where_no_time_is_sold_with_a_caution() -> None:
    assert cost((30, FREE), (30, CLOSED)) == Charge(0, 0, (Line("60 minutes free", 0, 0),), ("continued_at_last_rate",))


def test_a_rate_of_the_other_mode_cannot_price_a_play_begun_so_it_goes_on_at_the_last() -> None:
    of_play = Rate((Tier(0, 1000),), tier_mode="set")

    assert cost((30, HALL), (30, of_play)).total == 900
    assert cost((30, of_play), (600, HALL)).total == 1000
    assert cost((30, of_play), (600, HALL)).cautions == ("continued_at_last_rate",)


def test_a_set_price_keeps_the_rate_that_was_in_force_when_its_tier_was_reached() -> None:
    day = Rate((Tier(0, 1000), Tier(60, 1500)), tier_mode="set")
    night = Rate((Tier(0, 2000), Tier(60, 3000)), tier_mode="set")

    assert cost((30, day), (15, night)).total == 1000
    assert cost((30, day), (31, night)).total == 3000
    assert cost((90, day), (60, night)).total == 1500
    assert cost((30, FREE), (15, day)).total == 1000
    assert cost((30, day), (60, FREE)).total == 1000
    assert cost((30, day), (60, FREE), (1, day)).total == 1500


def test_under_set_a_sliced_maximum_allows_its_amount_for_every_slice_begun() -> None:
    rate = Rate((Tier(0, 5000),), tier_mode="set", maximum=Cap(1500, 60))

    assert [cost((minutes, rate)).total for minutes in (60, 61, 121, 181, 500)] == [1500, 3000, 4500, 5000, 5000]


def test_the_players_count_for_each_rate_by_its_own_rule() -> None:
    table, player = by_minute(600), by_minute(300, per="player")

    assert cost((60, table), (60, player), players=3).total == 600 + 3 * 300


# What is refused


def faults_of(error: pytest.ExceptionInfo[PricingError]) -> list[tuple[str, str]]:
    return [(fault.code, fault.where) for fault in error.value.faults]


def test_a_play_does_not_start_where_no_time_is_sold() -> None:
    with pytest.raises(PricingError) as error:
        cost((30, CLOSED), (30, HALL))
    assert faults_of(error) == [("kind_not_sold", "pieces[0]")]


def test_a_gap_between_pieces_a_crowd_and_a_month_are_refused_at_once() -> None:
    gap = [Piece(at(0), at(30), HALL), Piece(at(31), at(31 * 1440 + 1), HALL)]

    with pytest.raises(PricingError) as error:
        charge(gap, players=101, currency="USD")
    assert faults_of(error) == [
        ("bad_players", "players"),
        ("pieces_not_contiguous", "pieces[1].from_at"),
        ("play_too_long", "pieces"),
    ]


def test_a_play_of_31_days_is_priced() -> None:
    assert cost((31 * 1440, HALL)).total == 62 * 4000


def test_no_pieces_are_no_play() -> None:
    with pytest.raises(PricingError) as error:
        cost()
    assert faults_of(error) == [("no_pieces", "pieces")]


def test_a_piece_needs_offsets_an_order_and_no_price_where_it_is_free() -> None:
    naive = datetime(2026, 12, 1, 20)  # noqa: DTZ001

    with pytest.raises(PricingError) as error:
        Piece(naive, naive, HALL, free=True)
    assert faults_of(error) == [("bad_piece", "from_at"), ("bad_piece", "to_at"), ("bad_piece", "rate")]
    with pytest.raises(PricingError) as error:
        Piece(at(1), at(0), HALL)
    assert faults_of(error) == [("bad_piece", "to_at")]


@pytest.mark.parametrize(
    ("build", "faults"),
    [
        (
            lambda: Tier(-1, -1, 0, 525_601),
            [("bad_tier", w) for w in ["from_minutes", "price", "per_minutes", "step_minutes"]],
        ),
        (lambda: Tier(0, 100.0, 60), [("bad_tier", "price")]),  # type: ignore[arg-type]
        (lambda: Cap(-1, 0), [("bad_cap", "amount"), ("bad_cap", "per_minutes")]),
        (lambda: Rate(()), [("bad_rate", "tiers")]),
        (lambda: Rate(tuple(Tier(n, 1, 1) for n in range(51))), [("bad_rate", "tiers")]),
        (lambda: Rate((Tier(0, 1, 1), Tier(5, 1))), [("bad_rate", "tiers[1].per_minutes")]),
        (
            lambda: Rate((Tier(0, 1), Tier(5, 1, 1, 1)), tier_mode="set"),
            [("bad_rate", "tiers[1].per_minutes"), ("bad_rate", "tiers[1].step_minutes")],
        ),
        (
            lambda: Rate((Tier(1, 1, 1), Tier(9, 1, 1), Tier(9, 1, 1))),
            [("tiers_not_rising", "tiers[0].from_minutes"), ("tiers_not_rising", "tiers[2].from_minutes")],
        ),
        (lambda: Rate((Tier(0, 1, 60, 45), Tier(60, 1, 1))), [("tier_not_whole_steps", "tiers[0].step_minutes")]),
        (lambda: Rate((Tier(0, 1, 45), Tier(60, 1, 1))), [("tier_not_whole_steps", "tiers[0].per_minutes")]),
        (
            lambda: Rate((Tier(0, 1),), tier_mode="both", per="ball", start_fee=-1, minimum=2, maximum=Cap(1)),  # type: ignore[arg-type]
            [
                ("bad_rate", "tier_mode"),
                ("bad_rate", "per"),
                ("bad_rate", "start_fee"),
                ("minimum_above_maximum", "minimum"),
            ],
        ),
    ],
)
def test_a_rate_that_makes_no_sense_does_not_exist_and_all_its_faults_are_named(
    build: Callable[[], object], faults: list[tuple[str, str]]
) -> None:
    with pytest.raises(PricingError) as error:
        build()
    assert faults_of(error) == faults


# How long money lasts


def test_ten_dollars_last_the_hour_that_nine_buy() -> None:
    assert lasting(1000, (600, HALL)) == Lasts(60, False, cost((60, HALL)))


def test_money_that_does_not_reach_fee_or_minimum_lasts_no_time() -> None:
    assert lasting(299, (600, HALL)) == Lasts(0, False, None)
    assert lasting(99, (600, by_minute(600, start_fee=100))) == Lasts(0, False, None)


def test_money_that_reaches_the_cap_lasts_without_limit() -> None:
    found = lasting(4000, (720, HALL))

    assert found == Lasts(None, True, cost((720, HALL)))
    assert found.charge is not None
    assert found.charge.total == 4000


def test_no_money_lasts_without_limit_where_play_is_free_and_until_then_where_it_ends() -> None:
    assert lasting(0, (600, FREE)).unlimited
    assert lasting(0, (30, FREE), (60, HALL)).minutes == 30
    assert lasting(0, (60, Rate((Tier(0, 0, 20), Tier(20, 10, 1))))).minutes == 20


def test_money_lasts_to_the_first_minute_that_costs_more_even_where_a_later_one_is_cheaper() -> None:
    rate = Rate((Tier(0, 1000), Tier(60, 1500), Tier(180, 800)), tier_mode="set")

    assert lasting(1200, (600, rate)).minutes == 60


def test_money_crosses_into_a_dearer_tariff() -> None:
    assert lasting(1000, (60, by_minute(600)), (600, by_minute(1200))).minutes == 80


@pytest.mark.parametrize("money", [-1, 10**15 + 1, 1.0])
def test_money_that_is_none_is_refused(money: int) -> None:
    with pytest.raises(PricingError) as error:
        lasting(money, (60, HALL))
    assert faults_of(error) == [("bad_money", "money")]


# Advice


def test_a_longer_play_that_is_cheaper_is_named() -> None:
    rate = Rate((Tier(0, 800), Tier(60, 1500), Tier(180, 1200), Tier(240, 1000)), tier_mode="set")

    assert metered_advice(rate, currency="USD") == (
        Advice(
            "longer_is_cheaper",
            "A play of 61 minutes costs 15.00, one of 181 minutes only 12.00",
            "metered",
            amount=1500,
            units=61,
            instead_amount=1200,
            instead_units=181,
        ),
    )


def test_a_longer_play_at_the_same_price_is_not_cheaper() -> None:
    rate = Rate((Tier(0, 1500), Tier(60, 1500), Tier(120, 1000)), tier_mode="set")

    assert [(found.units, found.instead_units) for found in metered_advice(rate, currency="USD")] == [(1, 121)]


def test_there_is_no_advice_on_prices_that_rise_or_that_the_minimum_levels() -> None:
    assert metered_advice(Rate((Tier(0, 800), Tier(60, 1500)), tier_mode="set"), currency="USD") == ()
    assert metered_advice(Rate((Tier(0, 800), Tier(60, 500)), tier_mode="set", minimum=800), currency="USD") == ()
    assert metered_advice(Rate((Tier(0, 800, 60), Tier(60, 1, 60))), currency="USD") == ()


# Properties. Rates are small, so that tiers, slices, steps and pieces meet; prices are odd, so that cents do not.

Parts = list[tuple[int, Rate | str | None]]

amounts = st.integers(0, 400)


@st.composite
def tiers_of(draw: st.DrawFn, mode: str) -> tuple[Tier, ...]:
    found, start = [], 0
    for _ in range(draw(st.integers(1, 4))):
        if mode == "set":
            found.append(Tier(start, draw(amounts)))
            start += draw(st.integers(1, 25))
        else:
            step = draw(st.integers(1, 12))
            found.append(Tier(start, draw(amounts), draw(st.integers(1, 25)), step))
            start += step * draw(st.integers(1, 4))
    return tuple(found)


@st.composite
def rates(draw: st.DrawFn, mode: str | None = None) -> Rate:
    mode = mode or draw(st.sampled_from(["add", "set"]))
    tiers = draw(tiers_of(mode))
    most = draw(st.none() | st.builds(Cap, st.integers(0, 600), st.none() | st.integers(1, 40)))
    minimum = draw(st.integers(0, most.amount if most else 300))
    per = draw(st.sampled_from(["table", "player"]))
    return Rate(tiers, mode, draw(st.integers(0, 200)), per, minimum, most)  # type: ignore[arg-type]


@st.composite
def plays(draw: st.DrawFn) -> Parts:
    mode = draw(st.sampled_from(["add", "set"]))
    rate = rates(mode)
    start = draw(rate | st.just(FREE))
    others = draw(st.lists(rate | rate | rates() | st.sampled_from([FREE, CLOSED]), max_size=3))
    return [(draw(st.integers(1, 40)), holds) for holds in [start, *others]]


def minute_by_minute(parts: Parts, length: int, players: int) -> int:
    """The price of a play of ``length`` minutes, from the rules, by looking at every minute of it."""
    if length == 0:
        return 0
    first, mode, minutes = rate_by_minute(parts, length)
    terms = first or Rate((Tier(0, 0, 1),))
    parties = players if terms.per == "player" else 1
    cap = terms.maximum or Cap(10**9)
    capped_slice, most = cap.per_minutes or 10**9, cap.amount * parties
    if mode == "set":
        raw = terms.start_fee * parties + price_of_the_play(minutes, players)
        exact = Fraction(min(raw, most * len({minute // capped_slice for minute in range(length)})))
    else:
        slices = {0: Fraction(terms.start_fee * parties)}
        for minute, price in enumerate(price_by_minute(minutes, players)):
            slices[minute // capped_slice] = slices.get(minute // capped_slice, Fraction(0)) + price
        exact = sum((min(part, Fraction(most)) for part in slices.values()), Fraction(0))
    return max(int(exact + Fraction(1, 2)), terms.minimum * parties)


def rate_by_minute(parts: Parts, length: int) -> tuple[Rate | None, str, list[Rate | None]]:
    """The rate at the start, the mode, and the rate that is charged in every minute; ``None`` is free."""
    holds = [what for minutes, what in parts for _ in range(minutes)][:length]
    mode = next((what.tier_mode for what in holds if isinstance(what, Rate)), "add")
    last: Rate | None = None
    charged: list[Rate | None] = []
    for what in holds:
        if isinstance(what, Rate) and what.tier_mode == mode:
            last = what
        charged.append(None if what == FREE else last)
    return (holds[0] if isinstance(holds[0], Rate) else None), mode, charged


def heads(rate: Rate, players: int) -> int:
    return players if rate.per == "player" else 1


def tier_in(rate: Rate, minute: int) -> Tier:
    return [tier for tier in rate.tiers if tier.from_minutes <= minute][-1]


def price_of_the_play(minutes: list[Rate | None], players: int) -> int:
    highest, price = -1, 0
    for minute, rate in enumerate(minutes):
        if rate and tier_in(rate, minute).from_minutes > highest:
            tier = tier_in(rate, minute)
            highest, price = tier.from_minutes, tier.price * heads(rate, players)
    return price


def price_by_minute(minutes: list[Rate | None], players: int) -> list[Fraction]:
    """The price of every minute, with those up to the next step at the end."""
    billed, end = list(minutes), minutes[-1]
    if end:
        tier = tier_in(end, len(minutes) - 1)
        while (len(billed) - tier.from_minutes) % (tier.step_minutes or 1):
            billed.append(end)
    found = []
    for minute, rate in enumerate(billed):
        tier = tier_in(rate, minute) if rate else Tier(0, 0)
        found.append(Fraction(tier.price * (heads(rate, players) if rate else 0), tier.per_minutes or 1))
    return found


def cut(parts: Parts, length: int) -> Parts:
    found: Parts = []
    for minutes, holds in parts:
        found.append((min(minutes, length), holds))
        length -= min(minutes, length)
    return found


@settings(max_examples=150)
@given(plays(), st.integers(1, 4), st.data())
def test_a_play_costs_what_its_minutes_cost_one_by_one(parts: Parts, players: int, data: st.DataObject) -> None:
    length = data.draw(st.integers(0, sum(minutes for minutes, _ in parts)))

    assert cost(*cut(parts, length), players=players).total == minute_by_minute(parts, length, players)


@settings(max_examples=60)
@given(plays(), st.integers(1, 4), st.integers(0, 2000))
def test_money_lasts_as_long_as_a_search_minute_by_minute_finds(parts: Parts, players: int, money: int) -> None:
    horizon = sum(minutes for minutes, _ in parts)
    prices = [minute_by_minute(parts, length, players) for length in range(horizon + 1)]
    over = next((minute for minute, price in enumerate(prices) if price > money), None)

    found = lasting(money, *parts, players=players)

    assert found.unlimited == (over is None)
    assert found.minutes == (None if over is None else over - 1)
    assert (found.charge.total if found.charge else 0) == prices[-1 if over is None else over - 1]


@settings(max_examples=80)
@given(plays(), st.integers(1, 4), st.integers(0, 59))
def test_the_lines_add_up_to_the_total_and_to_the_minutes_billed(parts: Parts, players: int, seconds: int) -> None:
    found = cost(*parts[:-1], (parts[-1][0] - seconds / 60, parts[-1][1]), players=players)

    assert sum(line.amount for line in found.lines) == found.total
    assert sum(line.units for line in found.lines) == found.minutes_billed
    assert found.total >= 0


@settings(max_examples=80)
@given(rates(), st.integers(1, 4), st.integers(1, 7200), st.data())
def test_splitting_a_play_into_pieces_of_one_rate_changes_nothing(
    rate: Rate, players: int, seconds: int, data: st.DataObject
) -> None:
    end, split = at(seconds / 60), at(data.draw(st.integers(0, seconds)) / 60)

    whole = charge([Piece(START, end, rate)], players=players, currency="USD")
    parts = charge([Piece(START, split, rate), Piece(split, end, rate)], players=players, currency="USD")

    assert parts == whole


@settings(max_examples=50)
@given(st.integers(0, 10_000), st.integers(0, 10_000), st.integers(0, 300), st.integers(0, 300))
def test_without_steps_a_play_costs_what_its_two_parts_cost(first: int, second: int, before: int, after: int) -> None:
    # Prices for a minute are whole, so that nothing is rounded.
    one, other = Rate((Tier(0, first, 1),)), Rate((Tier(0, second, 1),))

    assert cost((before, one), (after, other)).total == cost((before, one)).total + cost((after, other)).total


@settings(max_examples=60)
@given(rates("add"), st.integers(1, 4))
def test_added_up_tiers_never_cost_less_for_a_longer_play(rate: Rate, players: int) -> None:
    prices = [cost((minutes / 2, rate), players=players).total for minutes in range(0, 160, 3)]

    assert prices == sorted(prices)


@settings(max_examples=60)
@given(rates(), st.integers(0, 3000))
def test_money_pays_for_the_minutes_that_it_lasts_and_not_for_one_more(rate: Rate, money: int) -> None:
    found = lasting(money, (1440, rate))

    if found.minutes is not None:
        assert cost((found.minutes, rate)).total <= money
        assert cost((found.minutes + 1, rate)).total > money
    else:
        assert found.unlimited
        assert found.charge is not None
        assert found.charge.total <= money


@settings(max_examples=60)
@given(rates("set"))
def test_the_longer_cheaper_play_is_the_least_there_is(rate: Rate) -> None:
    prices = [minute_by_minute([(140, rate)], length, 1) for length in range(1, 120)]
    pairs = (
        (shorter, longer)
        for shorter, price in enumerate(prices, start=1)
        for longer in range(shorter + 1, len(prices) + 1)
        if prices[longer - 1] < price
    )

    found = [(found.units, found.instead_units) for found in metered_advice(rate, currency="USD")]

    assert found == [pair for pair in [next(pairs, None)] if pair]


@settings(max_examples=30)
@given(plays(), st.sampled_from(["Australia/Lord_Howe", "America/Chicago", "Asia/Kathmandu", "Europe/London"]))
def test_the_answer_is_the_same_in_whatever_time_zone_the_instants_are_given(parts: Parts, zone: str) -> None:
    here = pieces(*parts)
    there = [
        Piece(p.from_at.astimezone(ZoneInfo(zone)), p.to_at.astimezone(ZoneInfo(zone)), p.rate, p.free) for p in here
    ]

    assert charge(there, currency="USD") == charge(here, currency="USD")


def test_an_hour_that_occurs_twice_is_two_hours_of_play() -> None:
    chicago = ZoneInfo("America/Chicago")
    one, three = datetime(2026, 11, 1, 1, tzinfo=chicago), datetime(2026, 11, 1, 2, tzinfo=chicago)
    once_more = datetime(2026, 11, 1, 1, fold=1, tzinfo=chicago)

    found = charge([Piece(one, once_more, HALL), Piece(once_more, three, HALL)], currency="USD")

    assert found.minutes_billed == 120


def test_tiers_stand_in_pairs_that_meet() -> None:
    rate = Rate(tuple(Tier(minute * 10, 100 - minute, 10) for minute in range(50)))

    totals = [cost((minute * 10, rate)).total for minute in range(51)]

    assert [after - before for before, after in pairwise(totals)] == [100 - minute for minute in range(50)]
