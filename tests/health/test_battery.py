"""What is said of a battery: its charge, its rest, the day it needs a charger, and when it may be worn out."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from baizebook.health.battery_verdict import (
    DEFAULT_LEVELS,
    BatteryHealth,
    BatteryHistory,
    BatteryLevels,
    BatterySettings,
    judge_battery,
)
from baizebook.health.state_of_charge import Battery, Chemistry, SupplyReading, state_of_charge
from baizebook.pool_tables.cautions import AT_A_BATTERY
from baizebook.pricing.errors import DomainError
from hypothesis import given
from hypothesis import strategies as st

FLOODED = Battery("flooded", 12)
NEW_YORK = ZoneInfo("America/New_York")
START = datetime(2026, 12, 1, 17, tzinfo=UTC)  # noon in New York


def day(n: float) -> datetime:
    return START + timedelta(days=n)


def at_rest(*points: tuple[float, int]) -> list[SupplyReading]:
    return [SupplyReading(day(n), millivolts, None, 600) for n, millivolts in points]


def health(
    readings: Iterable[SupplyReading],
    *,
    battery: Battery = FLOODED,
    charged: tuple[float, ...] = (),
    replaced: float | None = None,
    now: float | None = None,
    levels: BatteryLevels | None = None,
    settings: BatterySettings | None = None,
) -> BatteryHealth:
    readings = list(readings)
    history = BatteryHistory(readings, [day(n) for n in charged], None if replaced is None else day(replaced))
    at = max(reading.taken_at for reading in readings) if now is None else day(now)
    answer = judge_battery(battery, history, now=at, zone=NEW_YORK, levels=levels, settings=settings)
    assert answer is not None
    return answer


class TestStateOfCharge:
    def test_the_answer_names_its_table_and_the_spread_of_all_flooded_tables(self) -> None:
        state = state_of_charge(FLOODED, 12_200)

        assert state.percent == Decimal("44.4")
        assert state.basis == "flooded, 80 °F"
        assert state.spread_percent == (Decimal("44.4"), Decimal(50))

    def test_an_unknown_chemistry_has_a_spread_and_no_figure(self) -> None:
        state = state_of_charge(Battery("unknown"), 12_400)

        assert (state.percent, state.basis) == (None, None)
        assert state.spread_percent == (Decimal("54.2"), Decimal(75))  # gel … flooded, rule of thumb

    def test_a_6_v_battery_is_read_as_half_of_a_12_v_one(self) -> None:
        assert state_of_charge(Battery("agm", 6), 6_200) == state_of_charge(Battery("agm", 12), 12_400)

    def test_a_cold_battery_holds_more_than_its_voltage_says(self) -> None:
        cold, unsaid = state_of_charge(FLOODED, 12_400, temperature_tenths_c=80), state_of_charge(FLOODED, 12_400)

        # 46.4 °F is 33.6 °F under 80 °F: 0.08064 V more; 12.48064 V.
        assert (cold.percent, cold.temperature_corrected) == (Decimal("78.8"), True)  # 75 + 25 × 30.64 / 200 = 78.83
        assert (unsaid.percent, unsaid.temperature_corrected) == (Decimal("69.0"), False)

    def test_the_cold_takes_half_as_many_volts_from_a_6_v_battery(self) -> None:
        six = state_of_charge(Battery("flooded", 6), 6_200, temperature_tenths_c=80)

        assert six == state_of_charge(FLOODED, 12_400, temperature_tenths_c=80)

    def test_outside_the_table_it_is_full_or_empty(self) -> None:
        assert state_of_charge(Battery("agm"), 14_400).percent == 100
        assert state_of_charge(Battery("agm"), 9_000).percent == 0

    @given(
        st.sampled_from(["flooded", "agm", "gel"]),
        st.integers(11_000, 13_500),
        st.one_of(st.none(), st.integers(-200, 450)),
        st.integers(0, 200),
    )
    def test_the_figure_always_lies_in_the_spread(
        self, chemistry: Chemistry, millivolts: int, heat: int | None, doubt: int
    ) -> None:
        state = state_of_charge(Battery(chemistry), millivolts, temperature_tenths_c=heat, doubt_mv=doubt)

        low, high = state.spread_percent
        assert state.percent is not None
        assert 0 <= low <= state.percent <= high <= 100

    @pytest.mark.parametrize(("chemistry", "volts"), [("lithium", 12), ("agm", 24)])
    def test_a_battery_that_no_table_is_for_is_refused(self, chemistry: Chemistry, volts: int) -> None:
        with pytest.raises(DomainError):
            Battery(chemistry, volts)

    @pytest.mark.parametrize("millivolts", [0, -12_400, 99_000])
    def test_a_voltage_that_is_none_is_refused(self, millivolts: int) -> None:
        with pytest.raises(DomainError, match="battery_mv"):
            SupplyReading(START, millivolts)


class TestRest:
    def test_a_reading_that_does_not_say_is_marked_and_has_a_wider_spread(self) -> None:
        said = health([SupplyReading(START, 12_450, None, 480)])
        unsaid = health([SupplyReading(START, 12_450)])

        assert (said.rest, unsaid.rest) == ("rested", "rest_unknown")
        assert said.state.percent == unsaid.state.percent == 75
        assert unsaid.state.spread_percent[0] < said.state.spread_percent[0]
        assert unsaid.state.spread_percent[1] > said.state.spread_percent[1]

    def test_an_hour_after_a_known_charge_nothing_is_at_rest_whatever_the_reading_says(self) -> None:
        assert health([SupplyReading(day(1), 12_900, None, 600)], charged=(1 - 1 / 24,)).rest == "not_rested"

    def test_the_rest_time_is_a_setting(self) -> None:
        reading = SupplyReading(START, 12_450, None, 600)

        assert health([reading], settings=BatterySettings(rest_minutes=1440)).rest == "not_rested"


class TestCaveats:
    def test_what_weakens_an_answer_is_said(self) -> None:
        assert health([SupplyReading(START, 12_450, 250, 600)]).caveats == ()
        assert health([SupplyReading(START, 12_450, None, 600)]).caveats == (
            "No temperature given: a cold battery reads low.",
        )
        assert len(health([SupplyReading(START, 12_450)], battery=Battery("unknown")).caveats) == 3


class TestVerdict:
    @pytest.mark.parametrize(
        ("chemistry", "millivolts", "verdict"),
        [
            ("flooded", 12_401, "good"),
            ("flooded", 12_400, "plan_charge"),
            ("flooded", 12_241, "plan_charge"),
            ("flooded", 12_240, "charge_now"),
            ("agm", 12_600, "plan_charge"),
            ("agm", 12_300, "charge_now"),
            ("gel", 12_651, "good"),
            ("gel", 12_350, "charge_now"),
            ("unknown", 12_401, "good"),
            ("unknown", 12_240, "charge_now"),
        ],
    )
    def test_a_voltage_at_a_level_has_reached_it(self, chemistry: Chemistry, millivolts: int, verdict: str) -> None:
        assert health(at_rest((0, millivolts)), battery=Battery(chemistry)).verdict == verdict

    def test_the_level_that_decided_is_given_as_this_battery_shows_it(self) -> None:
        answer = health(at_rest((0, 6_150)), battery=Battery("flooded", 6))

        assert (answer.verdict, answer.level, answer.level_mv) == ("plan_charge", "plan_charge_mv", 6_200)
        assert answer.why == "6.15 V: below 6.20 V, plan a charge."

    def test_levels_are_settings(self) -> None:
        assert health(at_rest((0, 12_400)), levels=BatteryLevels(12_300, 12_000)).verdict == "good"

    def test_levels_that_cross_are_refused(self) -> None:
        with pytest.raises(DomainError, match="charge_now_mv"):
            BatteryLevels(plan_charge_mv=12_000, charge_now_mv=12_300)

    def test_every_chemistry_has_levels(self) -> None:
        assert set(DEFAULT_LEVELS) == {"flooded", "agm", "gel", "unknown"}

    def test_the_cold_alone_does_not_call_for_a_charger(self) -> None:
        assert health([SupplyReading(START, 12_400, 0, 600)]).verdict == "good"

    def test_whoever_is_sent_to_charge_is_told_what_to_mind(self) -> None:
        assert health(at_rest((0, 12_200))).cautions == AT_A_BATTERY
        assert health(at_rest((0, 12_700))).cautions == ()

    def test_nothing_is_said_of_a_battery_not_read_since_it_was_charged(self) -> None:
        history = BatteryHistory(at_rest((0, 12_000)), [day(1)])

        assert judge_battery(FLOODED, history, now=day(2), zone=NEW_YORK) is None

    def test_the_newest_reading_is_the_newest_taken_not_the_last_to_arrive(self) -> None:
        late = at_rest((5, 12_600), (1, 12_000))

        assert health(late).reading.battery_mv == 12_600


class TestForecast:
    def test_ten_millivolts_a_day_from_12_64_reach_12_24_on_the_40th_day(self) -> None:
        answer = health(at_rest((0, 12_640), (4, 12_600), (8, 12_560)))

        assert answer.forecast is not None
        assert answer.forecast.reaches_on == date(2027, 1, 10)
        assert answer.forecast.mv_per_day == -10
        assert answer.forecast.band_mv_per_day == (Fraction(-10), Fraction(-10))
        assert (answer.forecast.n, answer.forecast.rest, answer.forecast.level_mv) == (3, "rested", 12_240)
        assert (answer.verdict, answer.why_no_forecast) == ("good", None)

    def test_a_battery_that_will_be_low_within_a_fortnight_is_planned_for_now(self) -> None:
        answer = health(at_rest((0, 12_640), (4, 12_560), (8, 12_480)))

        assert (answer.verdict, answer.level, answer.because) == ("plan_charge", "charge_now_mv", "forecast")
        assert answer.why == "12.48 V: plan a charge. Reaches 12.24 V (charge now) about 21 Dec 2026."

    @pytest.mark.parametrize(("now", "verdict"), [(25, "good"), (26, "plan_charge")])
    def test_fourteen_days_ahead_is_soon_enough_to_plan(self, now: float, verdict: str) -> None:
        falls_to_12_24_on_the_40th_day = at_rest((0, 12_640), (4, 12_600), (8, 12_560))

        assert health(falls_to_12_24_on_the_40th_day, now=now).verdict == verdict

    def test_uneven_readings_give_a_band_of_dates_around_the_date(self) -> None:
        answer = health(at_rest((0, 12_640), (3, 12_625), (6, 12_570), (9, 12_560), (12, 12_500)))

        assert answer.forecast is not None
        assert answer.forecast.latest_on is not None
        assert answer.forecast.earliest_on < answer.forecast.reaches_on < answer.forecast.latest_on

    @pytest.mark.parametrize(
        ("points", "code"),
        [
            ([(0, 12_640), (9, 12_600)], "too_few_readings"),
            ([(0, 12_640), (3, 12_620), (6.9, 12_600)], "too_short"),
            ([(0, 12_600), (4, 12_600), (8, 12_600)], "not_falling"),
            ([(0, 12_600), (4, 12_650), (8, 12_700)], "not_falling"),
            ([(0, 12_602), (4, 12_601), (8, 12_600)], "too_far_off"),
            ([(0, 12_640), (4, 12_400), (8, 12_240)], "already_reached"),
        ],
    )
    def test_without_a_forecast_it_says_why(self, points: list[tuple[float, int]], code: str) -> None:
        answer = health(at_rest(*points))

        assert answer.forecast is None
        assert answer.why_no_forecast is not None
        assert answer.why_no_forecast.code == code

    def test_exactly_seven_days_are_enough(self) -> None:
        assert health(at_rest((0, 12_640), (3, 12_620), (7, 12_600))).forecast is not None

    def test_readings_before_the_last_charge_do_not_count(self) -> None:
        readings = at_rest((0, 12_640), (4, 12_500), (8, 12_400), (20, 12_650))

        assert health(readings, charged=(10,)).why_no_forecast == health(at_rest((20, 12_650))).why_no_forecast

    def test_readings_that_do_not_say_are_like_only_at_the_same_part_of_the_day(self) -> None:
        noon = [SupplyReading(day(n), 12_640 - 10 * n) for n in (0, 4, 8)]
        scattered = [SupplyReading(day(n), 12_640 - 10 * int(n)) for n in (0, 4.4, 8)]

        assert health(noon).forecast is not None
        assert health(scattered).forecast is None

    def test_the_part_of_the_day_goes_round_midnight(self) -> None:
        eleven_at_night = 11 / 24
        readings = [SupplyReading(day(n + eleven_at_night), 12_640 - 10 * int(n)) for n in (0, 4 + 2 / 24, 8)]

        assert health(readings).forecast is not None

    def test_rest_unknown_widens_the_band(self) -> None:
        rested = health(at_rest((0, 12_640), (4, 12_600), (8, 12_560))).forecast
        unsaid = health([SupplyReading(day(n), 12_640 - 10 * n) for n in (0, 4, 8)]).forecast

        assert rested is not None
        assert unsaid is not None
        assert rested.reaches_on == rested.earliest_on == rested.latest_on == unsaid.reaches_on
        assert (unsaid.earliest_on, unsaid.latest_on) == (date(2026, 12, 31), date(2027, 1, 20))

    def test_readings_at_rest_are_not_mixed_with_others(self) -> None:
        under_use = [SupplyReading(day(n), 11_900, None, 5) for n in (1, 5, 7)]
        answer = health([*at_rest((0, 12_640), (4, 12_600), (8, 12_560)), *under_use])

        assert answer.forecast is not None
        assert answer.forecast.n == 3
        assert answer.forecast.mv_per_day == -10

    def test_a_frost_is_not_taken_for_a_falling_battery(self) -> None:
        colder = [SupplyReading(day(n), 12_600 - int(4.32 * n), 200 - 10 * n, 600) for n in (0, 5, 10)]
        unsaid = [SupplyReading(reading.taken_at, reading.battery_mv, None, 600) for reading in colder]

        assert health(colder).forecast is None
        assert health(unsaid).forecast is not None

    def test_hourly_readings_of_a_device_keep_the_whole_time(self) -> None:
        answer = health([SupplyReading(day(n / 24), 12_640 - n // 3, None, 600) for n in range(24 * 20)])

        assert answer.forecast is not None
        assert answer.forecast.n == 60
        assert float(answer.forecast.mv_per_day) == pytest.approx(-8, abs=0.1)

    def test_days_are_the_venue_s(self) -> None:
        late = datetime(2026, 12, 2, 4, 30, tzinfo=UTC)  # 23:30 on the 1st in New York
        readings = [SupplyReading(late + timedelta(days=n), 12_640 - 10 * n, None, 600) for n in (0, 4, 8)]

        assert health(readings).forecast is not None
        assert health(readings).forecast.reaches_on == date(2027, 1, 10)  # type: ignore[union-attr]


class TestReplace:
    def test_a_charged_battery_that_rests_low_within_three_days_may_be_worn_out(self) -> None:
        answer = health(at_rest((1, 12_350), (2, 12_300)), charged=(0,))

        assert (answer.verdict, answer.because) == ("replace_suspected", "low_soon_after_charge")
        assert (answer.level, answer.level_mv) == ("plan_charge_mv", 12_400)

    def test_one_good_reading_in_these_days_clears_it(self) -> None:
        assert health(at_rest((1, 12_600), (2, 12_390)), charged=(0,)).verdict == "plan_charge"

    def test_a_low_reading_that_was_not_at_rest_accuses_nobody(self) -> None:
        unsaid = [SupplyReading(day(1), 12_350)]

        assert health(unsaid, charged=(0,)).verdict == "plan_charge"

    def test_a_battery_low_for_want_of_a_charge_is_not_worn_out(self) -> None:
        assert health(at_rest((1, 12_350))).verdict == "plan_charge"
        assert health(at_rest((1, 12_650), (40, 12_200)), charged=(0,)).verdict == "charge_now"

    HELD_40_DAYS = ((1, 12_650), (40, 12_300), (42, 12_200))

    def test_a_battery_empty_in_less_than_half_its_earlier_time_may_be_worn_out(self) -> None:
        readings = at_rest(*self.HELD_40_DAYS, (51, 12_600), (60, 12_230))
        answer = health(readings, charged=(0, 50))

        assert (answer.verdict, answer.because, answer.level) == (
            "replace_suspected",
            "empties_faster",
            "charge_now_mv",
        )

    def test_a_battery_that_held_just_over_half_as_long_only_wants_its_charger(self) -> None:
        readings = at_rest(*self.HELD_40_DAYS, (51, 12_600), (71, 12_230))

        assert health(readings, charged=(0, 50)).verdict == "charge_now"

    def test_a_new_battery_does_not_answer_for_the_old_one(self) -> None:
        readings = at_rest(*self.HELD_40_DAYS, (51, 12_600), (60, 12_230))

        assert health(readings, charged=(0, 50), replaced=50).verdict == "charge_now"
