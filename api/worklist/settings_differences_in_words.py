"""Differences between settings found and settings keyed, in words for the collector (S4).

- The same difference on several days is one sentence: "Monday to Thursday, games: price 1 is 0.75 instead of 1.00".
- A difference that does not last all day has its times.
- Each has the amount at which it gives away or takes most.
- A day whose settings are not valid for any ladder is named as such, with the values found and the values possible.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import cast

from ..controllers.settings_differences import SettingsDifference, ValueFound
from ..pool_tables.controller_days import A_DAY, day_in_words, time_of_day
from ..pricing import format_money
from ..pricing.ladder import COUNTING_WORDS, Counting, count_in_words
from ..pricing.lines import Kind
from ..pricing.week import WEEKDAYS

_A_RUN = 3

_RUNG = re.compile(r"(?:(games|minutes)\.)?prices\[(\d+)\]\.(price|units)")


def differences_in_words(differences: Sequence[SettingsDifference], *, currency: str, turns_at: int) -> list[str]:
    """Return a sentence for each difference, those of several days together; ``turns_at`` is when the day turns."""
    alike: dict[tuple[object, ...], list[SettingsDifference]] = {}
    for difference in differences:
        same = (difference.starts, difference.ends, difference.sells, difference.values, difference.effects)
        alike.setdefault(same, []).append(difference)
    return [
        f"{_days([row.day for row in rows])}{_times(rows[0], turns_at)}{_told(rows[0], currency)}"
        for rows in alike.values()
    ]


def _days(days: Sequence[str]) -> str:
    """Say days, at least three in a row as from the first to the last."""
    if set(WEEKDAYS) <= set(days) and len(days) == len(WEEKDAYS):
        return "every day"
    runs: list[list[str]] = []
    for day in days:
        follows = (
            runs
            and day in WEEKDAYS
            and runs[-1][-1] in WEEKDAYS
            and WEEKDAYS.index(day) == WEEKDAYS.index(runs[-1][-1]) + 1
        )
        if follows:
            runs[-1].append(day)
        else:
            runs.append([day])
    told = [
        part
        for run in runs
        for part in (
            [f"{day_in_words(run[0])} to {day_in_words(run[-1])}"]
            if len(run) >= _A_RUN
            else [day_in_words(day) for day in run]
        )
    ]
    return " and ".join(filter(None, [", ".join(told[:-1]), told[-1]]))


def _times(row: SettingsDifference, turns_at: int) -> str:
    if (row.starts, row.ends) == (0, A_DAY):
        return ""
    return f" {time_of_day(turns_at + row.starts)} to {time_of_day(turns_at + row.ends)}"


def _told(row: SettingsDifference, currency: str) -> str:
    if row.sells is None:
        return f": {_of_the_day(row.values)}"
    values = ", ".join(_value(value, row.sells) for value in row.values)
    kind = f", {row.sells}" if not any(value.name == "sold" for value in row.values) else ""
    worst = max(row.effects, key=lambda effect: abs(effect.gives_away), default=None)
    if worst is None:
        return f"{kind}: {values}"
    amount, found = format_money(worst.amount, currency), count_in_words(worst.found, worst.sells)
    return f"{kind}: {values} ({amount} buys {found} instead of {worst.wanted})"


def _value(value: ValueFound, sells: Kind) -> str:
    if value.name == "sold":
        return f"{sells} are sold, and should not be" if value.found == "yes" else f"{sells} are not sold"
    if value.name == "counting":
        found, wanted = (COUNTING_WORDS[cast("Counting", way)] for way in (value.found, value.wanted))
        return f"counts so that {found}, instead of so that {wanted}"
    rung = _RUNG.fullmatch(value.name)
    if rung is None:
        there = "there is 1 price" if value.found == "1" else f"there are {value.found} prices"
        return f"{there} instead of {value.wanted}"
    price = f"price {int(rung[2]) + 1}"
    if rung[3] == "price":
        return f"{price} is {value.found} instead of {value.wanted}"
    return f"{price} buys {count_in_words(int(value.found), sells)} instead of {value.wanted}"


def _of_the_day(values: Sequence[ValueFound]) -> str:
    """Say that play is free or is not, or which settings are not valid."""
    for value in values:
        if (value.name, value.wanted, value.found) == ("free", "no", "yes"):
            return "play is free, and should not be"
        if (value.name, value.wanted, value.found) == ("free", "yes", "no"):
            return "play is not free, and should be"
    told = (f"{_place(value.name)}{value.found}, expected {value.wanted}" for value in values)
    return f"these settings are not valid: {'; '.join(told)}"


def _place(name: str) -> str:
    rung = _RUNG.fullmatch(name)
    if rung is None:
        return ""
    return f"{'price' if rung[3] == 'price' else 'units of price'} {int(rung[2]) + 1} for {rung[1]} is "
