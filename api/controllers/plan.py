"""The plan that brings a controller to a week, step by step (S3).

- A step keys one value, or the price and units of one rung; or lets a day take over another's settings; or switches a
  kind off. A value keyed counts one, a take-over one, a kind not sold only its switch.
- Without current settings everything is blank, and every value is keyed; what already stands costs nothing.
- The plan is the shortest (``plan_search.py``); ``proved`` is false where the search was cut short.
- Carried out step by step on the current settings it gives exactly the week.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, cast

from ..pool_tables.controller import Controller, Limits
from ..pool_tables.controller_days import day_in_words, time_of_day
from ..pricing.errors import domain_error
from ..pricing.ladder import COUNTING_WORDS, Counting, count_in_words
from ..pricing.lines import Kind
from ..pricing.money import format_money
from ..pricing.week import WEEKDAYS
from .keyed_values import Cells, Value, ValuePlace, cells_of, day_of, in_order
from .plan_search import Move, shortest
from .week_settings import WeekSettings

StepKind = Literal["key", "take_over", "switch_off"]


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One thing to do on a day: key ``cells``, or take over the settings of ``from_day``; ``words`` say it."""

    kind: StepKind
    day: str
    words: str
    from_day: str | None = None
    cells: tuple[tuple[ValuePlace, Value], ...] = ()

    @property
    def values_to_key(self) -> int:
        """How many values the step keys; taking over a day's settings counts as one."""
        return len(self.cells) or 1


@dataclass(frozen=True, slots=True)
class Plan:
    """The steps in order, how many values they key in all, and whether no plan can key fewer."""

    steps: tuple[PlanStep, ...]
    values_to_key: int
    proved: bool


@dataclass(frozen=True, slots=True)
class _PlanTerms:
    controller: Controller
    currency: str


def plan(wanted: WeekSettings, controller: Controller, *, currency: str, current: WeekSettings | None = None) -> Plan:
    """Return the shortest plan from ``current`` (None: nothing is known) to ``wanted``, which the controller must hold.

    Refuses (``not_holdable``) a week that the controller's settings cannot express.
    """
    goals = _cells_by_day(wanted, controller)
    for day, cells in goals.items():
        if day_of(day, cells, controller) != wanted.day(day):
            raise domain_error(
                "not_holdable", where=day, found="other settings", expected="settings that the controller holds"
            )
    known = _cells_by_day(current, controller) if current else {}
    names = list(goals)
    allowed = [(names.index(row.from_day), names.index(day)) for row in controller.take_over for day in row.to]
    week = shortest([known.get(day, {}) for day in WEEKDAYS], [goals[day] for day in WEEKDAYS], allowed)
    dated = [Move(place, goals[day], None) for place, day in enumerate(names) if place >= len(WEEKDAYS)]
    steps = tuple(_steps([*week.moves, *dated], names, known, _PlanTerms(controller, currency)))
    return Plan(steps, sum(step.values_to_key for step in steps), week.proved)


def _cells_by_day(week: WeekSettings, controller: Controller) -> dict[str, dict[ValuePlace, Value]]:
    return {day.day: cells_of(day, controller) for day in week.days}


def _steps(
    moves: Sequence[Move], names: Sequence[str], known: dict[str, dict[ValuePlace, Value]], terms: _PlanTerms
) -> list[PlanStep]:
    held: dict[str, Cells] = dict(known)
    steps: list[PlanStep] = []
    for move in moves:
        day = names[move.source]
        before = held.get(day, {})
        differing = [cell for cell in sorted(move.cells, key=in_order) if before.get(cell) != move.cells[cell]]
        for _, cells in groupby(differing, key=_keyed_together):
            steps.append(_key_step(day, list(cells), move.cells, terms))
        held[day] = move.cells
        if move.target is not None:
            target = names[move.target]
            words = f"{day_in_words(target)}: take over the settings of {day_in_words(day)}"
            steps.append(PlanStep("take_over", target, words, from_day=day))
            held[target] = move.cells
    return steps


def _keyed_together(cell: ValuePlace) -> object:
    return (cell.window, cell.sells, cell.rung) if cell.rung else cell


def _key_step(day: str, cells: list[ValuePlace], settings: Cells, terms: _PlanTerms) -> PlanStep:
    first = cells[0]
    where = day_in_words(day)
    if first.window and terms.controller.windows_per_day != 1:
        where += f", window {first.window}"
    off = first.name in ("prices", "free") and not settings[first]
    kind: StepKind = "switch_off" if off else "key"
    return PlanStep(
        kind, day, f"{where}: {_said(first, settings, terms)}", cells=tuple((c, settings[c]) for c in cells)
    )


def _said(cell: ValuePlace, settings: Cells, terms: _PlanTerms) -> str:
    value = settings[cell]
    if cell.rung:
        return _rung_said(cell, settings, terms.currency)
    if cell.name == "windows":
        return f"key {value} window{'' if value == 1 else 's'}"
    if cell.name == "from":
        return f"key the start {time_of_day(terms.controller.day_turns_at + int(value))}"
    if cell.name == "free":
        return "switch free play on" if value else "switch free play off"
    if cell.name == "counting":
        return f"key for {cell.sells}: {COUNTING_WORDS[cast('Counting', value)]}"
    if value:
        return f"key {value} price{'' if value == 1 else 's'} for {cell.sells}"
    stated = terms.controller.limits(cell.sells) != Limits()
    return f"switch {cell.sells} off{'' if stated else ', if the controller sells them'}"


def _rung_said(cell: ValuePlace, settings: Cells, currency: str) -> str:
    """Say the whole rung; where its other value is not known yet, the one value and which rung it belongs to."""
    kind: Kind = "games" if cell.sells == "games" else "minutes"
    pays, units = (settings.get(cell._replace(name=name)) for name in ("price", "units"))
    if pays is None:
        return f"key {count_in_words(int(settings[cell]), kind)} for price {cell.rung}"
    price = format_money(int(pays), currency)
    return (
        f"key {price} as price {cell.rung} for {kind}"
        if units is None
        else f"key {price} for {count_in_words(int(units), kind)}"
    )
