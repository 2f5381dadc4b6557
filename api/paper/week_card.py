"""The week of a price card: the days that sell the same at the same times are one group."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from ..pricing import Calendar, Timetable
from ..pricing.week import WEEKDAYS
from ..quotes.price_grid import GridLine
from .words import days_words, hours_words, moment_words, units_words

_DAY = timedelta(days=1)
AMOUNTS_MAX = 6
"""The columns of a price card: the largest coins and notes."""


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


def by_window(lines: Iterable[GridLine], amounts: int) -> list[list[GridLine]]:
    """Return the lines of a grid by window; each window has a line for each amount."""
    found = list(lines)
    return [found[i : i + amounts] for i in range(0, len(found), amounts)]


def card_line(lines: Sequence[GridLine], calendar: Calendar) -> CardLine:
    """Return the line of a window, from its lines in the grid."""
    first = lines[0]
    if first.window is None or first.window.from_at is None or first.window.to_at is None:
        return CardLine("all day", "", (), "no prices yet")
    starts, ends = (calendar.local(at) for at in (first.window.from_at, first.window.to_at))
    times = hours_words(starts.time(), ends.time())
    name = "" if first.window.kind == "base" else first.window.name
    if first.status != "open":
        return CardLine(times, name, (), first.status)
    cells = tuple(bought(line) for line in lines)
    return CardLine(times, name, cells)


def buys(line: CardLine, place: int) -> bool:
    """Tell whether the amount of a column buys anything in a window."""
    return bool(line.cells) and line.cells[place] != units_words(None, None, None)


def bought(line: GridLine) -> str:
    """Return what an amount buys, in few words."""
    return units_words(
        line.games and line.games.units, line.minutes and line.minutes.units, line.metered and line.metered.units
    )


@dataclass(frozen=True, slots=True)
class PricesHold:
    """From when and until when the prices of a card hold, where each is listed."""

    from_at: datetime | None
    until_at: datetime | None

    def like(self, on: date, calendar: Calendar) -> date:
        """Return the trading date of the same weekday on which these prices hold all day, or the date itself."""
        if self.from_at is None:
            return on
        if calendar.day_starts(on) < self.from_at:
            other = on + 7 * _DAY
        elif self.until_at is not None and calendar.day_starts(on + _DAY) > self.until_at:
            other = on - 7 * _DAY
        else:
            return on
        starts, ends = calendar.day_starts(other), calendar.day_starts(other + _DAY)
        holds = starts >= self.from_at and (self.until_at is None or ends <= self.until_at)
        return other if holds else on

    def words(self, calendar: Calendar) -> str:
        """Say from when the prices are valid, and until when."""
        since = "Valid" if self.from_at is None else f"Valid from {moment_words(calendar.local(self.from_at))}"
        return f"{since}." if self.until_at is None else f"{since} until {moment_words(calendar.local(self.until_at))}."


def prices_of(timetable: Timetable, on: date) -> PricesHold:
    """Return when the prices hold that are in force as a trading date ends."""
    ends = timetable.calendar.day_starts(on + _DAY)
    begun = [stretch.from_at for stretch in timetable.stretches if stretch.from_at < ends]
    later = [stretch.from_at for stretch in timetable.stretches if stretch.from_at >= ends]
    return PricesHold(begun[-1] if begun else None, later[0] if later else None)
