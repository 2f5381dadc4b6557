"""Converts readings between message and row, and a table's meters from its stored profile."""

from collections.abc import Mapping
from datetime import time
from typing import Any
from uuid import UUID

from pydantic import MISSING

from ..pricing import parse_money
from ..pricing.week import WEEKDAYS
from ..web.schema_types import VoidedOut, value_or
from .admission import flags_now
from .meters import Meter
from .rows import ReadingRow, VoidRow
from .schemas import (
    ClockOut,
    FoundSettingsIn,
    FoundSettingsOut,
    FoundWindowIn,
    ReadingIn,
    ReadingOut,
    SupplyOut,
)
from .units import millivolts, tenths, write_celsius, write_volts


def meter_of(stated: Mapping[str, Any], *, currency: str) -> Meter:
    """Return a meter of a stored profile; refuse (``bad_money``) a value of one count that is no amount in a currency."""
    return Meter(
        name=stated["name"],
        counts=stated["counts"],
        digits=stated["digits"],
        resets=stated["resets"],
        unit_minor=parse_money(stated["unit_value"], currency) if stated["counts"] == "money" else None,
    )


def content_of(reading: ReadingIn) -> dict[str, Any]:
    """Return what is stored of a reading, by column: None where nothing was observed."""
    supply, clock = value_or(reading.supply, None), value_or(reading.clock, None)
    heat = value_or(supply.temperature_c, None) if supply else None
    weekday = value_or(clock.weekday, None) if clock else None
    done = value_or(reading.done, None)
    return {
        "id": reading.id,
        "pool_table_id": reading.table_id,
        "taken_at": reading.taken_at,
        "battery_mv": millivolts(supply.volts) if supply else None,
        "temperature_tenths_c": None if heat is None else tenths(heat),
        "rested_minutes": value_or(supply.rested_minutes, None) if supply else None,
        "clock_minute": clock.time.hour * 60 + clock.time.minute if clock else None,
        "clock_weekday": None if weekday is None else WEEKDAYS.index(weekday),
        "clock_on": value_or(clock.date, None) if clock else None,
        "clock_display": value_or(clock.display, None) if clock else None,
        "meters": value_or(reading.meters, None) or None,
        "settings": None if reading.settings is MISSING else _settings(reading.settings),
        "controller_version": value_or(reading.controller_version, None),
        "done": sorted(set(done)) if done else None,
        "note": value_or(reading.note, ""),
    }


def _settings(settings: FoundSettingsIn) -> dict[str, Any]:
    """Return settings with every field there."""
    return {"days": [{"day": day.day, "windows": [_window(w) for w in day.windows]} for day in settings.days]}


def _window(window: FoundWindowIn) -> dict[str, Any]:
    sent = window.model_dump(mode="json", by_alias=True)
    ladders = {kind: sent.get(kind) and {"counting": "repeat", **sent[kind]} for kind in ("games", "minutes")}
    return {**sent, "free": sent.get("free", False), **ladders}


def reading_out(
    row: ReadingRow, void: VoidRow | None, venue_id: UUID | None, *, since_ever: bool, with_note: bool = True
) -> ReadingOut:
    """Write a reading as its message, with the venue where the table was.

    ``since_ever``: whether the table's ``placed_at`` is void; ``with_note``: whether the reader may see the note.
    """
    return ReadingOut(
        id=row.id,
        table_id=row.pool_table_id,
        venue_id=venue_id,
        taken_at=row.taken_at,
        received_at=row.received_at,
        sender=row.sender,
        supply=_supply_out(row),
        clock=_clock_out(row),
        meters=row.meters or {},
        settings=None if row.settings is None else found_settings_out(row.settings),
        controller_version=row.controller_version,
        done=row.done or [],
        note=row.note if with_note else "",
        flags=list(flags_now(row.flags or (), in_the_workshop=venue_id is None, before_the_table=not since_ever)),
        voided=void and VoidedOut(reason=void.reason, voided_at=void.voided_at, voided_by=void.voided_by),
    )


def found_settings_out(settings: Mapping[str, Any]) -> FoundSettingsOut:
    """Write settings found as their message."""
    return FoundSettingsOut.model_validate(settings)


def _supply_out(row: ReadingRow) -> SupplyOut | None:
    if row.battery_mv is None:
        return None
    heat = row.temperature_tenths_c
    return SupplyOut(
        volts=write_volts(row.battery_mv),
        temperature_c=None if heat is None else write_celsius(heat),
        rested_minutes=row.rested_minutes,
    )


def _clock_out(row: ReadingRow) -> ClockOut | None:
    if row.clock_minute is None:
        return None
    return ClockOut(
        time=time(*divmod(row.clock_minute, 60)),
        weekday=None if row.clock_weekday is None else WEEKDAYS[row.clock_weekday],
        date=row.clock_on,
        display=row.clock_display,
    )
