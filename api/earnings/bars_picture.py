"""Draws figures as bars, one below the other, each with its name and its number above it; readable on a phone.

- A panel has one scale; panels follow one another, each with a head. Whatever is only estimated or possible is hatched.
- A panel of more bars than ``BARS_MAX`` keeps the longest; the others are added up in one last bar where they can be.
- A picture of many bars gets narrower, so that it fits on one sheet of paper.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from .svg_parts import RIGHT, WIDTH, bar, line, paragraph, picture, text

BARS_MAX = 15
_ROW, _THICK, _LEFT = 29, 9, 8
_NAME_LENGTH_MAX = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A name, its amount, what is estimated or possible beyond it (at least 0 both), and the number in words."""

    name: str
    amount: int
    beyond: int = 0
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Bars of one scale up to ``highest``, that of the longest bar without it; ``middle`` is marked across all of them."""

    head: str
    bars: Sequence[Bar]
    highest: int | None = None
    middle: int | None = None


def longest(bars: Sequence[Bar], *, words: Callable[[int, int], str]) -> list[Bar]:
    """Return the longest bars, the longest first, and the others added up; ``words`` writes an amount and what is beyond."""
    ordered = sorted(bars, key=lambda one: -(one.amount + one.beyond))
    if len(ordered) <= BARS_MAX:
        return ordered
    kept, others = ordered[: BARS_MAX - 1], ordered[BARS_MAX - 1 :]
    amount, beyond = sum(one.amount for one in others), sum(one.beyond for one in others)
    name = f"The other {len(others)} together"
    return [*kept, Bar(name=name, amount=amount, beyond=beyond, words=words(amount, beyond))]


def bars_picture(title: str, panels: Iterable[Panel], *, from_on: date, until_on: date, legend: str) -> str:
    """Return the panels of a period as one picture, with what the shades mean below them."""
    period = f"{from_on} to {until_on - timedelta(days=1)}"
    parts, y = [text(8, 18, title, kind="head"), text(8, 34, period)], 40.0
    said = []
    for panel in panels:
        drawn, y = _panel(panel, top=y)
        parts += drawn
        said.append(f"{panel.head}: " + ("; ".join(f"{one.name} {one.words}" for one in panel.bars) or "nothing"))
    if not said:
        parts.append(text(8, y + 14, "Nothing to draw in this period."))
        y += 24
    below, y = paragraph(y + 14, legend)
    description = f"{'. '.join(said) or 'Nothing to draw'}. The same numbers are in format=csv."
    return picture(f"{title}, {period}", description, [*parts, *below], height=y)


def _panel(panel: Panel, *, top: float) -> tuple[list[str], float]:
    head, y = paragraph(top + 16, panel.head)
    y -= 6
    highest = panel.highest or max((one.amount + one.beyond for one in panel.bars), default=0)
    of_one = (WIDTH - _LEFT - RIGHT) / max(1, highest)
    parts = [*head]
    for one in panel.bars:
        name = one.name if len(one.name) <= _NAME_LENGTH_MAX else one.name[: _NAME_LENGTH_MAX - 1] + "…"
        parts += [text(_LEFT, y + 11, name), text(WIDTH - RIGHT, y + 11, one.words, anchor="end")]
        sure, beyond = max(0, one.amount) * of_one, one.beyond * of_one
        floor = y + 15
        if sure > 0:
            parts.append(bar(_LEFT, floor, sure, _THICK))
        if beyond > 0:
            parts.append(bar(_LEFT + sure, floor, beyond, _THICK, hatched=True))
        parts.append(line(_LEFT, floor - 1, _LEFT, floor + _THICK + 1))
        if panel.middle is not None:
            x = _LEFT + panel.middle * of_one
            parts.append(line(x, floor - 2, x, floor + _THICK + 2, width=3, white=True))
            parts.append(line(x, floor - 2, x, floor + _THICK + 2))
        y += _ROW
    return parts, y
