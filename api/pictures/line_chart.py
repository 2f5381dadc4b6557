"""Draws values over time as a picture: marks, lines, levels across and instants down, with a scale on either side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from ..earnings.svg_parts import LEFT, RIGHT, WIDTH, line, mark, number, paragraph, path, picture, text

_TOP, _PANEL, _TICKS, _LABELS = 48.0, 150.0, 4, 4
_FAR_S = 300 * 86_400
SeriesKind = Literal["marks", "line", "dashed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Values at instants, in time order: marks, a line through them, or a dashed line."""

    points: Sequence[tuple[datetime, float]]
    kind: SeriesKind = "line"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeChart:
    """A picture of values over time; ``levels`` go across and ``instants`` down, each with a word at its end."""

    title: str
    description: str
    series: Sequence[Series]
    value_words: Callable[[float], str]
    levels: Sequence[tuple[float, str]] = ()
    instants: Sequence[tuple[datetime, str]] = ()
    notes: Sequence[str] = ()


def time_chart(chart: TimeChart) -> str:
    """Return the picture; without any value it says so in place of a panel."""
    head = [text(8, 18, chart.title, kind="head")]
    times = [at.timestamp() for one in chart.series for at, _ in one.points]
    if not times:
        said, below = paragraph(_TOP, " ".join(chart.notes) or "No readings yet.")
        return picture(chart.title, chart.description, [*head, *said], height=below)
    values = [value for one in chart.series for _, value in one.points] + [value for value, _ in chart.levels]
    first, last = min(times), max(max(times), min(times) + 1)
    low, high = min(values), max(values)
    margin = (high - low) * 0.08 or 1.0
    low, high = low - margin, high + margin

    def x(at: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (at - first) / (last - first)

    def y(value: float) -> float:
        return _TOP + _PANEL * (high - value) / (high - low)

    parts = [*head, line(LEFT, _TOP, LEFT, _TOP + _PANEL), line(LEFT, _TOP + _PANEL, WIDTH - RIGHT, _TOP + _PANEL)]
    for tick in range(_TICKS + 1):
        value = low + (high - low) * tick / _TICKS
        parts.append(text(LEFT - 4, y(value) + 4, chart.value_words(value), anchor="end"))
    zone, far, before = chart.series[0].points[0][0].tzinfo, last - first > _FAR_S, ""
    for place in range(_LABELS):
        at = first + (last - first) * place / (_LABELS - 1)
        anchor = {0: "start", _LABELS - 1: "end"}.get(place, "middle")
        on = _day(datetime.fromtimestamp(at, zone).date(), far=far)
        if on != before:
            parts.append(text(x(at), _TOP + _PANEL + 15, on, anchor=anchor))
        before = on
    for value, words in chart.levels:
        parts += [line(LEFT, y(value), WIDTH - RIGHT, y(value), dashed=True)]
        parts.append(text(WIDTH - RIGHT, y(value) - 3, words, anchor="end"))
    for at_, words in chart.instants:
        if first <= at_.timestamp() <= last:
            place_x = x(at_.timestamp())
            parts.append(line(place_x, _TOP, place_x, _TOP + _PANEL, dashed=True))
            anchor = "end" if place_x > WIDTH * 2 / 3 else "start"
            parts.append(text(place_x + (-3 if anchor == "end" else 3), _TOP - 4, words, anchor=anchor))
    for one in chart.series:
        drawn = [(x(at.timestamp()), y(value)) for at, value in one.points]
        if one.kind != "marks":
            parts.append(path(drawn, dashed=one.kind == "dashed"))
        else:
            parts += [mark(*place) for place in drawn]
    below = _TOP + _PANEL + 36
    for note in chart.notes:
        said, below = paragraph(below, note)
        parts += said
    return picture(chart.title, chart.description, parts, height=below)


def _day(on: date, *, far: bool) -> str:
    return f"{on:%b %Y}" if far else f"{on.day} {on:%b}"


def shade(x: float, y: float, width: float, height: float, fill: str, words: str) -> str:
    """Return a box of a shade of grey, or white, with a word in it where it fits."""
    place = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
    box = f'<rect {place} fill="{fill}" stroke="#111" stroke-width="0.8"/>'
    short = words if len(words) * 6 < width else ""
    return box + (text(x + width / 2, y + height / 2 + 4, short, anchor="middle") if short else "")
