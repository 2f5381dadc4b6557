"""The plan, carried out step by step by a simulated controller (S3)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

from baizebook.controllers.convert import day_out
from baizebook.controllers.fit import fit
from baizebook.controllers.found_days import read_days
from baizebook.controllers.plan import plan
from baizebook.controllers.week_settings import WeekSettings, dated_windows, listed_week
from baizebook.pool_tables.controller import Controller, Limits, TakeOver
from baizebook.pricing.ladder import WAYS_OF_COUNTING, Ladder, Rung
from baizebook.pricing.tariff import Tariff
from baizebook.pricing.week import WEEKDAYS, OnDate, Schedule, Weekly
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.controllers.simulated_controller import carry_out

GAMES = Ladder((Rung(75, 1), Rung(400, 6), Rung(700, 11)))
MINUTES = Ladder((Rung(400, 25), Rung(1200, 84)))
NO_MINUTES = Limits(prices_max=0)
FROM_MONDAY = (TakeOver("mon", WEEKDAYS[1:]),)


def week_of(schedule: Schedule, controller: Controller) -> WeekSettings:
    return fit(listed_week(schedule, turns_at=controller.day_turns_at), controller, currency="USD").week


def test_a_week_of_one_tariff_is_keyed_on_one_day_and_taken_over_six_times() -> None:
    controller = Controller(minutes=NO_MINUTES, windows_per_day=1, counting="repeat", take_over=FROM_MONDAY)
    week = week_of(Schedule(id="s", base=Tariff("USD", games=GAMES)), controller)
    found = plan(week, controller, currency="USD")
    assert found.values_to_key == 1 + 3 * 2 + 6
    assert found.proved
    assert [step.words for step in found.steps[:5]] == [
        "Monday: key 3 prices for games",
        "Monday: key 0.75 for 1 game",
        "Monday: key 4.00 for 6 games",
        "Monday: key 7.00 for 11 games",
        "Tuesday: take over the settings of Monday",
    ]


def test_a_kind_that_is_not_sold_costs_only_its_switch() -> None:
    controller = Controller(windows_per_day=1, counting="repeat", take_over=FROM_MONDAY)
    week = week_of(Schedule(id="s", base=Tariff("USD", games=GAMES)), controller)
    found = plan(week, controller, currency="USD")
    assert found.values_to_key == 7 + 1 + 6
    assert [step.words for step in found.steps if step.kind == "switch_off"] == [
        "Monday: switch minutes off, if the controller sells them"
    ]


def test_what_already_stands_costs_nothing() -> None:
    controller = Controller(minutes=NO_MINUTES, windows_per_day=1, counting="repeat")
    old = week_of(Schedule(id="a", base=Tariff("USD", games=Ladder((Rung(75, 1), Rung(400, 6))))), controller)
    new = week_of(Schedule(id="b", base=Tariff("USD", games=Ladder((Rung(75, 1), Rung(350, 6))))), controller)
    assert plan(old, controller, currency="USD", current=old).steps == ()
    found = plan(new, controller, currency="USD", current=old)
    assert found.values_to_key == 7
    assert found.steps[0].words == "Monday: key 3.50 for 6 games"


def test_the_weekend_takes_over_a_day_that_is_then_keyed_as_its_own_and_lent_to_the_rest() -> None:
    controller = Controller(minutes=NO_MINUTES, windows_per_day=1, counting="repeat", take_over=FROM_MONDAY)
    weekend = Tariff("USD", games=Ladder((Rung(100, 1), Rung(400, 6), Rung(700, 11))))
    schedule = Schedule(
        id="s",
        base=Tariff("USD", games=GAMES),
        weekly=(Weekly(name="Weekend", days=frozenset({4, 5}), tariff=weekend),),
        day_starts_at=time(0),
    )
    found = plan(week_of(schedule, controller), controller, currency="USD")
    assert found.values_to_key == 7 + 2 + 1 + 4
    assert [step.words for step in found.steps[1:2] + found.steps[4:7]] == [
        "Monday: key 1.00 for 1 game",
        "Friday: take over the settings of Monday",
        "Saturday: take over the settings of Monday",
        "Monday: key 0.75 for 1 game",
    ]


LADDERS = st.sampled_from(
    [None, GAMES, MINUTES, Ladder((Rung(80, 1),)), Ladder((Rung(100, 1), Rung(500, 7)), "climb_once")]
)


@st.composite
def tariffs(draw: st.DrawFn) -> Tariff | None:
    games, minutes = draw(LADDERS), draw(LADDERS)
    if games or minutes:
        return Tariff("USD", games, minutes)
    return draw(st.sampled_from([None, Tariff("USD", free=True)]))


@st.composite
def schedules(draw: st.DrawFn) -> Schedule:
    weekly = [
        Weekly(
            name=f"Window {number}",
            days=draw(st.frozensets(st.integers(0, 6), min_size=1)),
            start=draw(st.sampled_from([None, time(15), time(20)])),
            end=draw(st.sampled_from([None, time(23), time(2)])),
            tariff=draw(tariffs()),
        )
        for number in range(draw(st.integers(0, 2)))
    ]
    dated = OnDate(name="Inventory", on=date(2026, 12, 3), tariff=draw(tariffs()))
    return Schedule(id="s", base=draw(tariffs()), weekly=tuple(weekly), dates=draw(st.sampled_from([(), (dated,)])))


@st.composite
def controllers(draw: st.DrawFn) -> Controller:
    limits = st.builds(
        Limits,
        prices_max=st.sampled_from([None, 0, 1, 2]),
        price_step=st.sampled_from([1, 25]),
        units_step=st.sampled_from([1, 4]),
    )
    sources = draw(st.lists(st.sampled_from(WEEKDAYS), max_size=2, unique=True))
    to = {
        source: draw(st.lists(st.sampled_from([d for d in WEEKDAYS if d != source]), unique=True)) for source in sources
    }
    return Controller(
        games=draw(limits),
        minutes=draw(limits),
        kinds_at_once=draw(st.booleans()),
        free=draw(st.booleans()),
        windows_per_day=draw(st.sampled_from([None, 1, 2])),
        counting=draw(st.sampled_from([None, *WAYS_OF_COUNTING])),
        day_turns_at=draw(st.sampled_from([0, 360, 720])),
        take_over=tuple(TakeOver(source, tuple(days)) for source, days in to.items()),
        clock=draw(st.sampled_from(["weekday", "date"])),
    )


def held_by(schedule: Schedule, controller: Controller) -> WeekSettings:
    dates = dated_windows(schedule, first_on=date(2026, 11, 30), last_on=date(2026, 12, 13))
    listed = listed_week(schedule, turns_at=controller.day_turns_at)
    return fit(listed, controller, currency="USD", dated_windows=dates).week


@settings(max_examples=40)
@given(schedules(), st.none() | schedules(), controllers())
def test_carried_out_step_by_step_the_plan_gives_exactly_the_week(
    schedule: Schedule, before: Schedule | None, controller: Controller
) -> None:
    week = held_by(schedule, controller)
    current = held_by(before, controller) if before else None
    found = plan(week, controller, currency="USD", current=current)
    days = [day.day for day in week.days]
    assert carry_out(found.steps, controller, days=days, current=current) == week
    assert found.values_to_key == sum(step.values_to_key for step in found.steps)
    keyed_by_hand = plan(week, replace(controller, take_over=()), currency="USD", current=current)
    assert found.values_to_key <= keyed_by_hand.values_to_key


@settings(max_examples=40)
@given(schedules(), controllers())
def test_settings_written_and_read_again_are_the_same(schedule: Schedule, controller: Controller) -> None:
    week, turns_at = held_by(schedule, controller), controller.day_turns_at
    written = {
        "days": [
            day_out(day, turns_at=turns_at, currency="USD").model_dump(mode="json", by_alias=True) for day in week.days
        ]
    }
    assert read_days(written, turns_at=turns_at, currency="USD") == week.days
