"""The sheet as it is sent, and settings as they are sent and read: plain fields, money as strings, times as ``HH:MM``.

- A day's windows run from one wall-clock time to another of the controller's day; equal times are the whole day.
- A window with neither games nor minutes nor free play is closed. What a reading's windows leave out is closed too.
- Settings written and read again are the same settings.

The fields are those of the JSON; only ``from`` is spelled ``from_`` here, since Python keeps that word for itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import A_DAY, minute_of_day, time_of_day, weekday_of
from ..pricing.errors import DomainError, Fault, domain_error
from ..pricing.ladder import Ladder, Rung
from ..pricing.money import format_money, parse_money
from .effects import Effect
from .fit import CannotHold, Held
from .plan import Plan, Step
from .week_settings import NOTHING, Day, Prices, Window, tidy


@dataclass(frozen=True, slots=True)
class RungShape:
    """One price and what it buys."""

    price: str
    units: int


@dataclass(frozen=True, slots=True)
class LadderShape:
    """The prices of one kind, and what money past the last one buys."""

    prices: tuple[RungShape, ...]
    counting: str


@dataclass(frozen=True, slots=True)
class WindowShape:
    """What is sold between two times of a day."""

    from_: str
    to: str
    games: LadderShape | None
    minutes: LadderShape | None
    free: bool


@dataclass(frozen=True, slots=True)
class DayShape:
    """The settings of one day: ``mon`` … ``sun``, or a date."""

    day: str
    windows: tuple[WindowShape, ...]


@dataclass(frozen=True, slots=True)
class PlaceShape:
    """Where something is wanted: the day, the times, the name of the schedule's entry."""

    day: str
    from_: str
    to: str
    name: str


@dataclass(frozen=True, slots=True)
class EffectShape:
    """What an amount buys, and what it should buy."""

    sells: str
    amount: str
    wanted: int
    found: int


@dataclass(frozen=True, slots=True)
class CannotHoldShape:
    """One thing that the controller cannot hold, and everywhere it is wanted."""

    code: str
    sells: str | None
    found: str
    limit: str
    change: str
    instead: str
    places: tuple[PlaceShape, ...]
    effects: tuple[EffectShape, ...]


@dataclass(frozen=True, slots=True)
class ValueShape:
    """One value to key; null where it belongs to the day, the window or the kind as a whole."""

    window: int | None
    sells: str | None
    rung: int | None
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class StepShape:
    """One thing to do; ``from_day`` only where a day is taken over, ``values`` only where it is not."""

    kind: str
    day: str
    from_day: str | None
    words: str
    counts: int
    values: tuple[ValueShape, ...]


@dataclass(frozen=True, slots=True)
class SheetShape:
    """What cannot be held comes first (S2), then the week to be keyed, then how."""

    cannot_hold: tuple[CannotHoldShape, ...]
    days: tuple[DayShape, ...]
    steps: tuple[StepShape, ...]
    counts: int
    shortest: bool


def sheet(held: Held, plan: Plan, controller: Controller, *, currency: str) -> SheetShape:
    """Return the sheet of a table in its plain form."""
    turns_at = controller.day_turns_at
    return SheetShape(
        tuple(_cannot_hold(row, turns_at, currency) for row in held.cannot_hold),
        tuple(day_shape(day, turns_at=turns_at, currency=currency) for day in held.week.days),
        tuple(_step(step, turns_at, currency) for step in plan.steps),
        plan.counts,
        plan.proved,
    )


def day_shape(day: Day, *, turns_at: int, currency: str) -> DayShape:
    """Return a day's settings in their plain form; ``turns_at`` in minutes after midnight."""
    windows = (
        WindowShape(
            time_of_day(turns_at + window.starts),
            time_of_day(turns_at + window.ends),
            _ladder_shape(window.prices.games, currency),
            _ladder_shape(window.prices.minutes, currency),
            window.prices.free,
        )
        for window in day.windows
    )
    return DayShape(day.day, tuple(windows))


def effect_shape(effect: Effect, currency: str) -> EffectShape:
    """Return what one amount buys, in its plain form."""
    return EffectShape(effect.sells, format_money(effect.amount, currency), effect.wanted, effect.found)


def to_json(shape: Any) -> Any:
    """Return a shape as dicts and lists, the way JSON has it."""
    if is_dataclass(shape):
        return {field.name.rstrip("_"): to_json(getattr(shape, field.name)) for field in fields(shape)}
    return [to_json(item) for item in shape] if isinstance(shape, (tuple, list)) else shape


def read_days(data: Mapping[str, Any], *, turns_at: int, currency: str) -> tuple[Day, ...]:
    """Read the ``settings`` of a reading, ``{"days": [...]}``, whose form has been checked.

    Refuses, all at once, what cannot be: a time or price that is none, windows that overlap or pass the day's turn
    (``bad_window``), a ladder that cannot exist. Days that are not reported are left out.
    """
    days, faults = [], list[Fault]()
    for index, row in enumerate(data["days"]):
        try:
            days.append(_read_day(row, turns_at, currency))
        except DomainError as error:
            faults += error.within(f"days[{index}]").faults
    if faults:
        raise DomainError(*faults)
    return tuple(days)


def _read_day(row: Mapping[str, Any], turns_at: int, currency: str) -> Day:
    weekday_of(row["day"])
    found = sorted((_read_window(w, turns_at, currency) for w in row["windows"]), key=lambda window: window.starts)
    windows, at = list[Window](), 0
    for window in found:
        if window.starts < at:
            time = time_of_day(turns_at + window.starts)
            raise domain_error("bad_window", where="windows", found=f"two windows at {time}", expected="one at a time")
        windows += [Window(at, window.starts, NOTHING)] if window.starts > at else []
        windows.append(window)
        at = window.ends
    windows += [Window(at, A_DAY, NOTHING)] if at < A_DAY else []
    return Day(row["day"], tidy(windows))


def _read_window(row: Mapping[str, Any], turns_at: int, currency: str) -> Window:
    starts = (minute_of_day(row["from"], where="from") - turns_at) % A_DAY
    ends = (minute_of_day(row["to"], where="to") - turns_at) % A_DAY or A_DAY
    if row["from"] == row["to"]:
        starts, ends = 0, A_DAY
    if starts >= ends:
        expected = f"an end by {time_of_day(turns_at)}, when the day turns"
        raise domain_error("bad_window", where="to", found=f"{row['from']}-{row['to']}", expected=expected)
    games, minutes = (_read_ladder(row.get(kind), kind, currency) for kind in ("games", "minutes"))
    return Window(starts, ends, Prices(games, minutes, bool(row.get("free"))))


def _read_ladder(row: Mapping[str, Any] | None, kind: str, currency: str) -> Ladder | None:
    if row is None:
        return None
    try:
        rungs = tuple(
            Rung(parse_money(rung["price"], currency, where="price"), rung["units"]) for rung in row["prices"]
        )
        return Ladder(rungs, row.get("counting", "repeat"))
    except DomainError as error:
        raise error.within(kind) from None


def _ladder_shape(ladder: Ladder | None, currency: str) -> LadderShape | None:
    if ladder is None:
        return None
    rungs = (RungShape(format_money(rung.price, currency), rung.units) for rung in ladder.rungs)
    return LadderShape(tuple(rungs), ladder.counting)


def _cannot_hold(row: CannotHold, turns_at: int, currency: str) -> CannotHoldShape:
    misfit = row.misfit
    places = (
        PlaceShape(at.day, time_of_day(turns_at + at.starts), time_of_day(turns_at + at.ends), at.name)
        for at in row.places
    )
    lost = tuple(effect_shape(effect, currency) for effect in misfit.effects)
    words = (misfit.found, misfit.limit, misfit.change, misfit.instead)
    return CannotHoldShape(misfit.code, misfit.sells, *words, tuple(places), lost)


def _step(step: Step, turns_at: int, currency: str) -> StepShape:
    values = []
    for cell, value in step.cells:
        text = str(value)
        if cell.name == "price":
            text = format_money(int(value), currency)
        elif cell.name == "from":
            text = time_of_day(turns_at + int(value))
        values.append(ValueShape(cell.window or None, cell.sells or None, cell.rung or None, cell.name, text))
    return StepShape(step.kind, step.day, step.from_day, step.words, step.counts, tuple(values))
