"""Draws two lists of prices as steps over money: what each amount buys under both (N4)."""

from __future__ import annotations

from collections.abc import Sequence

from ..earnings.svg_parts import LEFT, RIGHT, WIDTH, line, paragraph, path, picture, scale_step, text
from ..pricing import Ladder, format_money
from ..pricing.ladder_advice import ladder_steps
from .comparison import Compared
from .paired_windows import ALL_WEEK, spoken

_PANEL, _PANELS_MAX = 170, 4


def steps_picture(sentence: str, found: Sequence[Compared], *, currency: str) -> str:
    """Return a panel for each comparison, the first four of them: the current prices solid, the others dashed."""
    said, y = paragraph(36, sentence)
    parts = [text(8, 18, "Two lists of prices", kind="head"), *said]
    for one in found[:_PANELS_MAX]:
        head, below = paragraph(y + 12, _head(one))
        parts += [*head, *_panel(one, top=below - 27, currency=currency)]
        y = below + _PANEL + 37
    if found:
        parts += [
            line(8, y - 4, 34, y - 4, width=2), text(40, y, "current prices"),
            line(150, y - 4, 176, y - 4, dashed=True, width=2), text(182, y, "other prices"),
        ]  # fmt: skip
    more = f" Of {len(found)} comparisons the first {_PANELS_MAX} are drawn." if len(found) > _PANELS_MAX else ""
    description = f"{sentence} Steps of units over money.{more} The numbers are in format=csv."
    return picture("What each amount buys under two lists of prices", description, parts, height=y + 12)


def _head(one: Compared) -> str:
    kinds = one.current.kind if one.current.kind == one.other.kind else f"{one.current.kind} and {one.other.kind}"
    when = "All week" if one.window.when == ALL_WEEK else spoken(one.window.when)
    return f"{when}: {kinds}"


def _panel(one: Compared, *, top: float, currency: str) -> list[str]:
    ladders = (one.current.ladder, one.other.ladder)
    reach = max(ladder.rungs[-1].price for ladder in ladders) * 5 // 4
    highest = max(ladder.total(reach) for ladder in ladders)
    floor = top + _PANEL + 22
    step, money_step = scale_step(max(1, highest)), scale_step(max(1, reach))
    steps = max(1, -(-highest // step))
    of_unit, of_money = _PANEL / (steps * step), (WIDTH - LEFT - RIGHT) / reach
    parts = []
    for number in range(steps + 1):
        y = floor - number * step * of_unit
        parts += [line(LEFT, y, WIDTH - RIGHT, y, width=0.3), text(LEFT - 4, y + 4, str(number * step), anchor="end")]
    for amount in range(money_step, reach + 1, money_step):
        label = format_money(amount, currency).removesuffix(".00")
        parts.append(text(LEFT + amount * of_money, floor + 14, label, anchor="middle"))
    parts.append(text(WIDTH - RIGHT, floor + 28, f"{currency} put in", anchor="end"))
    for ladder, dashed in zip(ladders, (False, True), strict=True):
        points = [(LEFT + x * of_money, floor - y * of_unit) for x, y in _corners(ladder, reach)]
        parts.append(path(points, dashed=dashed))
    return [*parts, line(LEFT, floor, WIDTH - RIGHT, floor)]


def _corners(ladder: Ladder, reach: int) -> list[tuple[int, int]]:
    """Return the corners of a ladder's steps up to an amount."""
    steps = ladder_steps(ladder, reach=reach)
    corners, units = [(0, 0)], 0
    for amount, given in zip(steps.amounts, steps.units, strict=True):
        if amount:
            corners += [(amount, units), (amount, given)]
            units = given
    return [*corners, (reach, units)]
