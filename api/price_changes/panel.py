"""The whole weeks of each table before and after a change of prices: what was taken in, and the games sold (N3).

- Weeks are counted from the change: seven trading days each, before it backwards, after it forwards.
- A week counts where every day of it was collected, and the prices stayed the same all through it.
- A box emptied before the change and again only after it holds the money of both. Its days count only where a meter was
  read within a day of the change; else they say nothing, and their weeks are left out.
- Takings are what was counted, less refunds, house money and test money.
- Tables that did not change are looked at in the same weeks. Where tables changed on several days, a week of theirs is
  the mean over those days, each counted as often as tables changed on it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import fmean

from ..earnings.earned_totals import Earned
from ..earnings.money_by_day import by_day, days_of, weights_of
from .prices_held import Change, PricesHeld

_A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class DayOf:
    """What one trading day of a table brought (minor units) and the games sold."""

    takings: int
    games: int


@dataclass(frozen=True, slots=True)
class Weeks:
    """What each week counted from the change brought: -1 is the week before it, 1 the week after it."""

    takings: Mapping[int, float]
    games: Mapping[int, float]

    def side(self, figures: Mapping[int, float], *, after: bool) -> list[float]:
        """Return the weeks before or after the change, the earliest first."""
        return [figures[week] for week in sorted(figures) if (week > 0) == after]


@dataclass(slots=True)
class DaysOfTable:
    """The collected days of one table, and its boxes as (first day, last day, days on which a meter was read)."""

    days: dict[date, DayOf] = field(default_factory=dict)
    boxes: list[tuple[date, date, frozenset[date]]] = field(default_factory=list)
    out_of_order: set[date] = field(default_factory=set)

    def add(self, box: Earned) -> None:
        """Add a box: its money and games by day."""
        days = days_of(emptied_before_on=box.emptied_before_on, emptied_on=box.emptied_on)
        weights = weights_of(days, box.points, box.out_of_order)
        self.out_of_order.update(box.out_of_order)
        takings, games = (by_day(amount, weights) for amount in (box.gross - box.refunds, box.games))
        self.boxes.append((days[0], days[-1], frozenset(point.on for point in box.points)))
        for day, amount, count in zip(days, takings, games, strict=True):
            known = self.days.get(day, DayOf(0, 0))
            self.days[day] = DayOf(known.takings + amount, known.games + count)

    def week(self, first: date, *, mixed: Sequence[tuple[date, date]]) -> DayOf | None:
        """Return the seven days from ``first``; None where one is not collected, out of order, or in a mixed box."""
        days = [first + _A_DAY * later for later in range(7)]
        if not self.out_of_order.isdisjoint(days):
            return None
        if any(day not in self.days for day in days):
            return None
        if any(start <= days[-1] and days[0] <= end for start, end in mixed):
            return None
        return DayOf(sum(self.days[day].takings for day in days), sum(self.days[day].games for day in days))

    def mixed(self, change: Change) -> list[tuple[date, date]]:
        """Return the first and last day of each box that holds money from both sides of a change, undivided."""
        last_old = change.until_on - _A_DAY
        return [
            (first, last)
            for first, last, read_on in self.boxes
            if first <= last_old < last and not any(abs((on - last_old).days) <= 1 for on in read_on)
        ]


def days_of_tables(boxes: Iterable[Earned]) -> dict[str, DaysOfTable]:
    """Return the collected days of each table, by its id."""
    found: dict[str, DaysOfTable] = {}
    for box in boxes:
        found.setdefault(box.table_id, DaysOfTable()).add(box)
    return found


def weeks_around(table: DaysOfTable, change: Change, held: Sequence[PricesHeld], *, weeks: int) -> Weeks:
    """Return the weeks of a table around a change: those before by its old prices, those after by its new ones."""
    old = next((one for one in reversed(held) if one.from_on <= change.until_on - _A_DAY), None)
    new = next((one for one in reversed(held) if one.from_on <= change.from_on), None)
    mixed = table.mixed(change)
    found: dict[int, DayOf] = {}
    for number in range(1, weeks + 1):
        before, after = change.until_on - 7 * number * _A_DAY, change.from_on + 7 * (number - 1) * _A_DAY
        if old is not None and before >= old.from_on and (week := table.week(before, mixed=mixed)):
            found[-number] = week
        ends = after + 7 * _A_DAY
        if (
            new is not None
            and (new.until_on is None or ends <= new.until_on)
            and (week := table.week(after, mixed=mixed))
        ):
            found[number] = week
    return Weeks({n: float(w.takings) for n, w in found.items()}, {n: float(w.games) for n, w in found.items()})


def weeks_beside(table: DaysOfTable, changes: Counter[Change], held: Sequence[PricesHeld], *, weeks: int) -> Weeks:
    """Return the weeks of a table that did not change, beside those of the tables that did."""
    around = {change: weeks_around(table, change, held, weeks=weeks) for change in changes}
    numbers = {number for found in around.values() for number in found.takings}
    takings, games = {}, {}
    for number in numbers:
        having = [(changes[change], found) for change, found in around.items() if number in found.takings]
        whole = sum(count for count, _ in having)
        takings[number] = sum(count * found.takings[number] for count, found in having) / whole
        games[number] = sum(count * found.games[number] for count, found in having) / whole
    return Weeks(takings, games)


def mean_by_week(tables: Iterable[Weeks]) -> dict[int, float]:
    """Return the mean takings of some tables in each week that any of them has."""
    figures: dict[int, list[float]] = {}
    for table in tables:
        for number, takings in table.takings.items():
            figures.setdefault(number, []).append(takings)
    return {number: fmean(values) for number, values in sorted(figures.items())}
