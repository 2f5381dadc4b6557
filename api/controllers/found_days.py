"""Settings as a reading reports them, read as a controller's days.

- A day's windows run from one wall-clock time to another of the controller's day; equal times are the whole day.
- A window with neither games nor minutes nor free play is closed. What a reading's windows leave out is closed too.
- Settings that were sent and are read again are the same settings.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..pool_tables.controller_days import A_DAY, minute_of_day, time_of_day, weekday_of
from ..pricing.errors import DomainError, Fault, domain_error
from ..pricing.ladder import Ladder, Rung
from ..pricing.money import parse_money
from .week_settings import NOTHING, Day, Prices, SettingsWindow, merged_windows


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
    windows, at = list[SettingsWindow](), 0
    for window in found:
        if window.starts < at:
            time = time_of_day(turns_at + window.starts)
            raise domain_error("bad_window", where="windows", found=f"two windows at {time}", expected="one at a time")
        windows += [SettingsWindow(at, window.starts, NOTHING)] if window.starts > at else []
        windows.append(window)
        at = window.ends
    windows += [SettingsWindow(at, A_DAY, NOTHING)] if at < A_DAY else []
    return Day(row["day"], merged_windows(windows))


def _read_window(row: Mapping[str, Any], turns_at: int, currency: str) -> SettingsWindow:
    starts = (minute_of_day(row["from"], where="from") - turns_at) % A_DAY
    ends = (minute_of_day(row["to"], where="to") - turns_at) % A_DAY or A_DAY
    if row["from"] == row["to"]:
        starts, ends = 0, A_DAY
    if starts >= ends:
        expected = f"an end by {time_of_day(turns_at)}, when the day turns"
        raise domain_error("bad_window", where="to", found=f"{row['from']}-{row['to']}", expected=expected)
    games, minutes = (_read_ladder(row.get(kind), kind, currency) for kind in ("games", "minutes"))
    return SettingsWindow(starts, ends, Prices(games, minutes, bool(row.get("free"))))


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
