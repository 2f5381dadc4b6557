"""A day's settings as the single values that are keyed.

S3 counts in these values. A *value* is one of

- the number of windows in use, unless the controller has one window a day;
- the time at which a window after the first starts; it ends where the next starts, the last when the day turns;
- whether play is free in a window, where the controller has a setting for it;
- for each kind that the controller sells, in each window, its switch: the number of rungs in use, 0 being off;
- what ``counting`` is, where two rungs or more are in use and the controller lets it be keyed;
- what a rung in use pays, and how many units it gives: two values.

A switch guards what it switches: the values of a window, kind or rung that goes out of use are taken for lost, so that a
plan never counts on a controller to remember them. In a blank day no value is known, and each must be keyed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, cast

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import A_DAY
from ..pricing.errors import domain_error
from ..pricing.ladder import Counting, Ladder, Rung
from ..pricing.lines import PREPAID_KINDS
from .week_settings import Day, Prices, SettingsWindow

Value = int | str


class ValuePlace(NamedTuple):
    """Where a value stands: window (from 1; 0 is the day itself), kind, rung (from 1) and which value it is."""

    window: int
    sells: str
    rung: int
    name: str


Cells = Mapping[ValuePlace, Value]


WINDOWS = ValuePlace(0, "", 0, "windows")


def is_switch(cell: ValuePlace) -> bool:
    """Tell whether a value puts others in use."""
    return cell.name in ("windows", "prices")


def guard_of(cell: ValuePlace) -> tuple[ValuePlace, int] | None:
    """Return the switch that puts a value in use, and the least that it must stand at; None for what always is."""
    if cell.name == "counting":
        return ValuePlace(cell.window, cell.sells, 0, "prices"), 2
    if cell.rung:
        return ValuePlace(cell.window, cell.sells, 0, "prices"), cell.rung
    return (WINDOWS, cell.window) if cell.window > 1 else None


def in_order(cell: ValuePlace) -> tuple[int, str, int, bool, str]:
    """Sort key: a switch before what it switches, windows and rungs from the first up."""
    return cell.window, cell.sells, cell.rung, cell.name != "prices", cell.name


def is_in_use(cell: ValuePlace, cells: Cells) -> bool:
    """Tell whether a day with these values uses ``cell``."""
    guard = guard_of(cell)
    return guard is None or (int(cells.get(guard[0], 0)) >= guard[1] and is_in_use(guard[0], cells))


def cells_of(day: Day, controller: Controller) -> dict[ValuePlace, Value]:
    """Return all the values of a day's settings, in the order in which they are keyed."""
    cells: dict[ValuePlace, Value] = {} if controller.windows_per_day == 1 else {WINDOWS: len(day.windows)}
    for number, window in enumerate(day.windows, start=1):
        if number > 1:
            cells[ValuePlace(number, "", 0, "from")] = window.starts
        if controller.free:
            cells[ValuePlace(number, "", 0, "free")] = int(window.prices.free)
        for kind in PREPAID_KINDS:
            if controller.limits(kind).sold:
                cells |= _cells_of_ladder(number, kind, window.prices.ladder(kind), controller)
    return cells


def day_of(name: str, cells: Cells, controller: Controller) -> Day:
    """Return the settings that a day's values make; refuse a day in which a value is not known (``not_keyed``)."""
    try:
        count = 1 if controller.windows_per_day == 1 else int(cells[WINDOWS])
        starts = [0, *(int(cells[ValuePlace(number, "", 0, "from")]) for number in range(2, count + 1)), A_DAY]
        prices = [_prices(number, cells, controller) for number in range(1, count + 1)]
    except KeyError as missing:
        raise domain_error(
            "not_keyed", where=name, found=f"no value for {missing}", expected="every value keyed"
        ) from None
    return Day(name, tuple(SettingsWindow(starts[i], starts[i + 1], sold) for i, sold in enumerate(prices)))


def _cells_of_ladder(number: int, kind: str, ladder: Ladder | None, controller: Controller) -> dict[ValuePlace, Value]:
    rungs = ladder.rungs if ladder else ()
    cells: dict[ValuePlace, Value] = {ValuePlace(number, kind, 0, "prices"): len(rungs)}
    if ladder and len(rungs) > 1 and controller.counting is None:
        cells[ValuePlace(number, kind, 0, "counting")] = ladder.counting
    for height, rung in enumerate(rungs, start=1):
        cells[ValuePlace(number, kind, height, "price")] = rung.price
        cells[ValuePlace(number, kind, height, "units")] = rung.units
    return cells


def _prices(number: int, cells: Cells, controller: Controller) -> Prices:
    games, minutes = (_ladder(number, kind, cells, controller) for kind in PREPAID_KINDS)
    return Prices(games, minutes, bool(controller.free and cells[ValuePlace(number, "", 0, "free")]))


def _ladder(number: int, kind: str, cells: Cells, controller: Controller) -> Ladder | None:
    count = int(cells[ValuePlace(number, kind, 0, "prices")]) if controller.limits(kind).sold else 0
    if not count:
        return None
    rungs = tuple(
        Rung(
            int(cells[ValuePlace(number, kind, height, "price")]), int(cells[ValuePlace(number, kind, height, "units")])
        )
        for height in range(1, count + 1)
    )
    keyed = cells[ValuePlace(number, kind, 0, "counting")] if count > 1 and controller.counting is None else "repeat"
    return Ladder(rungs, controller.counting or cast("Counting", keyed))
