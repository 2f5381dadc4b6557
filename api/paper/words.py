"""Prices, days and money in the few words that fit on a printed page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from itertools import groupby

from ..pricing.ladder import Counting
from ..pricing.week import WEEKDAY_NAMES


def date_words(on: date) -> str:
    """Return a date, such as ``Tue 1 Dec 2026``."""
    return f"{on:%a} {on.day} {on:%b %Y}"


def moment_words(at: datetime) -> str:
    """Return a local instant, such as ``Tue 1 Dec 2026, 21:00``."""
    return f"{date_words(at.date())}, {at:%H:%M}"


def days_words(days: Sequence[str]) -> str:
    """Return a list of days: runs of three and more as ``Monday to Thursday``, dates as ``1, 8, 15 Dec 2026``."""
    order, parts = list(WEEKDAY_NAMES), []
    numbered = enumerate(order.index(day) for day in days if day in WEEKDAY_NAMES)
    for _, group in groupby(numbered, key=lambda one: one[1] - one[0]):
        run = [WEEKDAY_NAMES[order[place]] for _, place in group]
        parts += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else run
    dates = [date.fromisoformat(day) for day in days if day not in WEEKDAY_NAMES]
    for month, within in groupby(dates, key=lambda on: f"{on:%b %Y}"):
        parts.append(f"{', '.join(str(on.day) for on in within)} {month}")
    return ", ".join(parts)


def sentences(*texts: str) -> str:
    """Return texts, some of them somebody's own words, as sentences one after the other: each with one stop at its end."""
    stripped = (text.strip() for text in texts)
    return " ".join(text if text.endswith((".", "!", "?", "…")) else f"{text}." for text in stripped if text)


def hours_words(from_local: time, to_local: time) -> str:
    """Return opening hours, such as ``15:00 to 01:00``; ``all day`` for a whole trading day."""
    return "all day" if from_local == to_local else f"{from_local:%H:%M} to {to_local:%H:%M}"


def ladder_words(prices: Iterable[tuple[str, int]], unit: str, *, counting: Counting) -> str:
    """Return a price list and its way of counting, such as ``games: 1 for 0.75 · 6 for 4.00 (repeat)``."""
    listed = " · ".join(f"{units} for {price}" for price, units in prices)
    return f"{unit}: {listed} ({counting.replace('_', ' ')})"


def units_words(games: int | None, minutes: int | None, metered: int | None) -> str:
    """Return what an amount buys, such as ``6 games or 25 min``; a dash where it buys nothing."""
    parts = [f"{games} game{'' if games == 1 else 's'}"] if games else []
    parts += [f"{minutes} min"] if minutes else []
    parts += [f"{metered} min metered"] if metered else []
    return " or ".join(parts) or "–"


def table_words(label: str, frame_number: str | None) -> str:
    """Return a table's label, with the number on its frame where that is known."""
    return f"{label} (frame {frame_number})" if frame_number else label
