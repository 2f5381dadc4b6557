"""Spreads the expenses that tables share, by a stated key (N5).

- An expense of a venue is shared by the tables that earned there in the period, one of the route by all tables that
  earned in its currency. An expense of one table is that table's alone.
- The key is the gross of each table, its weeks on the route, or one share for each table.
- Parts are whole minor units by largest remainder, ties to the lower table id: they add up to the expense, exactly.
- Where no table earned anything, the expense stays with its venue or the route.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Literal

from ..pricing.money import allot
from .earned_totals import GroupKey, Spent, Sum

SharedBy = Literal["gross", "table_weeks", "tables"]


def spread_shared(spent: Iterable[Spent], sums: Mapping[GroupKey, Sum], *, by: SharedBy) -> list[Spent]:
    """Return the expenses with each shared one in parts, one for each table; ``sums`` are by currency, venue and table."""
    found: list[Spent] = []
    for one in spent:
        sharing = {
            key: _weight(row, by)
            for key, row in sums.items()
            if key[0] == one.currency and one.venue_id in (None, key[1])
        }
        if one.table_id is not None or not any(sharing.values()):
            found.append(one)
            continue
        for (_, venue_id, table_id), part in zip(sharing, allot(one.amount, list(sharing.values())), strict=True):
            if part:
                found.append(replace(one, amount=part, venue_id=venue_id, table_id=table_id))
    return found


def _weight(row: Sum, by: SharedBy) -> int | Fraction:
    match by:
        case "gross":
            return row.gross
        case "table_weeks":
            return row.table_days
        case "tables":
            return 1
