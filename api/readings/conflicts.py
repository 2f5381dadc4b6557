"""In what two readings under one id differ, every value as a message carries it.

- R2 What is sent is found, what is on record expected; what one of the two does not say is ``nothing``.
- Each meter is named by itself; of settings the days are named on which they differ.
- A long text is cut short.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime
from typing import Any

from ..pricing.errors import Fault
from ..pricing.week import WEEKDAYS
from .units import write_celsius, write_volts

Content = Mapping[str, Any]
"""A reading as it is stored, by column: None where nothing was observed."""


FIELD_OF_COLUMN = {
    "pool_table_id": "table_id",
    "taken_at": "taken_at",
    "battery_mv": "supply.volts",
    "temperature_tenths_c": "supply.temperature_c",
    "rested_minutes": "supply.rested_minutes",
    "clock_minute": "clock.time",
    "clock_weekday": "clock.weekday",
    "clock_on": "clock.date",
    "clock_display": "clock.display",
    "meters": "meters",
    "settings": "settings",
    "controller_version": "controller_version",
    "done": "done",
    "note": "note",
}
"""The columns that are a reading's content, and where the message has them."""

_CHARACTERS_MAX = 80


def reading_differences(*, stored: Content, sent: Content) -> tuple[Fault, ...]:
    """Return what two readings say differently (``same_id_other_content``), in the order of the message."""
    return tuple(
        fault for column in FIELD_OF_COLUMN if stored[column] != sent[column] for fault in _in(column, stored, sent)
    )


def differs_in(field: str) -> Fault:
    """Return that two readings differ in a field, and nothing of what either says there."""
    return Fault("same_id_other_content", field, "another than was sent before", "what was sent before under this id")


def _in(column: str, stored: Content, sent: Content) -> Iterator[Fault]:
    field, on_record, now_sent = FIELD_OF_COLUMN[column], stored[column], sent[column]
    if column == "meters":
        before, after = on_record or {}, now_sent or {}
        for name in dict.fromkeys((*before, *after)):
            if before.get(name) != after.get(name):
                yield _fault(f"meters.{name}", _said(after.get(name), str), _said(before.get(name), str))
    elif column == "settings" and on_record and now_sent:
        days = _of_days(on_record, now_sent)
        yield _fault(field, f"other settings{days}", "the settings on record")
    else:
        write = _WRITTEN.get(column, str)
        yield _fault(field, _said(now_sent, write), _said(on_record, write))


def _fault(where: str, found: str, expected: str) -> Fault:
    return Fault("same_id_other_content", where, found, expected)


def _said(value: Any, write: Callable[[Any], str]) -> str:
    text = "" if value is None else write(value)
    return (text if len(text) <= _CHARACTERS_MAX else text[: _CHARACTERS_MAX - 1] + "…") or "nothing"


def _of_days(stored: Content, sent: Content) -> str:
    """Say the days on which settings differ; nothing where only their order differs, or one is there twice."""
    before, after = ({day["day"]: day["windows"] for day in settings["days"]} for settings in (stored, sent))
    days = [day for day in dict.fromkeys((*before, *after)) if before.get(day) != after.get(day)]
    return f" of {_said(days, ', '.join)}" if days else ""


def _instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _time(minute: int) -> str:
    return "{:02d}:{:02d}".format(*divmod(minute, 60))


def _settings(settings: Content) -> str:
    return "settings of " + ", ".join(day["day"] for day in settings["days"])


_WRITTEN: dict[str, Callable[[Any], str]] = {
    "taken_at": _instant,
    "battery_mv": write_volts,
    "temperature_tenths_c": write_celsius,
    "clock_minute": _time,
    "clock_weekday": WEEKDAYS.__getitem__,
    "clock_on": date.isoformat,
    "settings": _settings,
    "done": ", ".join,
}
"""How a column's value is written in a message, where it is not its own text."""
