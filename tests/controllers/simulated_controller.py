"""A controller that does as it is told: it keys values one by one, and days take over settings (S3)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from baizebook.controllers.keyed_values import Cells, Value, ValuePlace, cells_of, day_of, is_in_use
from baizebook.controllers.plan import PlanStep
from baizebook.controllers.week_settings import WeekSettings
from baizebook.pool_tables.controller import Controller


def key(cells: Cells, cell: ValuePlace, value: Value) -> dict[ValuePlace, Value]:
    """Return the day after one value was keyed, which must be in use; what goes out of use is lost."""
    assert is_in_use(cell, cells)
    keyed = {**cells, cell: value}
    return {other: kept for other, kept in keyed.items() if is_in_use(other, keyed)}


def carry_out(
    steps: Sequence[PlanStep], controller: Controller, *, days: Iterable[str], current: WeekSettings | None
) -> WeekSettings:
    """Return what the controller holds on ``days`` after the steps, one by one; each must be one that it allows."""
    held: dict[str, Cells] = {day.day: cells_of(day, controller) for day in current.days} if current else {}
    for step in steps:
        if step.from_day is not None:
            assert any(row.from_day == step.from_day and step.day in row.to for row in controller.take_over)
            held[step.day] = held.get(step.from_day, {})
        for cell, value in step.cells:
            held[step.day] = key(held.get(step.day, {}), cell, value)
    return WeekSettings(tuple(day_of(day, held.get(day, {}), controller) for day in days))
