"""Writes keyings, settings and plans as messages: money as text, times by the wall clock."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from ..pool_tables.controller_days import time_of_day
from ..pricing import Ladder, format_money
from ..readings.schemas import FoundDayOut, FoundLadderOut, FoundWindowOut
from ..tariffs.schemas import PriceOut
from ..web.schema_types import VoidedOut, value_or
from .fit import CannotHold
from .plan import Plan, PlanStep
from .rows import KeyingRow, KeyingVoidRow
from .schemas import (
    CannotHoldOut,
    EffectOut,
    KeyingIn,
    KeyingOut,
    PlaceOut,
    PlanOut,
    PlanStepOut,
    StartsFrom,
    ValueOut,
)
from .week_settings import Day
from .wrong_purchases import WrongPurchase


def content_of(table_id: UUID, keying: KeyingIn) -> dict[str, Any]:
    """Return what a keying says, by the names of its message; what was not sent is empty."""
    return {
        "table_id": table_id,
        "schedule_id": keying.schedule_id,
        "keyed_at": keying.keyed_at,
        "by": keying.by,
        "for_on": value_or(keying.for_on, None),
        "note": value_or(keying.note, ""),
    }


def stored_content(row: KeyingRow) -> dict[str, Any]:
    """Return what a stored keying says, by the names of its message."""
    return {
        "table_id": row.pool_table_id,
        "schedule_id": row.schedule_id,
        "keyed_at": row.keyed_at,
        "by": row.keyed_by,
        "for_on": row.for_on,
        "note": row.note,
    }


def keying_out(row: KeyingRow, void: KeyingVoidRow | None) -> KeyingOut:
    """Write a keying as its message."""
    return KeyingOut(
        id=row.id,
        table_id=row.pool_table_id,
        schedule_id=row.schedule_id,
        for_on=row.for_on,
        keyed_at=row.keyed_at,
        by=row.keyed_by,
        note=row.note,
        voided=void and VoidedOut(reason=void.reason, voided_at=void.voided_at, voided_by=void.voided_by),
    )


def day_out(day: Day, *, turns_at: int, currency: str) -> FoundDayOut:
    """Write a day's settings; ``turns_at`` in minutes after midnight."""
    windows = [
        FoundWindowOut.model_validate(
            {
                "from": time_of_day(turns_at + window.starts),
                "to": time_of_day(turns_at + window.ends),
                "free": window.prices.free,
                "games": _ladder_out(window.prices.games, currency),
                "minutes": _ladder_out(window.prices.minutes, currency),
            }
        )
        for window in day.windows
    ]
    return FoundDayOut(day=day.day, windows=windows)


def effects_out(effects: Sequence[WrongPurchase], currency: str) -> list[EffectOut]:
    """Write what amounts buy, and what they should buy."""
    return [
        EffectOut(
            sells="games" if effect.sells == "games" else "minutes",
            amount=format_money(effect.amount, currency),
            wanted=effect.wanted,
            found=effect.found,
        )
        for effect in effects
    ]


def cannot_hold_out(row: CannotHold, *, turns_at: int, currency: str) -> CannotHoldOut:
    """Write what a controller cannot hold, with every place where it is wanted."""
    limitation = row.limitation
    places = [
        PlaceOut.model_validate(
            {
                "day": at.day,
                "from": time_of_day(turns_at + at.starts),
                "to": time_of_day(turns_at + at.ends),
                "name": at.name,
            }
        )
        for at in row.places
    ]
    return CannotHoldOut(
        code=limitation.code,
        sells=limitation.sells,
        found=limitation.found,
        limit=limitation.limit,
        change=limitation.change,
        instead=limitation.instead,
        places=places,
        effects=effects_out(limitation.effects, currency),
    )


def plan_out(plan: Plan, starts_from: StartsFrom, *, turns_at: int, currency: str) -> PlanOut:
    """Write a plan, and what it starts from."""
    return PlanOut(
        starts_from=starts_from,
        steps=[_step_out(step, turns_at, currency) for step in plan.steps],
        values_to_key=plan.values_to_key,
        shortest=plan.proved,
    )


def _ladder_out(ladder: Ladder | None, currency: str) -> FoundLadderOut | None:
    if ladder is None:
        return None
    prices = [PriceOut(price=format_money(rung.price, currency), units=rung.units) for rung in ladder.rungs]
    return FoundLadderOut(prices=prices, counting=ladder.counting)


def _step_out(step: PlanStep, turns_at: int, currency: str) -> PlanStepOut:
    values = []
    for cell, value in step.cells:
        text = str(value)
        if cell.name == "price":
            text = format_money(int(value), currency)
        elif cell.name == "from":
            text = time_of_day(turns_at + int(value))
        sells = None if not cell.sells else "games" if cell.sells == "games" else "minutes"
        values.append(
            ValueOut(
                window=cell.window or None, sells=sells, price_number=cell.rung or None, name=cell.name, value=text
            )
        )
    return PlanStepOut(
        kind=step.kind,
        day=step.day,
        from_day=step.from_day,
        words=step.words,
        values_to_key=step.values_to_key,
        values=values,
    )
