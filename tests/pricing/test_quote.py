"""A quote: what money buys at a place and time, what so many units cost, and why."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from baizebook.pricing import (
    Answer,
    Calendar,
    Cap,
    Ladder,
    OnDate,
    PricingError,
    Rate,
    Rung,
    Schedule,
    Stretch,
    Tariff,
    Tier,
    Timetable,
    Weekly,
    charge_play,
    quote,
)
from baizebook.pricing.ladder import NextBreak
from baizebook.pricing.lines import Line
from baizebook.pricing.quote import Least, Offer
from hypothesis import given
from hypothesis import strategies as st

NEW_YORK = ZoneInfo("America/New_York")
CALENDAR = Calendar(NEW_YORK)
GAMES = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
MINUTES = Ladder((Rung(400, 25), Rung(1200, 84)))
HOURLY = Rate((Tier(0, 900, 60, 15),), minimum=300)
WEEKDAY = Tariff("USD", games=GAMES, minutes=MINUTES, metered=HOURLY, id="weekday-1", code="weekday", version=1)
EARLY = Tariff("USD", games=Ladder((Rung(50, 1),)), id="early-1", code="early", version=1)
FREE = Tariff("USD", free=True, id="free-1", code="free", version=1)
COINS_AND_NOTES = (25, 100, 500, 2000)


def always(tariff: Tariff | None, **windows: Any) -> Timetable:
    """Return a place with one schedule."""
    schedule = Schedule(id="schedule-1", base=tariff, **windows)
    return Timetable(CALENDAR, (Stretch(from_at=datetime(2020, 1, 1, tzinfo=UTC), schedule=schedule),))


TAVERN = always(
    WEEKDAY,
    weekly=(
        Weekly(name="Early", days=frozenset({0, 1}), start=time(15), end=time(18), tariff=EARLY),
        Weekly(name="Sunday", days=frozenset({6}), tariff=None),
        Weekly(name="Late", days=frozenset({2}), start=time(23), end=time(6), tariff=FREE),
    ),
    dates=(OnDate(name="Inventory", on=date(2026, 12, 4), tariff=None),),
)
TUESDAY_NINE = datetime(2026, 12, 1, 21, tzinfo=NEW_YORK)


def offered(answer: Answer, kind: str) -> Offer:
    (offer,) = (offer for offer in answer.offers if offer.kind == kind)
    return offer


class TestMoney:
    def test_ten_dollars_on_a_tuesday_at_nine(self) -> None:
        answer = quote(TAVERN, at=TUESDAY_NINE, money=1000)
        assert (answer.status, answer.trading_on, answer.cautions) == ("open", date(2026, 12, 1), ())
        assert answer.offers == (
            Offer(
                kind="games",
                units=15,
                spends=1000,
                left=0,
                per_unit=67,
                lines=(Line("7.00 buys 11 games", 11, 700), Line("4 × 0.75, a game each", 4, 300)),
                next_break=NextBreak(100, 17),
            ),
            Offer(
                kind="minutes",
                units=50,
                spends=800,
                left=200,
                per_unit=16,
                lines=(Line("2 × 4.00, 25 minutes each", 50, 800),),
                next_break=NextBreak(200, 84),
                ends_at=datetime(2026, 12, 2, 2, 50, tzinfo=UTC),
            ),
            Offer(
                kind="metered",
                units=60,
                spends=900,
                left=100,
                per_unit=15,
                lines=(Line("60 minutes at 9.00 an hour", 60, 900),),
            ),
        )

    def test_money_that_buys_nothing_is_an_answer_too(self) -> None:
        games, minutes, metered = quote(TAVERN, at=TUESDAY_NINE, money=50).offers
        assert (games.units, games.left, games.per_unit, games.next_break) == (0, 50, None, NextBreak(350, 6))
        assert (minutes.units, minutes.ends_at) == (0, None)
        assert (metered.units, metered.spends, metered.left, metered.lines) == (0, 0, 50, ())

    def test_the_window_that_holds_is_named_with_its_span(self) -> None:
        answer = quote(TAVERN, at=datetime(2026, 12, 1, 16, tzinfo=NEW_YORK), money=1000)
        assert (answer.span.name, answer.span.kind, answer.span.schedule_id, answer.span.of) == (
            "Early",
            "weekly",
            "schedule-1",
            "venue",
        )
        assert answer.span.from_at == datetime(2026, 12, 1, 15, tzinfo=NEW_YORK)
        assert answer.span.to_at == datetime(2026, 12, 1, 18, tzinfo=NEW_YORK)
        assert answer.span.tariff == EARLY
        assert [(offer.kind, offer.units) for offer in answer.offers] == [("games", 20)]

    def test_after_midnight_the_trading_day_is_yesterdays(self) -> None:
        assert quote(TAVERN, at=datetime(2026, 12, 2, 1, tzinfo=NEW_YORK), money=100).trading_on == date(2026, 12, 1)

    def test_the_same_instant_in_another_zone_is_the_same_question(self) -> None:
        there = quote(TAVERN, at=TUESDAY_NINE.astimezone(ZoneInfo("Asia/Tokyo")), money=1000)
        assert there.offers == quote(TAVERN, at=TUESDAY_NINE, money=1000).offers


class TestClosedAndFree:
    def test_a_closed_place_says_when_it_next_opens(self) -> None:
        answer = quote(TAVERN, at=datetime(2026, 12, 6, 21, tzinfo=NEW_YORK), money=1000)
        assert (answer.status, answer.span.name, answer.offers, answer.cautions) == ("closed", "Sunday", (), ())
        assert answer.opens_at == datetime(2026, 12, 7, 6, tzinfo=NEW_YORK)

    def test_a_closed_date_replaces_its_trading_day(self) -> None:
        answer = quote(TAVERN, at=datetime(2026, 12, 5, 2, tzinfo=NEW_YORK), games=1)
        assert (answer.status, answer.span.kind, answer.trading_on) == ("closed", "date", date(2026, 12, 4))

    def test_a_place_that_never_opens_says_so(self) -> None:
        assert quote(always(None), at=TUESDAY_NINE, money=1000).opens_at is None

    def test_free_play_is_no_error(self) -> None:
        answer = quote(TAVERN, at=datetime(2026, 12, 2, 23, 30, tzinfo=NEW_YORK), minutes=60)
        assert (answer.status, answer.opens_at, answer.offers, answer.cautions) == ("free", None, (), ())


class TestUnits:
    def test_the_least_that_buys_six_games(self) -> None:
        answer = quote(TAVERN, at=TUESDAY_NINE, games=6)
        (games,) = answer.offers
        assert games.least == Least(400, None, ())
        assert (games.units, games.spends, games.next_break) == (6, 400, NextBreak(300, 11))

    def test_ninety_minutes_are_prepaid_or_metered(self) -> None:
        minutes, metered = quote(TAVERN, at=TUESDAY_NINE, minutes=90).offers
        assert (minutes.kind, minutes.units, minutes.least) == ("minutes", 109, Least(1600, None, ()))
        assert minutes.ends_at == datetime(2026, 12, 2, 3, 49, tzinfo=UTC)
        assert (metered.kind, metered.units, metered.spends, metered.least) == (
            "metered",
            90,
            1350,
            Least(1350, None, ()),
        )

    def test_metered_time_goes_on_to_the_end_of_the_step_that_is_paid_for(self) -> None:
        metered = offered(quote(TAVERN, at=TUESDAY_NINE, minutes=50), "metered")
        assert (metered.units, metered.spends, metered.left) == (60, 900, 0)
        assert metered.lines == (Line("60 minutes at 9.00 an hour", 60, 900),)

    def test_a_longer_play_that_costs_less_does_not_shorten_the_one_asked_for(self) -> None:
        hall = always(Tariff("USD", metered=Rate((Tier(0, 1000), Tier(60, 800)), tier_mode="set")))
        asked = offered(quote(hall, at=TUESDAY_NINE, minutes=90), "metered")
        assert (asked.units, asked.spends) == (90, 800)

    def test_separate_purchases_are_told_where_they_are_cheaper(self) -> None:
        place = always(Tariff("USD", minutes=Ladder((Rung(400, 25), Rung(1200, 84)), "climb_once")))
        (minutes,) = quote(place, at=TUESDAY_NINE, minutes=168).offers
        assert minutes.least == Least(2800, None, (1200, 1200))

    def test_a_kind_that_is_not_sold_is_a_caution(self) -> None:
        early = datetime(2026, 12, 1, 16, tzinfo=NEW_YORK)
        answer = quote(TAVERN, at=early, minutes=30)
        assert (answer.status, answer.offers, answer.cautions) == ("open", (), ("kind_not_sold",))


class TestCoins:
    @pytest.mark.parametrize(
        ("money", "payable", "next_payable"), [(1000, True, None), (1010, False, 1025), (0, True, None)]
    )
    def test_a_table_says_whether_it_can_take_the_money(
        self, money: int, payable: bool, next_payable: int | None
    ) -> None:
        answer = quote(TAVERN, at=TUESDAY_NINE, money=money, accepts=COINS_AND_NOTES)
        assert (answer.payable, answer.next_payable) == (payable, next_payable)

    def test_without_a_table_nothing_is_said_of_coins(self) -> None:
        answer = quote(TAVERN, at=TUESDAY_NINE, money=1010)
        assert (answer.payable, answer.next_payable) == (None, None)

    def test_the_least_is_raised_to_what_the_table_can_take(self) -> None:
        (games,) = quote(TAVERN, at=TUESDAY_NINE, games=1, accepts=[100, 500]).offers
        assert games.least == Least(75, 100, ())

    def test_separate_purchases_are_raised_too_and_told_only_while_they_are_cheaper(self) -> None:
        place = always(Tariff("USD", minutes=Ladder((Rung(400, 25), Rung(1200, 84)), "climb_once")))
        (minutes,) = quote(place, at=TUESDAY_NINE, minutes=168, accepts=[500]).offers
        assert minutes.least == Least(2800, 3000, ())
        (minutes,) = quote(place, at=TUESDAY_NINE, minutes=168, accepts=[100, 500]).offers
        assert minutes.least == Least(2800, 2800, (1200, 1200))

    def test_metered_time_is_paid_for_afterwards_so_no_coins_are_asked_for(self) -> None:
        metered = offered(quote(TAVERN, at=TUESDAY_NINE, minutes=90, accepts=[2000]), "metered")
        assert metered.least == Least(1350, None, ())


class TestMeteredTime:
    def test_money_lasts_across_windows(self) -> None:
        # From 17:00 on at 6.00 an hour, from 18:00 on at 12.00: 12.00 last for an hour and a half.
        cheap = Tariff("USD", metered=Rate((Tier(0, 600, 60, 1),)), id="cheap")
        dear = Tariff("USD", metered=Rate((Tier(0, 1200, 60, 1),)), id="dear")
        early = Weekly(name="Early", days=frozenset(range(7)), start=time(15), end=time(18), tariff=cheap)
        metered = offered(
            quote(always(dear, weekly=(early,)), at=datetime(2026, 12, 1, 17, tzinfo=NEW_YORK), money=1200), "metered"
        )
        assert (metered.units, metered.spends) == (90, 1200)
        assert [line.amount for line in metered.lines] == [600, 600]

    def test_money_above_a_cap_lasts_without_end(self) -> None:
        hall = always(Tariff("USD", metered=Rate((Tier(0, 900, 60),), maximum=Cap(4000))))
        metered = offered(quote(hall, at=TUESDAY_NINE, money=5000), "metered")
        assert (metered.unlimited, metered.units, metered.spends, metered.left) == (True, 7 * 1440, 4000, 1000)
        assert metered.per_unit is None

    def test_going_on_where_no_time_is_sold_is_a_caution(self) -> None:
        until_six = Weekly(name="Hall", days=frozenset(range(7)), start=time(15), end=time(18), tariff=WEEKDAY)
        place = always(EARLY, weekly=(until_six,))
        answer = quote(place, at=datetime(2026, 12, 1, 17, tzinfo=NEW_YORK), minutes=90)
        assert answer.cautions == ("continued_at_last_rate",)
        assert offered(answer, "metered").spends == 1350

    def test_a_play_is_charged_from_one_instant_to_another(self) -> None:
        nine_to_half_past_ten = charge_play(TAVERN, from_at=TUESDAY_NINE, to_at=TUESDAY_NINE + timedelta(minutes=90))
        assert (nine_to_half_past_ten.total, nine_to_half_past_ten.minutes_billed) == (1350, 90)
        assert charge_play(TAVERN, from_at=TUESDAY_NINE, to_at=TUESDAY_NINE).total == 0

    def test_an_hour_that_occurs_twice_is_charged_twice(self) -> None:
        start = datetime(2026, 11, 1, 0, 30, tzinfo=NEW_YORK)
        assert charge_play(TAVERN, from_at=start, to_at=start.replace(hour=2)).minutes_billed == 180

    @pytest.mark.parametrize(
        ("to_at", "code"),
        [
            (TUESDAY_NINE - timedelta(minutes=1), "ends_before_start"),
            (TUESDAY_NINE + timedelta(days=31, minutes=1), "play_too_long"),
            (datetime(2026, 12, 1, 22), "naive_instant"),  # noqa: DTZ001
        ],
    )
    def test_a_play_that_is_none_is_refused(self, to_at: datetime, code: str) -> None:
        with pytest.raises(PricingError) as refusal:
            charge_play(TAVERN, from_at=TUESDAY_NINE, to_at=to_at)
        assert (refusal.value.code, refusal.value.faults[0].where) == (code, "to_at")

    def test_a_play_that_starts_where_no_time_is_sold_is_refused(self) -> None:
        sunday = datetime(2026, 12, 6, 21, tzinfo=NEW_YORK)
        with pytest.raises(PricingError) as refusal:
            charge_play(TAVERN, from_at=sunday, to_at=sunday + timedelta(hours=1))
        assert refusal.value.code == "kind_not_sold"


class TestRefusing:
    @pytest.mark.parametrize(
        ("question", "code", "where"),
        [
            ({}, "not_one_question", "money"),
            ({"money": 100, "games": 1}, "not_one_question", "money"),
            ({"money": -1}, "bad_money", "money"),
            ({"money": 10**15 + 1}, "bad_money", "money"),
            ({"money": 1.0}, "bad_money", "money"),
            ({"games": 0}, "bad_units", "games"),
            ({"minutes": 10_001}, "too_many_units", "minutes"),
            ({"money": 100, "players": 0}, "bad_players", "players"),
            ({"money": 100, "players": 101}, "bad_players", "players"),
            ({"money": 100, "accepts": []}, "bad_denominations", "accepts"),
            ({"money": 10**15}, "too_much_money", "money"),
        ],
    )
    def test_a_question_that_is_none(self, question: Any, code: str, where: str) -> None:
        with pytest.raises(PricingError) as refusal:
            quote(TAVERN, at=TUESDAY_NINE, **question)
        assert (refusal.value.code, refusal.value.faults[0].where) == (code, where)

    def test_a_time_without_an_offset(self) -> None:
        with pytest.raises(PricingError) as refusal:
            quote(TAVERN, at=datetime(2026, 12, 1, 21), money=1000, players=0)  # noqa: DTZ001
        assert [fault.code for fault in refusal.value.faults] == ["naive_instant", "bad_players"]

    def test_a_time_before_the_first_schedule(self) -> None:
        with pytest.raises(PricingError) as refusal:
            quote(TAVERN, at=datetime(2019, 1, 1, tzinfo=UTC), money=1000)
        assert refusal.value.code == "no_schedule_yet"


@given(st.integers(0, 7 * 24 * 60), st.integers(0, 6_000), st.integers(1, 4))
def test_every_offer_adds_up(minutes: int, money: int, players: int) -> None:
    answer = quote(TAVERN, at=TUESDAY_NINE + timedelta(minutes=minutes), money=money, players=players)
    assert (answer.status == "open") == bool(answer.offers)
    for offer in answer.offers:
        assert offer.spends + offer.left == money
        assert sum(line.amount for line in offer.lines) == offer.spends
        if offer.kind != "metered":
            assert sum(line.units for line in offer.lines) == offer.units
        if offer.units and offer.per_unit is not None:
            assert abs(offer.per_unit * offer.units - offer.spends) * 2 <= offer.units


@given(st.integers(1, 2_000), st.sampled_from(["games", "minutes"]))
def test_the_least_money_buys_at_least_what_was_asked_for(units: int, kind: str) -> None:
    for offer in quote(TAVERN, at=TUESDAY_NINE, accepts=COINS_AND_NOTES, **{kind: units}).offers:
        assert offer.least is not None
        assert offer.units >= units
        again = quote(TAVERN, at=TUESDAY_NINE, money=offer.least.money)
        assert offered(again, offer.kind).units == offer.units
