"""Adds up what was earned, by table, venue, agreement, week, month, year or denomination, or several at once (N1).

- Each part of a box's money belongs to one trading day; a period holds the parts of its days, whoever asks for what. So
  a period cut in two adds up to itself, and the rows of any grouping add up to the whole.
- Of each day: gross = refunds + tax + venue's share + operator's share. The operator's share is what is left for the
  operator, first money and minimum included; profit is that, less expenses.
- Amounts of different currencies are never added: a currency is part of every key.
- A box that was never settled counts in full under ``unsettled``, and under the operator's share until it is divided.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Literal

from .money_by_day import MeterPoint, by_day, days_of, weights_of

Grouping = Literal["table", "venue", "agreement", "week", "month", "year", "denomination"]
GroupKey = tuple[str, ...]
BOX_AMOUNTS = ("gross", "refunds", "tax", "venue_share", "unsettled", "games", "minutes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Earned:
    """What one box brought, in minor units, and what its meters counted.

    ``refunds`` are refunds, house money and test money given back. ``venue_share`` is what the settlement gives the
    venue of this box; ``games`` and ``minutes`` are what the meters counted, 0 where there is no such meter.
    ``denominations`` are amounts by denomination; they add up to ``gross``. ``out_of_order`` is the share of each day in
    which nobody could play (J2).
    """

    collection_id: str
    entry_id: str | None
    table_id: str
    venue_id: str
    currency: str
    emptied_before_on: date | None
    emptied_on: date
    gross: int
    refunds: int = 0
    tax: int = 0
    venue_share: int = 0
    unsettled: int = 0
    games: int = 0
    minutes: int = 0
    denominations: Mapping[int, int] = field(default_factory=dict)
    points: Sequence[MeterPoint] = ()
    agreement_id: str | None = None
    out_of_order: Mapping[date, Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spent:
    """An expense (minor units), of a table, of a venue, or (neither) of the route."""

    entry_id: str
    on: date
    currency: str
    amount: int
    table_id: str | None = None
    venue_id: str | None = None


@dataclass(slots=True)
class Sum:
    """The figures of one row, in minor units; ``table_days`` are the days of tables that the money belongs to.

    A day counts there by the share of it in which the table was in order.
    """

    gross: int = 0
    refunds: int = 0
    tax: int = 0
    venue_share: int = 0
    unsettled: int = 0
    expenses: int = 0
    games: int = 0
    minutes: int = 0
    table_days: Fraction = Fraction()
    collection_ids: set[str] = field(default_factory=set)
    entry_ids: set[str] = field(default_factory=set)
    expense_entry_ids: set[str] = field(default_factory=set)

    @property
    def operator_share(self) -> int:
        """What is left for the operator."""
        return self.gross - self.refunds - self.tax - self.venue_share

    @property
    def profit(self) -> int:
        """The operator's share less expenses."""
        return self.operator_share - self.expenses


def earnings(
    boxes: Iterable[Earned], spent: Iterable[Spent], *, by: Sequence[Grouping], from_on: date, until_on: date
) -> dict[GroupKey, Sum]:
    """Return the figures of trading days from ``from_on`` up to, not including, ``until_on``, by key.

    A key is the currency and then one value for each grouping, in their order. Expenses of a venue or the route have no
    table: where a grouping asks for what they do not have, its value is the empty text.
    """
    sums: dict[GroupKey, Sum] = defaultdict(Sum)
    table_days: dict[GroupKey, dict[tuple[str, date], Fraction]] = defaultdict(dict)
    for box in boxes:
        _add_box(sums, table_days, box, by=by, from_on=from_on, until_on=until_on)
    for key, days in table_days.items():
        sums[key].table_days = sum(days.values(), Fraction())
    return with_expenses(sums, spent, by=by, from_on=from_on, until_on=until_on)


def shares_its_day(box: Earned) -> bool:
    """Tell whether a box was emptied on the day on which it was emptied before: that day is counted with the first."""
    return box.emptied_before_on is not None and box.emptied_before_on >= box.emptied_on


def sums_added(one: Mapping[GroupKey, Sum], other: Mapping[GroupKey, Sum]) -> dict[GroupKey, Sum]:
    """Return two sets of rows as one; they must rest on different boxes."""
    sums = defaultdict(Sum, one)
    for key, row in other.items():
        into = sums[key]
        for name in (*BOX_AMOUNTS, "expenses", "table_days"):
            setattr(into, name, getattr(into, name) + getattr(row, name))
        into.collection_ids |= row.collection_ids
        into.entry_ids |= row.entry_ids
        into.expense_entry_ids |= row.expense_entry_ids
    return dict(sorted(sums.items()))


def with_expenses(
    earned: Mapping[GroupKey, Sum], spent: Iterable[Spent], *, by: Sequence[Grouping], from_on: date, until_on: date
) -> dict[GroupKey, Sum]:
    """Return the rows with the expenses of a period added to them."""
    sums = defaultdict(Sum, earned)
    for expense in spent:
        if from_on <= expense.on < until_on:
            row = sums[(expense.currency, *(_value_of(expense, grouping, expense.on) for grouping in by))]
            row.expenses += expense.amount
            row.expense_entry_ids.add(expense.entry_id)
    return dict(sorted(sums.items()))


def _add_box(
    sums: dict[GroupKey, Sum],
    table_days: dict[GroupKey, dict[tuple[str, date], Fraction]],
    box: Earned,
    *,
    by: Sequence[Grouping],
    from_on: date,
    until_on: date,
) -> None:
    days = days_of(emptied_before_on=box.emptied_before_on, emptied_on=box.emptied_on)
    if days[-1] < from_on or days[0] >= until_on:
        return
    weights = weights_of(days, box.points, box.out_of_order)
    parts = {name: by_day(getattr(box, name), weights) for name in BOX_AMOUNTS}
    cells = _by_denomination(box, weights) if "denomination" in by else None
    for place, day in enumerate(days):
        if not from_on <= day < until_on:
            continue
        whole = {name: amounts[place] for name, amounts in parts.items()}
        for denomination, figures in (cells[place] if cells else {"": whole}).items():
            key = (box.currency, *(_value_of(box, grouping, day, denomination) for grouping in by))
            row = sums[key]
            for name, amount in figures.items():
                setattr(row, name, getattr(row, name) + amount)
            if not shares_its_day(box):
                table_days[key][box.table_id, day] = 1 - box.out_of_order.get(day, Fraction())
            row.collection_ids.add(box.collection_id)
            if box.entry_id is not None:
                row.entry_ids.add(box.entry_id)


def _by_denomination(box: Earned, weights: Sequence[Fraction]) -> list[dict[str, dict[str, int]]]:
    """Return, day by day, the gross by denomination: of one coin or note there is no tax and no share."""
    spread_out = {value: by_day(amount, weights) for value, amount in box.denominations.items()}
    return [
        {str(value): {"gross": amounts[place]} for value, amounts in spread_out.items()}
        for place in range(len(weights))
    ]


def _value_of(item: Earned | Spent, grouping: Grouping, day: date, denomination: str = "") -> str:
    match grouping:
        case "table":
            return item.table_id or ""
        case "venue":
            return item.venue_id or ""
        case "agreement":
            return "" if isinstance(item, Spent) else item.agreement_id or ""
        case "week":
            return (day - timedelta(days=day.weekday())).isoformat()
        case "month":
            return day.isoformat()[:7]
        case "year":
            return day.isoformat()[:4]
        case "denomination":
            return denomination
