"""The week of a price card: the days that sell the same at the same times are one group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from ..pricing.week import WEEKDAYS
from .words import days_words


@dataclass(frozen=True, slots=True)
class CardLine:
    """A window of a day: its times, its name, and a cell for each amount, or one word for all of them."""

    times: str
    name: str
    cells: tuple[str, ...]
    word: str = ""


@dataclass(frozen=True, slots=True)
class CardGroup:
    """Days that are alike."""

    days: str
    lines: Sequence[CardLine]


def grouped(week: Mapping[date, Sequence[CardLine]]) -> list[CardGroup]:
    """Return the days of a week in groups, in the order of the first day of each."""
    alike: dict[tuple[CardLine, ...], list[str]] = {}
    for on, lines in week.items():
        alike.setdefault(tuple(lines), []).append(WEEKDAYS[on.weekday()])
    return [CardGroup(days_words(days), lines) for lines, days in alike.items()]
