"""Draws the week of a venue: a bar a day, a box for each window, one shade for each price, and what the shades mean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from ..earnings.svg_parts import LEFT, RIGHT, WIDTH, paragraph, picture, text
from .line_chart import shade

_TOP, _ROW, _BOX = 52.0, 28.0, 22.0
_SHADES = ("#ececec", "#cfcfcf", "#b3b3b3", "#e0e0e0", "#c1c1c1", "#f6f6f6")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekBox:
    """A window of a trading day; ``sells`` says in words what it sells, which decides its shade."""

    on: date
    starts: datetime
    ends: datetime
    name: str
    sells: str
    is_closed: bool


def week_picture(
    title: str, boxes: Sequence[WeekBox], *, day_starts: dict[date, datetime], day_ends: dict[date, datetime]
) -> str:
    """Return the picture of a week; a day is as long as it is, an hour more or less where the clocks change."""
    prices = list(dict.fromkeys(box.sells for box in boxes if not box.is_closed))
    shades = {sells: _SHADES[place % len(_SHADES)] for place, sells in enumerate(prices)}
    parts = [text(8, 18, title, kind="head")]
    days = sorted(day_starts)
    room = WIDTH - LEFT - RIGHT
    first = day_starts[days[0]]
    parts += [
        text(
            LEFT + room * hour / 24,
            _TOP - 8,
            f"{(first.hour + hour) % 24:02}:{first.minute:02}",
            anchor="middle" if hour else "start",
        )
        for hour in range(0, 24, 6)
    ]
    for row, on in enumerate(days):
        y = _TOP + _ROW * row
        parts.append(text(LEFT - 6, y + 15, f"{_DAYS[on.weekday()]} {on.day}", anchor="end"))
        length = day_ends[on].timestamp() - day_starts[on].timestamp()
        for box in (one for one in boxes if one.on == on):
            left = LEFT + room * (box.starts.timestamp() - day_starts[on].timestamp()) / length
            width = room * (box.ends.timestamp() - box.starts.timestamp()) / length
            fill = "#fff" if box.is_closed else shades[box.sells]
            parts.append(shade(left, y, width, _BOX, fill, "closed" if box.is_closed else box.name))
    y = _TOP + _ROW * len(days) + 14
    for sells, fill in shades.items():
        names = dict.fromkeys(box.name for box in boxes if box.sells == sells)
        parts.append(shade(8, y - 10, 14, 12, fill, ""))
        parts.append(text(28, y, f"{sells}: {', '.join(names)}"))
        y += 16
    said, y = paragraph(y + 4, "White: closed.") if any(box.is_closed for box in boxes) else ([], y)
    told = "; ".join(f"{box.on} {box.starts:%H:%M} to {box.ends:%H:%M} {box.name}: {box.sells}" for box in boxes)
    return picture(title, told, [*parts, *said], height=y)
