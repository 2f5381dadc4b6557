"""Draws the parts of a picture as SVG 1.1: text, lines, bars, marks, a scale. Readable in black and white.

- A picture has a title and a description for screen readers, scales to its place, and needs no script and no font.
- It is drawn for the width of a phone (360 units); text is at least 11 units high.
- What is written into it is escaped.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence
from textwrap import wrap

WIDTH = 360
LEFT, RIGHT = 48, 12
_LINE_HEIGHT, _SHEET = 15, 960
_CHARS_OF_A_LINE = 56
_STYLE = "text{font:11px system-ui,sans-serif;fill:#111}.head{font-size:13px;font-weight:600}"
_HATCH = (
    '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="5" height="5" fill="#fff"/><line x1="0" y1="0" x2="0" y2="5" stroke="#111" stroke-width="1.6"/>'
    "</pattern></defs>"
)


def picture(title: str, description: str, parts: Iterable[str], *, height: float) -> str:
    """Return a whole picture of some parts: twice its units wide, narrower where it would be longer than a sheet of paper."""
    width = max(WIDTH, min(2 * WIDTH, int(WIDTH * _SHEET / height)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(height)}" role="img" '
        f'aria-labelledby="title description" style="max-width:100%;height:auto" width="{width}">'
        f'<title id="title">{html.escape(title)}</title><desc id="description">{html.escape(description)}</desc>'
        f"<style>{_STYLE}</style>{_HATCH}"
        f'<rect width="{WIDTH}" height="{number(height)}" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def number(value: float) -> str:
    """Write a coordinate, to one decimal at most: pictures are for the eye."""
    return f"{value:.1f}".removesuffix(".0")


def text(x: float, y: float, words: str, *, anchor: str = "start", kind: str = "") -> str:
    """Return one line of text; ``anchor`` is start, middle or end."""
    of_kind = f' class="{kind}"' if kind else ""
    return f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}"{of_kind}>{html.escape(words)}</text>'


def paragraph(y: float, words: str) -> tuple[list[str], float]:
    """Return text broken into lines from a height down, and the height below it."""
    lines = wrap(words, _CHARS_OF_A_LINE)
    return [text(8, y + _LINE_HEIGHT * i, line) for i, line in enumerate(lines)], y + _LINE_HEIGHT * len(lines)


def line(
    x1: float, y1: float, x2: float, y2: float, *, dashed: bool = False, white: bool = False, width: float = 1
) -> str:
    """Return a straight line; a white one below it keeps a line apart from what it crosses."""
    dash = ' stroke-dasharray="4 3"' if dashed else ""
    ends = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
    return f'<line {ends} stroke="{"#fff" if white else "#111"}" stroke-width="{number(width)}"{dash}/>'


def path(points: Sequence[tuple[float, float]], *, dashed: bool = False) -> str:
    """Return a line through points."""
    dash = ' stroke-dasharray="5 3"' if dashed else ""
    through = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return f'<polyline points="{through}" fill="none" stroke="#111" stroke-width="2"{dash}/>'


def bar(x: float, y: float, width: float, height: float, *, hatched: bool = False) -> str:
    """Return a bar: filled, or hatched for what is only estimated."""
    fill = 'url(#hatch)" stroke="#111" stroke-width="0.8' if hatched else "#444"
    place = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
    return f'<rect {place} fill="{fill}"/>'


def mark(x: float, y: float, *, hollow: bool = False) -> str:
    """Return a mark on a line: a filled disc, or a hollow square."""
    if hollow:
        return f'<rect x="{number(x - 3)}" y="{number(y - 3)}" width="6" height="6" fill="#fff" stroke="#111" stroke-width="1.4"/>'
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="3.2" fill="#111"/>'


def scale_step(highest: int) -> int:
    """Return a round step (1, 2 or 5 times a power of ten) of a scale with two to five steps up to a value."""
    step = 1
    while True:
        for times in (1, 2, 5):
            if highest <= 5 * step * times:
                return step * times
        step *= 10


def places_of_labels(count: int, most: int) -> list[int]:
    """Return which of ``count`` places along an axis get a label, so that no more than ``most`` do."""
    every = max(1, -(-count // most))
    return list(range(0, count, every))
