"""The tables that earn most and least a week, and why it may be so: price, times sold, days out of order.

- Tables are compared by what a week of theirs took in, less refunds; a table with less than a week has no place.
- Each currency has its own order. Best and worst share no table: of few tables, half are the best.
- A reason is a fact that differs from the middle table of its currency; it is no proof.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from statistics import median_low

from ..pricing import format_money
from ..pricing.money import round_half_up
from .earned_totals import GroupKey, Sum

DAYS_OF_A_PLACE = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A table with its place: takings a week in minor units; 1 is the table that earns most."""

    table_id: str
    venue_id: str
    currency: str
    place: int
    a_week: Fraction
    figures: Sum


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranking:
    """The best tables of a currency, the worst (the very worst first), how many have a place, and the middle takings."""

    currency: str
    tables: int
    middle: Fraction
    best: tuple[Placed, ...]
    worst: tuple[Placed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyReasons:
    """What may explain a table's takings: first price (minor units), hours a week sold, days out of order."""

    first_price: int | None
    hours_sold: Fraction | None
    days_out_of_order: Fraction


def rankings(sums: Mapping[GroupKey, Sum], *, count: int) -> list[Ranking]:
    """Return the best and the worst ``count`` tables of each currency; ``sums`` are by currency, table and venue."""
    found = []
    for currency in sorted({key[0] for key in sums}):
        rows = [(key, row) for key, row in sums.items() if key[0] == currency and row.table_days >= DAYS_OF_A_PLACE]
        rows.sort(key=lambda item: (-_a_week(item[1]), item[0]))
        placed = [
            Placed(table_id=key[1], venue_id=key[2], currency=currency, place=place, a_week=_a_week(row), figures=row)
            for place, (key, row) in enumerate(rows, start=1)
        ]
        if placed:
            best = min(count, (len(placed) + 1) // 2)
            worst = min(count, len(placed) - best)
            found.append(
                Ranking(
                    currency=currency,
                    tables=len(placed),
                    middle=median_low(one.a_week for one in placed),
                    best=tuple(placed[:best]),
                    worst=tuple(reversed(placed[len(placed) - worst :])) if worst else (),
                )
            )
    return found


def _a_week(row: Sum) -> Fraction:
    return Fraction((row.gross - row.refunds) * 7, row.table_days)


def reasons(one: Placed, facts: LikelyReasons, others: Iterable[LikelyReasons]) -> list[str]:
    """Return why a table may earn what it does, in words, beside the other tables shown."""
    shown = list(others)
    said = []
    if (days := _decimal(facts.days_out_of_order)) != "0":
        said.append(f"Out of order for {days} day{'' if days == '1' else 's'}.")
    prices = sorted(other.first_price for other in shown if other.first_price is not None)
    if facts.first_price is not None and prices and facts.first_price != (usual := median_low(prices)):
        money = [format_money(price, one.currency) for price in (facts.first_price, usual)]
        said.append(f"First price {money[0]}; at the middle table {money[1]}.")
    hours = sorted(other.hours_sold for other in shown if other.hours_sold is not None)
    if facts.hours_sold is not None and hours and facts.hours_sold != (middle := median_low(hours)):
        said.append(f"Sells {_decimal(facts.hours_sold)} hours a week; the middle table {_decimal(middle)}.")
    if one.figures.games:
        a_game = round_half_up(Fraction(one.figures.gross - one.figures.refunds, one.figures.games))
        said.append(f"A game brought {format_money(a_game, one.currency)}.")
    return said or ["No fact recorded here explains it: look at the place, the cloth and the cues."]


def _decimal(value: Fraction) -> str:
    tenths = round_half_up(value * 10)
    return f"{tenths // 10}.{tenths % 10}".removesuffix(".0")
