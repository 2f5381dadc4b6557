"""Settings found in a table's controller, against what was keyed and what is listed (S4).

- Compared is what was found with what the table should have held when it was read; what was keyed since, or reported as
  keyed, makes what was found outdated.
- Against ``keyed`` counts what the controller can hold of the schedule that was keyed; against ``listed`` the schedule
  itself, whatever the controller can hold.
- A day whose settings cannot be those of any ladder is itself a difference: its values say what was found. So is a day
  that was reported twice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import A_DAY
from ..pricing import DomainError, Fault, Schedule, Timetable
from ..pricing.money import in_currency
from .fit import as_listed, fit
from .found_days import read_days
from .sells import Keyed, keyed_week
from .settings_differences import Against, SettingsDifference, ValueFound, differences
from .week_settings import Day, WeekSettings, dated_windows, listed_week


@dataclass(frozen=True, slots=True)
class FoundSettings:
    """The settings of a reading, ``{"days": […]}``, and when they were read."""

    taken_at: datetime
    settings: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class TableController:
    """What a table's controller is, takes and should hold; ``keyed`` is what was keyed last before the reading."""

    controller: Controller
    accepts: tuple[int, ...]
    currency: str
    listed: Timetable
    keyed: Keyed | None


def judge_settings(
    found: FoundSettings | None, held: TableController, *, keyed_at: Iterable[datetime]
) -> tuple[SettingsDifference, ...]:
    """Return where settings found differ; ``keyed_at`` is when settings were keyed or said to be."""
    if found is None or any(at > found.taken_at for at in keyed_at):
        return ()
    days, unreadable = _read(found.settings, held)
    rows = list(unreadable)
    if held.keyed is not None:
        rows += _against("keyed", days, _keyed_week(days, held.keyed, held), held)
    schedule = _in_force(held.listed, found.taken_at)
    if schedule is not None:
        rows += _against("listed", days, as_listed(listed_week(schedule, turns_at=held.controller.day_turns_at)), held)
    return tuple(rows)


def _against(
    against: Against, days: Sequence[Day], wanted: WeekSettings, held: TableController
) -> tuple[SettingsDifference, ...]:
    return differences(days, wanted, against=against, accepts=held.accepts, currency=held.currency)


def _keyed_week(days: Sequence[Day], keyed: Keyed, held: TableController) -> WeekSettings:
    """Return what the controller can hold of what was keyed, with the dates that were found."""
    dates = [date.fromisoformat(day.day) for day in days if len(day.day) > 3]
    if not dates:
        return keyed_week(keyed, held.controller, held.currency)
    coming = dated_windows(keyed.schedule, first_on=min(dates), last_on=max(dates))
    listed = listed_week(keyed.schedule, turns_at=held.controller.day_turns_at)
    return fit(listed, held.controller, currency=held.currency, dated_windows=coming).week


def _read(settings: Mapping[str, Any], held: TableController) -> tuple[list[Day], list[SettingsDifference]]:
    """Read each day on its own: one that cannot be read hides no other."""
    days: list[Day] = []
    unreadable: list[SettingsDifference] = []
    times = Counter(row["day"] for row in settings["days"])
    for day in (day for day, count in times.items() if count > 1):
        twice = ValueFound("day", "each day once", f"this day {times[day]} times")
        unreadable.append(SettingsDifference("keyed", day, 0, A_DAY, None, (twice,), ()))
    for row in settings["days"]:
        if times[row["day"]] > 1:
            continue
        try:
            days += read_days({"days": [row]}, turns_at=held.controller.day_turns_at, currency=held.currency)
        except DomainError as error:
            values = tuple(_value(in_currency(fault, held.currency)) for fault in error.faults)
            unreadable.append(SettingsDifference("keyed", row["day"], 0, A_DAY, None, values, ()))
    return days, unreadable


def _value(fault: Fault) -> ValueFound:
    return ValueFound(fault.where.removeprefix("days[0]").lstrip(".") or "day", fault.expected, fault.found)


def _in_force(timetable: Timetable, at: datetime) -> Schedule | None:
    held = [stretch for stretch in timetable.stretches if stretch.from_at <= at]
    return held[-1].schedule if held else None
