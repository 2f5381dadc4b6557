"""The search for the shortest plan, against trying out every row of single steps (S3)."""

from __future__ import annotations

from heapq import heappop, heappush

from baizebook.controllers.cells import Cell, Cells, Value, is_in_use, key
from baizebook.controllers.shortest import shortest
from hypothesis import given, settings
from hypothesis import strategies as st

GAMES = Cell(1, "games", 0, "prices")
MINUTES = Cell(1, "minutes", 0, "prices")


def pays(rung: int) -> Cell:
    return Cell(1, "games", rung, "price")


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


def day_with(draw: st.DrawFn, prices_max: int, plain: int) -> dict[Cell, Value]:
    cells: dict[Cell, Value] = {GAMES: draw(st.integers(0, prices_max))}
    for rung in range(1, int(cells[GAMES]) + 1):
        cells[pays(rung)] = draw(st.integers(1, 2))
    for number in range(plain):
        cells[Cell(1, "", 0, f"value {number}")] = draw(st.integers(1, 2))
    return cells


@st.composite
def problems(draw: st.DrawFn) -> tuple[list[Cells], list[Cells], list[tuple[int, int]]]:
    days, prices_max, plain = draw(st.sampled_from([(2, 2, 1), (3, 1, 0), (2, 1, 2), (3, 0, 1), (2, 2, 0), (2, 0, 4)]))
    wanted: list[Cells] = [day_with(draw, prices_max, plain) for _ in range(days)]
    blank = draw(st.booleans())
    current: list[Cells] = [{} if blank else day_with(draw, prices_max, plain) for _ in range(days)]
    pairs = [(a, b) for a in range(days) for b in range(days) if a != b]
    return current, wanted, draw(st.lists(st.sampled_from(pairs), unique=True))


@settings(max_examples=60)
@given(problems())
def test_no_row_of_single_steps_is_shorter_than_the_plan(
    problem: tuple[list[Cells], list[Cells], list[tuple[int, int]]],
) -> None:
    current, wanted, allowed = problem
    found = shortest(current, wanted, allowed)
    assert found.proved
    assert found.cost == tried_out(current, wanted, allowed)


def test_a_day_is_keyed_as_another_wants_it_lent_out_and_only_then_keyed_as_its_own() -> None:
    plain = [Cell(1, "", 0, name) for name in ("a", "b", "c")]
    own: Cells = dict.fromkeys(plain, 1)
    theirs: Cells = dict.fromkeys(plain, 2)
    found = shortest([{}] * 4, [own, theirs, theirs, theirs], [(0, 1), (0, 2), (0, 3)])
    assert found.cost == 3 + 3 + 3
    assert [(move.source, move.target) for move in found.moves[:3]] == [(0, 1), (0, 2), (0, 3)]


def test_a_search_cut_short_gives_a_plan_and_does_not_call_it_the_shortest() -> None:
    plain = [Cell(1, "", 0, name) for name in ("a", "b")]
    current: list[Cells] = [{}] * 3
    wanted: list[Cells] = [dict.fromkeys(plain, 1), {plain[0]: 1, plain[1]: 2}, {plain[0]: 1, plain[1]: 2}]
    found = shortest(current, wanted, [(0, 1), (0, 2)], most=0)
    assert not found.proved
    assert found.cost >= shortest(current, wanted, [(0, 1), (0, 2)]).cost == 5
