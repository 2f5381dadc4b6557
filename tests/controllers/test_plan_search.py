"""The search for the shortest plan, against trying out every row of single steps (S3)."""

from __future__ import annotations

import random
from datetime import time
from functools import partial
from heapq import heappop, heappush
from time import process_time

import pytest
from baizebook.controllers.fit import fit
from baizebook.controllers.keyed_values import Cells, Value, ValuePlace, is_in_use
from baizebook.controllers.plan import plan
from baizebook.controllers.plan_search import shortest
from baizebook.controllers.week_settings import WeekSettings, listed_week
from baizebook.pool_tables.controller import Controller, Limits, TakeOver
from baizebook.pricing import Ladder, Rung, Schedule, Tariff, Weekly
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.controllers.simulated_controller import key

GAMES = ValuePlace(1, "games", 0, "prices")
MINUTES = ValuePlace(1, "minutes", 0, "prices")


def pays(rung: int) -> ValuePlace:
    return ValuePlace(1, "games", rung, "price")


def tried_out(current: list[Cells], wanted: list[Cells], allowed: list[tuple[int, int]]) -> int:
    """Key every value everywhere, take over everything, cheapest first, until the days are as wanted."""
    values = {(cell, value) for day in (*current, *wanted) for cell, value in day.items()}
    start = tuple(frozenset(day.items()) for day in current)
    goal = tuple(frozenset(day.items()) for day in wanted)
    heap, least, ticket = [(0, 0, start)], {start: 0}, 0
    while heap:
        cost, _, state = heappop(heap)
        if state == goal:
            return cost
        if cost > least[state]:
            continue
        ways = [(target, state[source]) for source, target in allowed]
        for day, held in enumerate(state):
            cells = dict(held)
            ways += [(day, frozenset(key(cells, c, v).items())) for c, v in values if is_in_use(c, cells)]
        for day, held in ways:
            after = (*state[:day], held, *state[day + 1 :])
            if cost + 1 < least.get(after, 1 << 30):
                least[after] = cost + 1
                ticket += 1
                heappush(heap, (cost + 1, ticket, after))
    raise AssertionError("no way")


def day_with(draw: st.DrawFn, prices_max: int, plain: int) -> dict[ValuePlace, Value]:
    cells: dict[ValuePlace, Value] = {GAMES: draw(st.integers(0, prices_max))}
    for rung in range(1, int(cells[GAMES]) + 1):
        cells[pays(rung)] = draw(st.integers(1, 2))
    for number in range(plain):
        cells[ValuePlace(1, "", 0, f"value {number}")] = draw(st.integers(1, 2))
    return cells


@st.composite
def problems(draw: st.DrawFn) -> tuple[list[Cells], list[Cells], list[tuple[int, int]]]:
    days, prices_max, plain = draw(st.sampled_from([(2, 2, 1), (3, 1, 0), (2, 1, 2), (3, 0, 1), (2, 2, 0), (2, 0, 4)]))
    wanted: list[Cells] = [day_with(draw, prices_max, plain) for _ in range(days)]
    blank = draw(st.booleans())
    current: list[Cells] = [{} if blank else day_with(draw, prices_max, plain) for _ in range(days)]
    pairs = [(a, b) for a in range(days) for b in range(days) if a != b]
    return current, wanted, draw(st.lists(st.sampled_from(pairs), unique=True))


@settings(max_examples=25)
@given(problems())
def test_no_row_of_single_steps_is_shorter_than_the_plan(
    problem: tuple[list[Cells], list[Cells], list[tuple[int, int]]],
) -> None:
    current, wanted, allowed = problem
    found = shortest(current, wanted, allowed)
    assert found.proved
    assert found.cost == tried_out(current, wanted, allowed)


def test_a_day_is_keyed_as_another_wants_it_lent_out_and_only_then_keyed_as_its_own() -> None:
    plain = [ValuePlace(1, "", 0, name) for name in ("a", "b", "c")]
    own: Cells = dict.fromkeys(plain, 1)
    theirs: Cells = dict.fromkeys(plain, 2)
    found = shortest([{}] * 4, [own, theirs, theirs, theirs], [(0, 1), (0, 2), (0, 3)])
    assert found.cost == 3 + 3 + 3
    assert [(move.source, move.target) for move in found.moves[:3]] == [(0, 1), (0, 2), (0, 3)]


def test_a_search_cut_short_gives_a_plan_and_does_not_call_it_the_shortest() -> None:
    plain = [ValuePlace(1, "", 0, name) for name in ("a", "b")]
    current: list[Cells] = [{}] * 3
    wanted: list[Cells] = [dict.fromkeys(plain, 1), {plain[0]: 1, plain[1]: 2}, {plain[0]: 1, plain[1]: 2}]
    found = shortest(current, wanted, [(0, 1), (0, 2)], most=0)
    assert not found.proved
    assert found.cost >= shortest(current, wanted, [(0, 1), (0, 2)]).cost == 5


DAYS_OF_A_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def week_of(controller: Controller, base: Tariff, *weekly: Weekly) -> WeekSettings:
    schedule = Schedule(id="s", base=base, weekly=weekly)
    return fit(listed_week(schedule, turns_at=controller.day_turns_at), controller, currency="USD").week


def tariff(name: str, *prices: tuple[int, int]) -> Tariff:
    return Tariff("USD", games=Ladder(tuple(Rung(price, units) for price, units in prices)), id=name)


def test_on_real_profiles_plain_greedy_keys_more_values_than_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """Games only, three windows a day, Monday's settings can be taken over by every other day: why there is a search."""
    controller = Controller(
        minutes=Limits(prices_max=0), windows_per_day=3, take_over=(TakeOver("mon", DAYS_OF_A_WEEK[1:]),)
    )
    day, night = tariff("day", (100, 1), (400, 5), (900, 12)), tariff("night", (125, 1), (450, 4), (1100, 11))
    cheap, deal = tariff("cheap", (100, 1)), tariff("deal", (100, 1), (600, 8))
    choose, keyed = random.Random(5), list[tuple[int, int]]()
    for _ in range(12):
        weeks = []
        for _ in range(2):
            windows = [
                Weekly(
                    name=f"window {number}",
                    days=frozenset(choose.sample(range(7), choose.randint(1, 4))),
                    start=time(choose.choice((12, 15, 18))),
                    end=time(choose.choice((20, 22, 23))),
                    tariff=choose.choice((day, night, cheap, deal, None)),
                )
                for number in range(choose.randint(0, 2))
            ]
            weeks.append(week_of(controller, choose.choice((day, night, cheap, deal)), *windows))
        searched = plan(weeks[1], controller, currency="USD", current=weeks[0]).values_to_key
        with monkeypatch.context() as patched:
            patched.setattr("baizebook.controllers.plan.shortest", partial(shortest, most=0))
            greedy = plan(weeks[1], controller, currency="USD", current=weeks[0]).values_to_key
        keyed.append((searched, greedy))
    assert all(searched <= greedy for searched, greedy in keyed)
    assert sum(searched < greedy for searched, greedy in keyed) >= 3, keyed


def test_a_week_of_very_many_values_is_planned_within_the_budget_and_says_that_a_shorter_plan_may_exist() -> None:
    controller = Controller(
        take_over=tuple(
            TakeOver(day, tuple(other for other in DAYS_OF_A_WEEK if other != day)) for day in DAYS_OF_A_WEEK
        )
    )

    def many(number: int) -> Tariff:
        prices = ((100 * place + number, 3 * place) for place in range(1, 51))
        return tariff(f"t{number}", *prices)

    def week(shift: int) -> WeekSettings:
        windows = [
            Weekly(
                name=f"{day} {number}",
                days=frozenset({day}),
                start=time(6 + number, 10),
                end=time(6 + number, 50),
                tariff=many((day * 14 + number) * shift % 90),
            )
            for day in range(7)
            for number in range(14)
        ]
        return week_of(controller, many(99), *windows)

    started = process_time()
    found = plan(week(7), controller, currency="USD", current=week(1))
    assert not found.proved
    assert process_time() - started < 8
