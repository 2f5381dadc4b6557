"""The week in the controller's own days, and what a controller cannot hold (S1, S2)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time
from itertools import pairwise, product
from random import Random
from time import process_time

import pytest
from baizebook.controllers.convert import cannot_hold_out, day_out, plan_out
from baizebook.controllers.fit import CannotHold, Fitted, _fewest_wrong_minutes, fit
from baizebook.controllers.found_days import read_days
from baizebook.controllers.plan import plan
from baizebook.controllers.week_settings import Prices, SettingsWindow, dated_windows, listed_week, merged_windows
from baizebook.pool_tables.controller import Controller, Limits, TakeOver, controller_of
from baizebook.pricing.errors import DomainError
from baizebook.pricing.ladder import COUNTING_WORDS, Ladder, Rung
from baizebook.pricing.rate import Rate, Tier
from baizebook.pricing.tariff import Tariff
from baizebook.pricing.week import WEEKDAYS, OnDate, Recurring, Schedule, Weekly

GAMES = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
DAY = Tariff("USD", games=GAMES, id="day")
NIGHT = Tariff("USD", games=Ladder((Rung(100, 1),)), id="night")
FRIDAY_NIGHT = Weekly(name="Friday night", days=frozenset({4}), start=time(20), end=time(2), tariff=NIGHT)


def held(schedule: Schedule, controller: Controller, *, until: date = date(2026, 12, 6)) -> Fitted:
    coming = dated_windows(schedule, first_on=date(2026, 11, 30), last_on=until)
    listed = listed_week(schedule, turns_at=controller.day_turns_at)
    return fit(listed, controller, currency="USD", dated_windows=coming)


def base(ladder: Ladder | None = None, **kinds: object) -> Schedule:
    return Schedule(id="s", base=Tariff("USD", games=ladder, **kinds))  # type: ignore[arg-type]


def only(found: Fitted) -> CannotHold:
    assert len(found.cannot_hold) == 1
    return found.cannot_hold[0]


def spans(schedule: Schedule, turns_at: int, day: str) -> list[tuple[int, int, str]]:
    windows = listed_week(schedule, turns_at=turns_at)[WEEKDAYS.index(day)]
    return [(window.starts, window.ends, window.name) for window in windows]


def test_a_friday_night_to_two_is_two_pieces_for_a_controller_whose_day_turns_at_midnight() -> None:
    schedule = Schedule(id="s", base=DAY, weekly=(FRIDAY_NIGHT,))
    assert spans(schedule, 0, "fri") == [(0, 1200, "Base"), (1200, 1440, "Friday night")]
    assert spans(schedule, 0, "sat") == [(0, 120, "Friday night"), (120, 1440, "Base")]


def test_a_friday_night_to_two_is_one_piece_for_a_controller_whose_day_turns_at_six() -> None:
    schedule = Schedule(id="s", base=DAY, weekly=(FRIDAY_NIGHT,))
    assert spans(schedule, 360, "fri") == [(0, 840, "Base"), (840, 1200, "Friday night"), (1200, 1440, "Base")]
    assert spans(schedule, 360, "sat") == [(0, 1440, "Base")]


def test_a_sunday_night_reaches_into_monday() -> None:
    sunday = Weekly(name="Sunday night", days=frozenset({6}), start=time(23), end=time(1), tariff=NIGHT)
    assert spans(Schedule(id="s", base=DAY, weekly=(sunday,)), 0, "mon")[0] == (0, 60, "Sunday night")


def test_a_week_that_fits_leaves_nothing_out() -> None:
    assert held(base(GAMES), Controller()).cannot_hold == ()


def test_of_too_many_prices_the_one_goes_without_which_least_changes() -> None:
    found = held(base(Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 12)))), Controller(games=Limits(prices_max=2)))
    limitation, places = only(found).limitation, only(found).places
    assert limitation.code == "too_many_prices"
    assert limitation.found == "4.00 for 6 games"
    assert [place.day for place in places] == list(WEEKDAYS)
    assert [(row.amount, row.wanted, row.found) for row in limitation.effects] == [(400, 6, 5)]
    assert found.week.days[0].windows[0].prices.games == Ladder((Rung(75, 1), Rung(700, 12)))


def test_a_price_between_steps_goes_to_the_nearest_and_a_tie_to_the_player() -> None:
    found = held(base(Ladder((Rung(80, 1), Rung(450, 6)))), Controller(games=Limits(price_step=100)))
    assert [row.limitation.code for row in found.cannot_hold] == ["price_off_step", "price_off_step"]
    assert found.week.days[0].windows[0].prices.games == Ladder((Rung(100, 1), Rung(400, 6)))
    assert [(row.amount, row.wanted, row.found) for row in found.cannot_hold[0].limitation.effects] == [
        (80, 1, 0),
        (400, 5, 6),
    ]


def test_two_prices_that_meet_on_one_step_leave_the_higher_rung() -> None:
    found = held(base(Ladder((Rung(75, 1), Rung(110, 2)))), Controller(games=Limits(price_step=100)))
    assert [row.limitation.code for row in found.cannot_hold] == ["price_off_step", "price_off_step", "price_too_close"]
    assert found.week.days[0].windows[0].prices.games == Ladder((Rung(100, 2),))


def test_minutes_go_to_the_nearest_step_and_rungs_below_the_least_or_above_the_most_go() -> None:
    limits = Limits(units_step=10, units_min=20, units_max=60)
    found = held(base(minutes=Ladder((Rung(100, 5), Rung(400, 25), Rung(1200, 84)))), Controller(minutes=limits))
    assert [(row.limitation.code, row.limitation.found) for row in found.cannot_hold] == [
        ("units_out_of_bounds", "1.00 for 5 minutes"),
        ("units_off_step", "4.00 for 25 minutes"),
        ("units_out_of_bounds", "12.00 for 84 minutes"),
    ]
    assert found.week.days[0].windows[0].prices.minutes == Ladder((Rung(400, 30),))


def test_where_no_rung_is_within_the_least_and_most_the_plain_price_is_brought_there() -> None:
    found = held(base(minutes=Ladder((Rung(100, 5), Rung(200, 11)))), Controller(minutes=Limits(units_min=20)))
    assert [row.limitation.code for row in found.cannot_hold] == ["units_off_step", "units_out_of_bounds"]
    assert found.week.days[0].windows[0].prices.minutes == Ladder((Rung(100, 20),))


def test_another_way_of_counting_is_said_with_the_money_that_shows_it() -> None:
    limitation = only(held(base(GAMES), Controller(counting="climb_once"))).limitation
    assert (limitation.code, limitation.found) == ("counting_differs", COUNTING_WORDS["repeat"])
    assert [(row.amount, row.wanted, row.found) for row in limitation.effects] == [(1100, 17, 16), (1400, 22, 20)]
    far_apart = Ladder((Rung(100, 1), Rung(300, 4), Rung(1000, 16)))
    climbing = only(held(base(far_apart), Controller(counting="climb"))).limitation
    assert [(row.amount, row.wanted, row.found) for row in climbing.effects] == [(600, 8, 7)]


def test_a_price_that_is_a_step_back_in_the_controllers_way_of_counting_is_not_held() -> None:
    climbing = Ladder((Rung(100, 1), Rung(300, 4), Rung(1000, 12)), "climb")
    found = held(base(climbing), Controller(counting="repeat"))
    assert [row.limitation.code for row in found.cannot_hold] == ["price_too_close"]
    assert found.week.days[0].windows[0].prices.games == Ladder((Rung(100, 1), Rung(300, 4)), "repeat")


def test_prices_that_do_not_tell_the_ways_of_counting_apart_are_held_by_either() -> None:
    assert held(base(Ladder((Rung(75, 1),))), Controller(counting="climb_once")).cannot_hold == ()
    assert held(base(GAMES), Controller(counting="climb")).cannot_hold == ()


@pytest.mark.parametrize(
    ("schedule", "controller", "code"),
    [
        (base(GAMES, minutes=GAMES), Controller(kinds_at_once=False), "one_kind_at_once"),
        (base(GAMES), Controller(games=Limits(prices_max=0)), "kind_not_held"),
        (base(free=True), Controller(), "free_play_not_held"),
    ],
)
def test_what_the_controller_does_not_sell_is_said_once_for_all_days(
    schedule: Schedule, controller: Controller, code: str
) -> None:
    assert only(held(schedule, controller)).limitation.code == code
    assert len(only(held(schedule, controller)).places) == 7


def test_of_too_many_windows_those_stay_with_which_the_fewest_minutes_are_wrong() -> None:
    found = held(Schedule(id="s", base=DAY, weekly=(FRIDAY_NIGHT,)), Controller(windows_per_day=1))
    limitation, places = only(found).limitation, only(found).places
    assert limitation.code == "too_many_windows"
    assert limitation.instead == "the table sells 1 game for 0.75"
    assert [(place.day, place.starts, place.ends) for place in places] == [("fri", 1200, 1440), ("sat", 0, 120)]


@pytest.mark.parametrize("seed", range(60))
def test_no_choice_of_windows_is_right_for_more_minutes(seed: int) -> None:
    chance = Random(seed)
    sold = [Prices(Ladder((Rung(100 + n, 1),), "repeat")) for n in range(chance.randint(2, 3))]
    cuts = [0, *sorted(chance.sample(range(60, 1440, 60), chance.randint(3, 5))), 1440]
    wanted = merged_windows(SettingsWindow(starts, ends, chance.choice(sold)) for starts, ends in pairwise(cuts))
    most = chance.randint(1, 4)

    def right(prices: Sequence[Prices]) -> int:
        return sum(w.ends - w.starts for w, one in zip(wanted, prices, strict=True) if w.prices == one)

    def windows(prices: Sequence[Prices]) -> int:
        return 1 + sum(one != other for one, other in pairwise(prices))

    best = max(right(tried) for tried in product(sold, repeat=len(wanted)) if windows(tried) <= most)
    held = _fewest_wrong_minutes(wanted, most)
    assert len(held) <= most
    assert right([next(h.prices for h in held if w.starts < h.ends) for w in wanted]) == best


def test_a_day_of_400_windows_is_held_within_half_a_second() -> None:
    wanted = [SettingsWindow(n * 3, n * 3 + 3, Prices(Ladder((Rung(100 + n, 1),), "repeat"))) for n in range(480)]
    began = process_time()
    assert len(_fewest_wrong_minutes(wanted, 48)) == 48
    assert process_time() - began < 0.5


def test_time_paid_afterwards_is_never_held_and_what_is_sold_beside_it_is() -> None:
    hourly = Rate((Tier(from_minutes=0, price=900, per_minutes=60),))
    found = held(base(GAMES, metered=hourly), Controller())
    assert only(found).limitation.code == "metered_time_not_held"
    assert found.week.days[0].windows[0].prices.games == GAMES


TEAM_NIGHT = Recurring(
    name="Team night", start=time(19), end=time(23), tariff=NIGHT, occurs_on={date(2026, 12, 1), date(2026, 12, 8)}
)
INVENTORY = OnDate(name="Inventory", on=date(2026, 12, 2), tariff=None)
DATED = Schedule(id="s", base=DAY, recurring=(TEAM_NIGHT,), dates=(INVENTORY,))


def test_a_controller_that_knows_weekdays_only_is_keyed_by_hand_for_dates_and_back() -> None:
    found = held(DATED, Controller(), until=date(2026, 12, 13)).cannot_hold
    assert [(row.limitation.code, row.limitation.found) for row in found] == [
        ("date_not_held", "Team night: 1 game for 1.00"),
        ("date_not_held", "Inventory: nothing"),
    ]
    assert [place.day for place in found[0].places] == ["2026-12-01", "2026-12-08"]
    assert [(place.day, place.starts, place.ends) for place in found[1].places] == [
        ("2026-12-02", 360, 1440),
        ("2026-12-03", 0, 360),
    ]


def test_a_controller_that_knows_dates_holds_them_as_days_of_their_own() -> None:
    found = held(DATED, Controller(clock="date"))
    assert found.cannot_hold == ()
    assert [day.day for day in found.week.days[7:]] == ["2026-12-01", "2026-12-02", "2026-12-03"]


def test_a_date_that_changes_nothing_needs_nothing() -> None:
    schedule = Schedule(id="s", base=DAY, dates=(OnDate(name="As ever", on=date(2026, 12, 2), tariff=DAY),))
    assert held(schedule, Controller()).cannot_hold == ()


def test_a_controller_is_read_with_its_defaults_and_all_its_mistakes_are_told_at_once() -> None:
    data = {
        "games": {"prices_max": 7, "price_step": "0.25"},
        "day_turns_at": "06:00",
        "take_over": [{"from": "mon", "to": ["tue"]}],
    }
    assert controller_of(data, "USD") == Controller(
        games=Limits(prices_max=7, price_step=25), day_turns_at=360, take_over=(TakeOver("mon", ("tue",)),)
    )
    assert controller_of({}, "USD") == Controller()
    with pytest.raises(DomainError) as refused:
        controller_of({"colour": "red", "day_turns_at": "25:00", "minutes": {"units_step": 10, "units_max": 5}}, "USD")
    assert [fault.code for fault in refused.value.faults] == ["unknown_part", "bad_time", "bad_limit"]


def test_the_sheet_says_first_what_cannot_be_held() -> None:
    controller = Controller(
        games=Limits(prices_max=2), minutes=Limits(prices_max=0), windows_per_day=1, counting="repeat"
    )
    found = held(base(GAMES), controller)
    first = cannot_hold_out(found.cannot_hold[0], turns_at=0, currency="USD").model_dump(mode="json", by_alias=True)
    assert first["found"] == "7.00 for 11 games"
    assert first["places"][0] == {"day": "mon", "from": "00:00", "to": "00:00", "name": "Base"}
    sunday = day_out(found.week.days[6], turns_at=0, currency="USD").model_dump(mode="json", by_alias=True)
    assert sunday["windows"] == [
        {
            "from": "00:00",
            "to": "00:00",
            "games": {"prices": [{"price": "0.75", "units": 1}, {"price": "4.00", "units": 6}], "counting": "repeat"},
            "minutes": None,
            "free": False,
        }
    ]
    steps = plan(found.week, controller, currency="USD")
    assert plan_out(steps, "blank", turns_at=0, currency="USD").values_to_key == 7 * 5


def test_of_a_free_day_that_a_weekday_clock_without_free_play_has_one_thing_is_said() -> None:
    open_house = OnDate(name="Open house", on=date(2026, 12, 3), tariff=Tariff("USD", free=True))
    schedule = Schedule(id="s", base=NIGHT, dates=(open_house,))
    limitation = only(held(schedule, Controller())).limitation
    assert (limitation.code, limitation.instead) == ("free_play_not_held", "the table sells 1 game for 1.00")
    assert limitation.change == "a tariff with prices in its place, or somebody who starts play by hand that day"


def test_a_kind_of_which_nothing_is_stated_is_switched_off_only_if_the_controller_has_it() -> None:
    week = held(base(Ladder((Rung(100, 1),))), Controller(games=Limits(prices_max=2))).week
    words = {step.words for step in plan(week, Controller(games=Limits(prices_max=2)), currency="USD").steps}
    assert "Monday, window 1: switch minutes off, if the controller sells them" in words
    stated = Controller(minutes=Limits(prices_max=0))
    assert not any("minutes" in step.words for step in plan(week, stated, currency="USD").steps)


def test_settings_found_with_two_windows_at_once_are_refused() -> None:
    windows = [{"from": "10:00", "to": "20:00"}, {"from": "19:00", "to": "21:00"}]
    with pytest.raises(DomainError) as refused:
        read_days({"days": [{"day": "mon", "windows": windows}]}, turns_at=0, currency="USD")
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("bad_window", "days[0].windows")]


def test_what_the_windows_found_leave_out_is_closed() -> None:
    windows = [{"from": "10:00", "to": "20:00", "free": True}]
    (day,) = read_days({"days": [{"day": "mon", "windows": windows}]}, turns_at=360, currency="USD")
    assert [(w.starts, w.ends, w.prices.free) for w in day.windows] == [
        (0, 240, False),
        (240, 840, True),
        (840, 1440, False),
    ]


def test_a_limit_that_is_null_or_no_number_is_refused() -> None:
    with pytest.raises(DomainError) as refused:
        controller_of({"games": {"units_step": None, "prices_max": True, "units_min": 0}}, "USD")
    assert [fault.where for fault in refused.value.faults] == [
        "games.prices_max",
        "games.units_step",
        "games.units_min",
    ]


def test_settings_found_on_a_day_that_does_not_exist_are_refused() -> None:
    with pytest.raises(DomainError) as refused:
        read_days({"days": [{"day": "2026-02-30", "windows": []}]}, turns_at=0, currency="USD")
    assert [(fault.code, fault.where) for fault in refused.value.faults] == [("bad_day", "days[0].day")]


def test_a_controller_with_every_part_is_read() -> None:
    data = {
        "games": {"prices_max": 7, "price_step": "0.25"},
        "minutes": {"prices_max": 3, "units_step": 1, "units_min": 1, "units_max": 480},
        "kinds_at_once": True,
        "windows_per_day": 1,
        "counting": "repeat",
        "day_turns_at": "00:00",
        "take_over": [{"from": "mon", "to": ["tue", "wed", "thu"]}],
        "clock": "weekday",
        "changes_for_summer_time": False,
    }
    read = controller_of(data, "USD")
    assert (read.minutes.prices_max, read.minutes.units_max, read.windows_per_day, read.counting) == (
        3,
        480,
        1,
        "repeat",
    )
    assert read.take_over == (TakeOver("mon", ("tue", "wed", "thu")),)
