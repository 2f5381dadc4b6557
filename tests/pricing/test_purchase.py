"""Purchases in time: money in, games started, minutes running."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

import pytest
from baizebook.pricing import Insert, Ladder, PricingError, Rung, Start, Tariff, follow
from baizebook.pricing.purchase import Purchases, PurchaseStep
from hypothesis import given
from hypothesis import strategies as st

GAMES = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
MINUTES = Ladder((Rung(400, 25), Rung(1200, 84)))
WEEKDAY = Tariff("USD", games=GAMES, minutes=MINUTES, id="weekday-1")
WEEKDAY_AGAIN = Tariff("USD", games=GAMES, minutes=MINUTES, id="weekday-2")
EARLY = Tariff("USD", games=Ladder((Rung(50, 1),)), id="early-1")
FREE = Tariff("USD", free=True, id="free-1")

NINE = datetime(2026, 12, 1, 21, tzinfo=UTC)


def at(minutes: float) -> datetime:
    """Return an instant so many minutes after nine."""
    return NINE + timedelta(minutes=minutes)


def changes(*tariffs: tuple[float, Tariff | None]) -> Callable[[datetime], Tariff | None]:
    """Return a table on which each tariff holds from so many minutes after nine."""

    def tariff_at(instant: datetime) -> Tariff | None:
        return [tariff for minutes, tariff in tariffs if at(minutes) <= instant][-1]

    return tariff_at


always_weekday = changes((0, WEEKDAY))


def bought(
    *events: Insert | Start,
    buys: Literal["games", "minutes"] = "games",
    on: Callable[[datetime], Tariff | None] = always_weekday,
    gap_s: int = 120,
    ends_on_start: bool = False,
) -> Purchases:
    return follow(events, tariff_at=on, buys=buys, gap_s=gap_s, ends_on_start=ends_on_start)


def granted(purchases: Purchases) -> list[int]:
    return [step.granted for step in purchases.steps if step.kind == "insert"]


class TestOnePurchase:
    def test_four_ones_within_the_gap_buy_the_six_games_of_a_four(self) -> None:
        purchases = bought(*(Insert(at(minute), 100) for minute in range(4)))
        assert granted(purchases) == [1, 1, 2, 2]
        assert (purchases.units, purchases.money, purchases.spends, purchases.left) == (6, 400, 400, 0)
        assert [step.left for step in purchases.steps] == [25, 50, 0, 0]

    def test_money_that_comes_exactly_at_the_end_of_the_gap_still_counts(self) -> None:
        assert granted(bought(Insert(at(0), 200), Insert(at(2), 200))) == [2, 4]

    def test_money_that_comes_after_the_gap_starts_a_new_purchase_with_what_was_left(self) -> None:
        purchases = bought(Insert(at(0), 200), Insert(at(2.01), 200))
        assert [step.left for step in purchases.steps] == [50, 25]
        assert granted(purchases) == [2, 3]
        assert purchases.spends == 375

    def test_the_gap_counts_from_the_last_money_not_from_the_first(self) -> None:
        assert granted(bought(*(Insert(at(1.5 * n), 100) for n in range(4)))) == [1, 1, 2, 2]

    def test_the_gap_is_the_tables_own(self) -> None:
        assert granted(bought(Insert(at(0), 200), Insert(at(0.5), 200), gap_s=20)) == [2, 3]

    def test_what_is_left_buys_nothing_by_itself(self) -> None:
        purchases = bought(Insert(at(0), 50), Insert(at(10), 25))
        assert granted(purchases) == [0, 1]
        assert purchases.left == 0


class TestStarts:
    def test_a_start_takes_a_game(self) -> None:
        purchases = bought(Insert(at(0), 150), Start(at(1)), Start(at(15)))
        assert [step.credit for step in purchases.steps] == [2, 1, 0]
        assert purchases.units == 2

    def test_a_start_ends_the_purchase_only_where_the_table_does_so(self) -> None:
        events = (Insert(at(0), 200), Start(at(0.5)), Insert(at(1), 200))
        assert granted(bought(*events)) == [2, 4]
        assert granted(bought(*events, ends_on_start=True)) == [2, 3]

    def test_a_start_without_credit_is_refused_and_named(self) -> None:
        with pytest.raises(PricingError) as refusal:
            bought(Insert(at(0), 75), Start(at(1)), Start(at(2)))
        (fault,) = refusal.value.faults
        assert (fault.code, fault.where) == ("no_credit", "events[2]")

    def test_a_start_on_minutes_needs_time_that_runs(self) -> None:
        purchases = bought(Insert(at(0), 400), Start(at(24)), buys="minutes")
        assert [step.credit for step in purchases.steps] == [25, 1]
        with pytest.raises(PricingError) as refusal:
            bought(Insert(at(0), 400), Start(at(25)), buys="minutes")
        assert refusal.value.code == "no_credit"

    def test_play_starts_without_credit_where_it_is_free_and_takes_none(self) -> None:
        purchases = bought(Start(at(0)), on=changes((0, FREE)))
        assert purchases.steps == (PurchaseStep(at(0), "start", 0, 0, 0, None, FREE, "free"),)
        kept = bought(Insert(at(0), 75), Start(at(10)), on=changes((0, WEEKDAY), (5, FREE)))
        assert kept.steps[-1].credit == 1

    def test_bought_games_may_be_started_after_closing(self) -> None:
        purchases = bought(Insert(at(0), 75), Start(at(10)), on=changes((0, WEEKDAY), (5, None)))
        assert (purchases.steps[-1].credit, purchases.steps[-1].tariff) == (0, None)


class TestChangesOfTariff:
    def test_money_buys_at_the_tariff_in_force_when_it_goes_in(self) -> None:
        purchases = bought(Insert(at(0), 200), Insert(at(1), 200), on=changes((0, EARLY), (1, WEEKDAY)))
        assert granted(purchases) == [4, 2]
        assert [step.tariff for step in purchases.steps] == [EARLY, WEEKDAY]

    def test_another_version_with_the_same_prices_starts_a_new_purchase(self) -> None:
        assert granted(bought(Insert(at(0), 200), Insert(at(1), 200))) == [2, 4]
        assert granted(
            bought(Insert(at(0), 200), Insert(at(1), 200), on=changes((0, WEEKDAY), (1, WEEKDAY_AGAIN)))
        ) == [2, 3]

    def test_what_was_left_is_priced_at_the_new_tariff(self) -> None:
        purchases = bought(Insert(at(0), 50), Insert(at(1), 25), on=changes((0, WEEKDAY), (1, EARLY)))
        assert granted(purchases) == [0, 1]
        assert purchases.left == 25

    @pytest.mark.parametrize(
        ("tariff", "caution"),
        [(None, "closed"), (FREE, "free"), (EARLY, "kind_not_sold")],
    )
    def test_money_where_there_is_nothing_to_buy_is_left_for_later(self, tariff: Tariff | None, caution: str) -> None:
        on = changes((0, WEEKDAY), (1, tariff), (2, WEEKDAY))
        purchases = bought(Insert(at(0), 400), Insert(at(1), 400), Insert(at(2), 400), buys="minutes", on=on)
        assert [step.caution for step in purchases.steps] == [None, caution, None]
        assert [step.left for step in purchases.steps] == [0, 400, 0]
        # The second purchase has 8.00: 25 minutes twice, which the first one's 4.00 would have made 84.
        assert granted(purchases) == [25, 0, 50]
        assert (purchases.money, purchases.spends) == (1200, 1200)


class TestMinutes:
    def test_time_starts_with_the_money_that_first_grants_minutes(self) -> None:
        purchases = bought(Insert(at(0), 200), Insert(at(1), 200), buys="minutes")
        assert [step.ends_at for step in purchases.steps] == [None, at(26)]

    def test_money_added_while_time_runs_extends_the_end(self) -> None:
        purchases = bought(Insert(at(0), 400), Insert(at(20), 400), buys="minutes")
        assert [step.ends_at for step in purchases.steps] == [at(25), at(50)]
        assert [step.credit for step in purchases.steps] == [25, 30]

    def test_a_price_break_extends_the_end_by_the_difference(self) -> None:
        purchases = bought(Insert(at(0), 400), Insert(at(1), 800), buys="minutes")
        assert granted(purchases) == [25, 59]
        assert purchases.ends_at == at(84)

    def test_money_added_after_time_ran_out_starts_anew(self) -> None:
        # Within the gap of the last money, and still another purchase: 4.00 and 8.00 do not make the 84 minutes.
        purchases = bought(Insert(at(0), 400), Insert(at(25), 800), buys="minutes", gap_s=3600)
        assert granted(purchases) == [25, 50]
        assert purchases.ends_at == at(75)

    def test_time_that_ran_out_is_no_credit(self) -> None:
        purchases = bought(Insert(at(0), 400), Insert(at(60), 100), buys="minutes")
        last = purchases.steps[-1]
        assert (last.credit, last.left, last.ends_at) == (0, 100, at(25))

    def test_minutes_run_on_past_closing(self) -> None:
        purchases = bought(Insert(at(0), 400), Start(at(20)), buys="minutes", on=changes((0, WEEKDAY), (10, None)))
        assert purchases.ends_at == at(25)

    def test_minutes_are_elapsed_minutes_when_the_clock_goes_back(self) -> None:
        # New York, 1 November 2026: at 01:59:59 -04:00 the clock goes back to 01:00 -05:00.
        new_york = ZoneInfo("America/New_York")
        inserted = datetime(2026, 11, 1, 1, 50, tzinfo=new_york)
        purchases = bought(Insert(inserted, 400), buys="minutes", on=lambda _: WEEKDAY)
        assert purchases.ends_at == datetime(2026, 11, 1, 6, 15, tzinfo=UTC)
        assert purchases.ends_at.astimezone(new_york).isoformat() == "2026-11-01T01:15:00-05:00"

    def test_the_gap_is_elapsed_time_when_the_clock_goes_back(self) -> None:
        new_york = ZoneInfo("America/New_York")
        first = datetime(2026, 11, 1, 1, 30, tzinfo=new_york)
        an_hour_later = first.replace(fold=1)
        purchases = bought(Insert(first, 200), Insert(an_hour_later, 200), on=lambda _: WEEKDAY)
        assert granted(purchases) == [2, 3]

    def test_money_that_buys_more_than_ten_years_is_refused(self) -> None:
        with pytest.raises(PricingError) as refusal:
            bought(Insert(at(0), 10**12), buys="minutes")
        (fault,) = refusal.value.faults
        assert (fault.code, fault.where) == ("too_much_money", "events[0].money")


class TestEvents:
    def test_no_events_come_to_nothing(self) -> None:
        assert bought() == Purchases((), 0, 0, 0, 0, None)

    def test_all_that_is_wrong_is_refused_at_once(self) -> None:
        naive = datetime(2026, 12, 1, 21)  # noqa: DTZ001
        with pytest.raises(PricingError) as refusal:
            bought(Insert(naive, 100), Insert(at(5), 0), Insert(at(6), -100), Start(at(4)), Start(at(4)))
        assert [(fault.code, fault.where) for fault in refusal.value.faults] == [
            ("naive_instant", "events[0].at"),
            ("bad_money", "events[1].amount"),
            ("bad_money", "events[2].amount"),
            ("events_out_of_order", "events[3].at"),
        ]

    @pytest.mark.parametrize("amount", [True, 1.0, "100", 10**16])
    def test_what_is_no_amount_is_refused(self, amount: Any) -> None:
        with pytest.raises(PricingError) as refusal:
            bought(Insert(at(0), amount))
        assert refusal.value.code == "bad_money"

    def test_events_of_different_zones_are_ordered_by_the_instant(self) -> None:
        tokyo = Insert(at(1).astimezone(ZoneInfo("Asia/Tokyo")), 200)
        assert granted(bought(Insert(at(0), 200), tokyo)) == [2, 4]


@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(1, 1500)), max_size=15),
    st.sampled_from(["games", "minutes"]),
    st.booleans(),
)
def test_all_money_in_is_all_money_spent_and_left(
    coins: list[tuple[int, int]], buys: Literal["games", "minutes"], ends_on_start: bool
) -> None:
    on = changes((0, WEEKDAY), (5, EARLY), (8, None), (10, FREE), (12, WEEKDAY_AGAIN), (20, WEEKDAY))
    seconds, events = 0, []
    for wait, amount in coins:
        seconds += wait
        events.append(Insert(at(seconds / 60), amount))
    purchases = bought(*events, buys=buys, on=on, ends_on_start=ends_on_start)
    assert purchases.money == sum(amount for _, amount in coins) == purchases.spends + purchases.left
    assert purchases.units == sum(granted(purchases))
    assert all(step.granted >= 0 and step.left >= 0 for step in purchases.steps)
    if buys == "games" and purchases.steps:
        assert purchases.steps[-1].credit == purchases.units
