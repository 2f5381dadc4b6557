"""What is wrong with a clock, named as an operator would name it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from baizebook.health.clock_forecast import PredictedOffset, predict
from baizebook.health.clock_offset import ClockReading, Offset, measure
from baizebook.health.clock_verdict import ClockHealth, ClockSettings, judge_clock
from baizebook.pricing.errors import DomainError
from hypothesis import given
from hypothesis import strategies as st

NEW_YORK, BERLIN, PHOENIX = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin"), ZoneInfo("America/Phoenix")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")

MON, TUE, SUN = 0, 1, 6
EVENING = datetime(2026, 12, 7, 19, 52, tzinfo=NEW_YORK)  # a Monday


def shown(
    clock: str, weekday: int | None = MON, on: str | None = None, *, at: datetime = EVENING, **more: str
) -> ClockReading:
    hour, minute = map(int, clock.split(":"))
    day = date.fromisoformat(on) if on else None
    return ClockReading(at.astimezone(UTC), hour * 60 + minute, weekday, day, more.get("display"))  # type: ignore[arg-type]


def fast_by(minutes: float, at: datetime, zone: ZoneInfo = NEW_YORK) -> ClockReading:
    """A table that shows a weekday and is ahead of the venue by so much."""
    local = (at.astimezone(zone).replace(tzinfo=None)) + timedelta(minutes=minutes)
    return ClockReading(at.astimezone(UTC), local.hour * 60 + local.minute, local.weekday())


def judge(*readings: ClockReading, zone: ZoneInfo = NEW_YORK, set_at: datetime | None = None) -> ClockHealth:
    health = judge_clock(readings, zone=zone, set_at=set_at)
    assert health is not None
    return health


class TestOffset:
    def test_whole_minutes_give_a_range_of_a_minute(self) -> None:
        at = EVENING + timedelta(seconds=30)

        assert measure(shown("19:52", at=at), NEW_YORK) == Offset(-30, 30, 604_800)
        assert measure(shown("19:55", at=at), NEW_YORK) == Offset(150, 210, 604_800)

    def test_without_a_weekday_the_day_cannot_be_told(self) -> None:
        assert measure(shown("19:50", None), NEW_YORK) == Offset(-120, -60, 86_400, ("day",))

    def test_a_twelve_hour_display_does_not_tell_am_from_pm(self) -> None:
        offset = measure(shown("07:52", None, display="12h"), NEW_YORK)

        assert offset == Offset(0, 60, 43_200, ("am_or_pm", "day"))

    def test_twelve_fifty_on_a_twelve_hour_display_is_also_ten_to_one_at_night(self) -> None:
        at = datetime(2026, 12, 7, 0, 50, tzinfo=NEW_YORK)

        assert measure(shown("12:50", at=at, display="12h"), NEW_YORK).low_s == 0

    @pytest.mark.parametrize("hour", [0, 12])
    def test_twelve_on_a_twelve_hour_display_is_noon_or_midnight(self, hour: int) -> None:
        at = datetime(2026, 12, 7, hour, tzinfo=NEW_YORK)

        assert measure(shown("12:00", at=at, display="12h"), NEW_YORK).low_s == 0

    def test_with_a_weekday_a_twelve_hour_display_is_one_of_two_times(self) -> None:
        tuesday_evening = EVENING + timedelta(days=1)

        # Monday 07:52 or 19:52, seen on Tuesday at 19:52: a day and a half behind, or a day.
        assert measure(shown("07:52", display="12h", at=tuesday_evening), NEW_YORK).low_s == -86_400

    def test_a_date_tells_the_offset_once_and_for_all(self) -> None:
        assert measure(shown("19:52", TUE, "2026-12-01"), NEW_YORK) == Offset(-6 * 86_400, -6 * 86_400 + 60)

    def test_just_after_midnight_a_slow_clock_still_shows_yesterday(self) -> None:
        at = datetime(2026, 12, 8, 0, 1, tzinfo=NEW_YORK)

        assert measure(shown("23:58", MON, at=at), NEW_YORK).low_s == -180
        assert measure(shown("23:58", None, at=at), NEW_YORK).low_s == -180

    @pytest.mark.parametrize(
        ("minute", "weekday", "display"), [(1440, 0, None), (-1, 0, None), (0, 7, None), (0, 0, "am")]
    )
    def test_a_clock_that_no_display_shows_is_refused(self, minute: int, weekday: int, display: str) -> None:
        with pytest.raises(DomainError):
            ClockReading(EVENING, minute, weekday, None, display)  # type: ignore[arg-type]

    @given(st.integers(-5_039, 5_038), st.integers(0, 59))
    def test_the_true_offset_always_lies_in_the_range(self, minutes: int, seconds: int) -> None:
        at = EVENING + timedelta(seconds=seconds)
        shows = at.replace(tzinfo=None) + timedelta(minutes=minutes)
        offset = measure(ClockReading(at, shows.hour * 60 + shows.minute, shows.weekday()), NEW_YORK)

        assert offset.low_s <= minutes * 60 < offset.high_s


class TestNamedMistakes:
    @pytest.mark.parametrize("clock", ["19:52", "19:54", "19:50"])
    def test_two_minutes_are_tolerated(self, clock: str) -> None:
        health = judge(shown(clock))

        assert (health.verdict, health.cause) == ("ok", "right")

    @pytest.mark.parametrize("clock", ["19:55", "19:48"])
    def test_more_is_off_and_has_no_name(self, clock: str) -> None:
        health = judge(shown(clock))

        assert (health.verdict, health.cause) == ("off", "unexplained")

    def test_the_tolerance_is_a_setting(self) -> None:
        health = judge_clock([shown("19:57")], zone=NEW_YORK, settings=ClockSettings(tolerance_s=300))

        assert health is not None
        assert health.verdict == "ok"

    def test_an_hour_fast_in_december_is_the_november_change_not_made(self) -> None:
        health = judge(shown("20:52"))

        assert (health.cause, health.verdict) == ("hour_off", "off")
        assert health.change is not None
        assert health.change.at == datetime(2026, 11, 1, 6, tzinfo=UTC)
        assert health.why == "1 h fast: still on the time before the clock change of 1 Nov 2026."

    def test_an_hour_slow_in_june_is_the_march_change_not_made(self) -> None:
        at = datetime(2026, 6, 1, 12, tzinfo=BERLIN)
        health = judge(shown("11:01", MON, at=at), zone=BERLIN)

        assert health.cause == "hour_off"
        assert health.change is not None
        assert health.change.shift_s == 3600

    @pytest.mark.parametrize(
        ("zone", "set_at", "clock"),
        [
            pytest.param(PHOENIX, None, "18:52", id="a place without summer time"),
            pytest.param(NEW_YORK, None, "18:52", id="the other way round"),
            pytest.param(NEW_YORK, datetime(2026, 11, 20, tzinfo=UTC), "20:52", id="set since the change"),
        ],
    )
    def test_an_hour_that_no_change_explains_is_only_an_hour(
        self, zone: ZoneInfo, set_at: datetime | None, clock: str
    ) -> None:
        at = EVENING.replace(tzinfo=zone)
        health = judge(shown(clock, at=at), zone=zone, set_at=set_at)

        assert (health.cause, health.change) == ("hour_off", None)
        assert "change" not in health.why

    def test_a_clock_seen_right_after_the_change_was_put_wrong_later(self) -> None:
        health = judge(fast_by(0, EVENING - timedelta(days=20)), fast_by(60, EVENING))

        assert (health.cause, health.change) == ("hour_off", None)

    def test_where_the_change_is_half_an_hour_half_an_hour_is_the_change_not_made(self) -> None:
        at = datetime(2026, 6, 1, 12, tzinfo=LORD_HOWE)
        health = judge(shown("12:30", MON, at=at), zone=LORD_HOWE)

        assert health.change is not None
        assert health.change.shift_s == -1800

    def test_twelve_hours_are_noon_taken_for_midnight(self) -> None:
        assert judge(shown("07:52")).cause == "twelve_hours_off"
        assert judge(shown("07:54", None)).cause == "twelve_hours_off"

    def test_the_right_time_on_the_wrong_day_is_a_wrong_weekday(self) -> None:
        assert judge(shown("19:52", TUE)).cause == "wrong_weekday"
        assert judge(shown("19:51", SUN)).cause == "wrong_weekday"

    def test_the_right_time_on_the_wrong_date_is_a_wrong_date(self) -> None:
        assert judge(shown("19:52", None, "2026-07-12")).cause == "wrong_date"
        assert judge(shown("19:52", SUN, "2025-12-07")).cause == "wrong_date"

    def test_of_a_weekday_and_a_date_that_contradict_each_other_the_wrong_one_is_named(self) -> None:
        wrong_date = judge(shown("19:52", MON, "2026-12-09"))
        wrong_weekday = judge(shown("19:52", TUE, "2026-12-07"))

        assert (wrong_date.cause, wrong_date.offset.low_s, wrong_date.verdict) == ("wrong_date", 0, "off")
        assert (wrong_weekday.cause, wrong_weekday.offset.low_s) == ("wrong_weekday", 86_400)

    @pytest.mark.parametrize("on", ["1970-01-01", "2000-01-09", "2020-02-29", "2025-01-04"])
    def test_a_date_soon_after_an_old_new_year_is_a_clock_that_was_reset(self, on: str) -> None:
        health = judge(shown("03:17", None, on))

        assert (health.cause, health.verdict) == ("restarted", "off")

    @pytest.mark.parametrize("on", ["2026-01-03", "2020-07-14"], ids=["this year's", "in summer"])
    def test_another_wrong_date_with_a_wrong_time_is_no_first_day(self, on: str) -> None:
        assert judge(shown("03:17", None, on)).cause == "unexplained"

    def test_an_hour_and_four_minutes_are_an_hour_and_six_are_not(self) -> None:
        assert judge(shown("20:56")).cause == "hour_off"
        assert judge(shown("20:59")).cause == "unexplained"

    def test_a_clock_that_jumped_and_ran_on_truly_since_was_reset(self) -> None:
        days = [EVENING + timedelta(days=n) for n in (0, 5, 9)]
        health = judge(fast_by(0, days[0]), fast_by(-2000, days[1]), fast_by(-2000, days[2]))

        assert health.cause == "restarted"
        assert health.drift is not None
        assert health.drift.s_per_day == 0

    def test_nothing_is_said_of_a_clock_not_read_since_it_was_set(self) -> None:
        assert judge_clock([shown("19:52")], zone=NEW_YORK, set_at=EVENING + timedelta(minutes=1)) is None

    def test_the_reading_that_reports_the_setting_shows_the_clock_as_it_was_left(self) -> None:
        before = fast_by(17, EVENING - timedelta(days=3))

        assert judge(before, shown("19:52"), set_at=EVENING).verdict == "ok"

    @given(st.integers(-10_080, 10_080), st.sampled_from([MON, None]), st.sampled_from(["24h", "12h"]))
    def test_every_clock_gets_a_verdict_and_no_right_one_is_called_off(
        self, minutes: int, weekday: int | None, display: str
    ) -> None:
        local = EVENING.replace(tzinfo=None) + timedelta(minutes=minutes)
        day = None if weekday is None else local.weekday()
        health = judge(shown(f"{local:%H:%M}", day, display=display))

        assert (health.verdict == "off") == (health.cause != "right")
        assert abs(minutes) > 2 or health.verdict != "off"


class TestWhatCannotBeTold:
    def test_a_right_time_without_its_day_may_be_a_wrong_day(self) -> None:
        health = judge(shown("19:52", None))

        assert (health.verdict, health.cause) == ("cannot_tell", "right")
        assert health.why.endswith("The display does not show the day.")

    def test_a_right_time_without_am_and_pm_may_be_twelve_hours_off(self) -> None:
        assert judge(shown("07:52", display="12h")).verdict == "cannot_tell"

    def test_an_earlier_reading_since_the_clock_was_set_may_have_told_it(self) -> None:
        earlier = fast_by(0, EVENING - timedelta(days=2))

        assert judge(earlier, shown("19:52", None)).verdict == "ok"
        assert judge(earlier, shown("19:52", None), set_at=EVENING - timedelta(days=1)).verdict == "cannot_tell"

    def test_what_is_off_by_any_reckoning_is_off(self) -> None:
        assert judge(shown("07:12", None, display="12h")).verdict == "off"


class TestDrift:
    def test_ten_minutes_in_sixty_days_are_ten_seconds_a_day(self) -> None:
        start = EVENING - timedelta(days=60)  # before the change of November: made at the table, so no drift
        health = judge(fast_by(0, start), fast_by(5, EVENING - timedelta(days=30)), fast_by(10, EVENING))

        assert health.cause == "drifting"
        assert health.drift is not None
        assert float(health.drift.s_per_day) == pytest.approx(10, abs=0.01)
        assert float(health.drift.ppm) == pytest.approx(115.7, abs=0.1)
        assert (health.drift.n, health.drift.beyond_crystal) == (3, True)
        assert [round(float(end), 2) for end in health.drift.range_s_per_day] == [
            8.99,
            10.99,
        ]  # 60 days and the hour of November
        assert health.why == ("10 min fast and gaining 10.0 s a day, too much for a healthy clock: suspect the board.")

    def test_two_readings_are_enough(self) -> None:
        health = judge(fast_by(0, EVENING - timedelta(days=30)), fast_by(-4, EVENING))

        assert health.cause == "drifting"
        assert health.drift is not None
        assert float(health.drift.s_per_day) == pytest.approx(-8, abs=0.01)
        assert not health.drift.beyond_crystal

    def test_a_clock_that_shows_the_same_time_again_stands_still(self) -> None:
        health = judge(shown("03:00", 2, at=EVENING - timedelta(days=2)), shown("03:00", 2))

        assert health.why.endswith("Stopped: it shows the same time as at the reading before.")

    def test_a_clock_that_stays_five_minutes_fast_is_not_drifting(self) -> None:
        assert judge(fast_by(5, EVENING - timedelta(days=9)), fast_by(5, EVENING)).cause == "unexplained"

    def test_one_reading_has_no_drift(self) -> None:
        assert judge(shown("19:57")).drift is None

    def test_readings_before_the_clock_was_set_do_not_count(self) -> None:
        readings = [fast_by(0, EVENING - timedelta(days=30)), fast_by(-4, EVENING)]

        assert judge(*readings, set_at=EVENING - timedelta(days=1)).drift is None

    def test_a_clock_change_not_made_is_no_drift(self) -> None:
        health = judge(fast_by(0, EVENING - timedelta(days=60)), fast_by(60, EVENING))

        assert health.cause == "hour_off"
        assert health.drift is not None
        assert health.drift.s_per_day == 0

    def test_a_clock_that_walks_past_an_hour_is_drifting_all_the_same(self) -> None:
        readings = [fast_by(20 * n, EVENING - timedelta(days=30 - 10 * n)) for n in range(4)]

        assert judge(*readings).cause == "drifting"

    def test_no_clock_runs_so_fast_as_to_gain_an_hour_and_a_half_in_two_days(self) -> None:
        health = judge(fast_by(0, EVENING - timedelta(days=2)), fast_by(90, EVENING))

        assert health.cause == "unexplained"

    def test_a_clock_set_right_without_a_word_is_not_drifting(self) -> None:
        health = judge(fast_by(-40, EVENING - timedelta(days=3)), fast_by(0, EVENING))

        assert (health.verdict, health.drift) == ("ok", None)

    def test_the_day_that_one_reading_did_not_tell_is_no_drift(self) -> None:
        health = judge(shown("19:52", None, at=EVENING - timedelta(days=3)), shown("19:52", TUE))

        assert health.cause == "wrong_weekday"
        assert health.drift is not None
        assert health.drift.s_per_day == 0

    def test_readings_come_in_any_order(self) -> None:
        readings = [fast_by(3 * n, EVENING - timedelta(days=20 - 10 * n)) for n in range(3)]

        assert judge(*readings) == judge(*readings[::-1])


class TestPrediction:
    SPRING = datetime(2027, 3, 20, 19, tzinfo=NEW_YORK)

    def predicted(
        self, *readings: ClockReading, at: datetime, by_itself: bool | None = None, zone: ZoneInfo = NEW_YORK
    ) -> PredictedOffset:
        return predict(judge(*readings, zone=zone), [at], zone=zone, changes_for_summer_time=by_itself)[0]

    def test_a_drifting_clock_goes_on_drifting(self) -> None:
        readings = [fast_by(0, EVENING - timedelta(days=30)), fast_by(5, EVENING)]  # 8 to 12 s a day
        found = self.predicted(*readings, at=EVENING + timedelta(days=30))

        assert (found.low_s, found.high_s) == (300 + 240, 360 + 360)
        assert (found.verdict, found.clock_change) == ("off", "none")

    def test_a_clock_that_shows_no_drift_may_run_like_a_bad_crystal(self) -> None:
        found = self.predicted(shown("19:52"), at=EVENING + timedelta(days=10))

        assert (found.low_s, found.high_s) == (-87, 60 + 87)  # 8.64 s a day
        assert found.verdict == "ok"

    @pytest.mark.parametrize(
        ("by_itself", "who", "verdict", "hours"),
        [
            (True, "by_itself", "ok", (0, 0)),
            (False, "by_hand", "off", (-1, -1)),
            (None, "not_known", "cannot_tell", (-1, 0)),
        ],
    )
    def test_at_the_next_clock_change_it_matters_who_makes_it(
        self, by_itself: bool | None, who: str, verdict: str, hours: Sequence[int]
    ) -> None:
        found = self.predicted(shown("19:52"), at=self.SPRING, by_itself=by_itself)

        assert (found.clock_change, found.verdict) == (who, verdict)
        assert found.low_s // 3600 == hours[0] - 1  # the drift's range reaches a little below
        assert found.high_s // 3600 == hours[1]

    def test_a_change_not_made_in_november_comes_right_in_march(self) -> None:
        found = self.predicted(shown("20:52"), at=self.SPRING, by_itself=False)

        assert found.verdict == "ok"

    def test_the_forecast_names_each_moment(self) -> None:
        moments = [EVENING + timedelta(days=1), EVENING + timedelta(days=2)]

        assert [found.at for found in predict(judge(shown("19:52")), moments, zone=NEW_YORK)] == moments
