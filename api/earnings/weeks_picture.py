"""Draws takings by week as bars, what is not yet collected hatched on top of them (N1, N2)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..pricing import format_money
from ..pricing.money import allot
from .svg_parts import LEFT, RIGHT, WIDTH, bar, line, paragraph, picture, places_of_labels, scale_step, text

_PANEL, _LABELS_MAX, _HEAD = 150, 6, 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """Days of a table whose money is still in the box, and the estimate of it (minor units)."""

    currency: str
    from_on: date
    until_on: date
    estimate: int


@dataclass(frozen=True, slots=True)
class WeekTakings:
    """What a week brought, and what its boxes are estimated to hold still; minor units."""

    monday: date
    gross: int
    waiting: int = 0


def weeks_of(
    gross: Mapping[tuple[str, date], int], waiting: Iterable[Waiting], *, from_on: date, until_on: date
) -> dict[str, list[WeekTakings]]:
    """Return every week of a period by currency; ``gross`` is by currency and Monday."""
    estimates: dict[tuple[str, date], int] = defaultdict(int)
    for one in waiting:
        days = [one.from_on + timedelta(days=ahead) for ahead in range((one.until_on - one.from_on).days)]
        for day, amount in zip(days, allot(one.estimate, [1] * len(days)), strict=True):
            estimates[one.currency, day - timedelta(days=day.weekday())] += amount
    first = from_on - timedelta(days=from_on.weekday())
    mondays = [first + timedelta(weeks=ahead) for ahead in range(((until_on - first).days + 6) // 7)]
    return {
        currency: [
            WeekTakings(monday, gross.get((currency, monday), 0), estimates[currency, monday]) for monday in mondays
        ]
        for currency in sorted({key[0] for key in (*gross, *estimates)})
    }


def weeks_picture(weeks: Mapping[str, Sequence[WeekTakings]], *, from_on: date, until_on: date) -> str:
    """Return one panel of bars for each currency."""
    title = f"Takings by week, {from_on} to {until_on - timedelta(days=1)}"
    parts, y = [text(8, 18, title, kind="head")], 36.0
    for currency, bars in weeks.items():
        parts += _panel(currency, bars, top=y)
        y += _PANEL + _HEAD + 30
    said, y = paragraph(y, "Grey: counted. Hatched: estimated, not yet collected.")
    total = ", ".join(f"{format_money(sum(w.gross for w in bars), c)} {c} counted" for c, bars in weeks.items())
    description = f"Bars for each week; {total or 'nothing counted'}. The same numbers are in format=csv."
    return picture(title, description, [*parts, *said], height=y)


def _panel(currency: str, weeks: Sequence[WeekTakings], *, top: float) -> list[str]:
    highest = max((week.gross + week.waiting for week in weeks), default=0)
    step = scale_step(max(1, highest))
    steps = max(1, -(-highest // step))
    floor, width = top + _HEAD + _PANEL, (WIDTH - LEFT - RIGHT) / len(weeks)
    of_one = _PANEL / (steps * step)
    parts = [text(8, top + 10, currency)]
    for number in range(steps + 1):
        y = floor - number * step * of_one
        parts += [
            line(LEFT, y, WIDTH - RIGHT, y, width=0.3),
            text(LEFT - 4, y + 4, _short(number * step, currency), anchor="end"),
        ]
    for place, week in enumerate(weeks):
        x, wide = LEFT + place * width + width * 0.12, width * 0.76
        counted, waiting = week.gross * of_one, week.waiting * of_one
        if counted > 0:
            parts.append(bar(x, floor - counted, wide, counted))
        if waiting > 0:
            parts.append(bar(x, floor - counted - waiting, wide, waiting, hatched=True))
    for place in places_of_labels(len(weeks), _LABELS_MAX):
        parts.append(text(LEFT + (place + 0.5) * width, floor + 14, f"{weeks[place].monday:%d %b}", anchor="middle"))
    return [*parts, line(LEFT, floor, WIDTH - RIGHT, floor)]


def _short(amount: int, currency: str) -> str:
    """Write an amount of a scale without decimals that are all zero."""
    whole = format_money(amount, currency)
    head, _, decimals = whole.partition(".")
    return head if not decimals.strip("0") else whole
