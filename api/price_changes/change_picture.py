"""Draws a change of prices: both sides week by week, before and after it, and the effect with its interval (N3)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..earnings.svg_parts import LEFT, RIGHT, WIDTH, line, mark, paragraph, path, picture, scale_step, text
from ..pricing import format_money

_PANEL = 150


def change_picture(
    sentence: str,
    weeks: Sequence[tuple[int, int | None, int | None]],
    effect: tuple[int, int, int] | None,
    *,
    currency: str,
) -> str:
    """Return the picture; ``weeks`` are (week, changed, beside), ``effect`` is (least, effect, most), in minor units."""
    title = "Takings a week and table, before and after the change"
    said, y = paragraph(36, sentence)
    parts = [text(8, 18, "Before and after the change", kind="head"), *said]
    if weeks:
        parts += _lines(weeks, top=y, currency=currency)
        y += _PANEL + 52
        parts += [
            mark(14, y - 4),
            text(22, y, "tables that changed"),
            mark(150, y - 4, hollow=True),
            text(158, y, "tables beside"),
        ]
        y += 14
    if effect is not None:
        parts += _interval(effect, top=y, currency=currency)
        y += 62
    description = f"{sentence} The numbers of each week are in format=csv."
    return picture(title, description, parts, height=y + 6)


def _lines(weeks: Sequence[tuple[int, int | None, int | None]], *, top: float, currency: str) -> list[str]:
    highest = max(value for _, *pair in weeks for value in pair if value is not None)
    step = scale_step(max(1, highest))
    steps, floor = max(1, -(-highest // step)), top + _PANEL + 10
    of_one = _PANEL / (steps * step)
    numbers = sorted({week for week, _, _ in weeks})
    places = _places(numbers)
    parts = []
    for number in range(steps + 1):
        y = floor - number * step * of_one
        label = format_money(number * step, currency).removesuffix(".00")
        parts += [line(LEFT, y, WIDTH - RIGHT, y, width=0.3), text(LEFT - 4, y + 4, label, anchor="end")]
    for side, hollow in ((1, False), (2, True)):
        for after in (False, True):
            points = [
                (places[row[0]], floor - value * of_one)
                for row in weeks
                if (row[0] > 0) == after and (value := row[side]) is not None
            ]
            parts += [path(points, dashed=hollow), *(mark(x, y, hollow=hollow) for x, y in points)]
    change = _change_place(places)
    parts.append(line(change, top + 6, change, floor, dashed=True))
    parts += [text(places[n], floor + 14, f"{n:+d}", anchor="middle") for n in numbers if n in (1, -1) or n % 4 == 0]
    parts.append(text(WIDTH / 2 + 18, floor + 28, "weeks from the change", anchor="middle"))
    return [*parts, line(LEFT, floor, WIDTH - RIGHT, floor)]


def _places(numbers: Sequence[int]) -> Mapping[int, float]:
    """Return where each week is drawn: from the first to the last, none for week 0, which there is not."""
    first, last = min(*numbers, -1), max(*numbers, 1)
    slots = [n for n in range(first, last + 1) if n]
    width = (WIDTH - LEFT - RIGHT) / len(slots)
    return {n: LEFT + (place + 0.5) * width for place, n in enumerate(slots)}


def _change_place(places: Mapping[int, float]) -> float:
    return (places[-1] + places[1]) / 2


def _interval(effect: tuple[int, int, int], *, top: float, currency: str) -> list[str]:
    low, middle, high = effect
    least, most = min(low, 0), max(high, 0)
    y, of_one = top + 26, (WIDTH - 2 * LEFT) / max(1, most - least)

    def x(amount: int) -> float:
        return LEFT + (amount - least) * of_one

    marks = [
        line(x(low), y, x(high), y, width=3),
        *(line(x(end), y - 6, x(end), y + 6, width=2) for end in (low, high)),
    ]
    labels = [text(x(end), y + 20, format_money(end, currency), anchor="middle") for end in (low, high)]
    zero = [line(x(0), y - 12, x(0), y + 8, dashed=True), text(x(0), y + 20, "0", anchor="middle")]
    return [text(8, top + 6, f"Effect, {currency}"), *zero, *marks, mark(x(middle), y), *labels]
