"""A quote in process against a decision-table engine (``zen-engine``) that is given the same week and ladders.

The table has a row for each window of the week, and expressions that buy by its ladder; the half-hour of the week is worked
out before, as no table has time zones. It gives the window's name and the figures of the offer, and must give the same as
ours: units, what is spent and left, and the price of a unit; the lines, the next break and the span only ours gives.
A general engine for rules is what somebody would take who writes no engine for prices: ours has to be so much quicker that
nobody asks why it is there. ``pip install "baizebook[benchmarks]"`` brings it.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import zen
from baizebook.pricing import quote

from tests.benchmarks.engine import EARLY, HELD, MONDAY, STARTS, WEEKDAY, timetable
from tests.benchmarks.figure import Figure, compare, cpu_seconds

_WEEK = 336
"""Half-hours."""
_SATURDAY = 48 * 5
_FIGURES = ("window", "units", "spends", "left", "per_unit")


def run(*, rounds: int) -> Iterator[Figure]:
    """Check that both agree on the whole week, then time them."""
    decision = zen.ZenEngine().create_decision(json.dumps(_decision()))
    place = timetable(metered=False)
    questions = [
        (MONDAY + timedelta(minutes=30 * half), money) for half in range(_WEEK) for money in (50, 300, 1000, 4375)
    ]

    def by_table(at: datetime, money: int) -> dict[str, Any]:
        half_hours = (at - MONDAY) // timedelta(minutes=30)
        found: dict[str, Any] = decision.evaluate({"half_hours": half_hours, "money": money})["result"]
        return found

    for at, money in questions:
        answer = quote(place, at=at, money=money)
        offer = answer.offers[0]
        ours = (answer.span.name, offer.units, offer.spends, offer.left, offer.per_unit)
        if ours != tuple(by_table(at, money).get(name) for name in _FIGURES):
            raise SystemExit(f"{at} {money}: ours {ours}, the table {by_table(at, money)}")

    def engine() -> float:
        answers = (quote(place, at=at, money=money) for at, money in questions)
        return cpu_seconds(lambda: deque(answers, maxlen=0), pieces=len(questions))

    def table() -> float:
        return cpu_seconds(lambda: deque((by_table(*one) for one in questions), maxlen=0), pieces=len(questions))

    yield compare(Figure("N2", "a quote, games", "a decision table", 1 / 20), engine, table, rounds=rounds)


def _decision() -> dict[str, Any]:
    """Return the decision: a table between what goes in and what comes out."""
    parts = [
        *zip(STARTS[:-1], STARTS[1:], HELD[:-1], strict=True),
        (STARTS[-1], _SATURDAY, HELD[-1]),
        (_SATURDAY, _WEEK, HELD[-1]),
    ]
    rules = [
        {
            "_id": str(start),
            "when": f"[{start}..{end})",
            **dict(zip(_FIGURES, _bought(ladder, _name(ladder, start)), strict=True)),
        }
        for start, end, ladder in parts
    ]
    outputs = [{"id": name, "name": name, "field": name} for name in _FIGURES]
    table = {
        "hitPolicy": "first",
        "inputs": [{"id": "when", "name": "when", "field": "half_hours"}],
        "outputs": outputs,
        "rules": rules,
    }
    names = ("inputNode", "decisionTableNode", "outputNode")
    nodes: list[dict[str, Any]] = [{"id": name, "name": name, "type": name} for name in names]
    nodes[1]["content"] = table
    edges = [
        {"id": f"{source} {target}", "sourceId": source, "targetId": target, "type": "edge"}
        for source, target in pairwise(names)
    ]
    return {"nodes": nodes, "edges": edges}


def _name(ladder: tuple[tuple[int, int], ...], start: int) -> str:
    if ladder is EARLY:
        return "Early"
    if ladder is WEEKDAY:
        return "Base"
    return "Weekend" if start >= _SATURDAY else "Friday night"


def _bought(ladder: tuple[tuple[int, int], ...], name: str) -> tuple[str, ...]:
    """Return the expressions of the window's name and of what ``money`` buys by a ladder."""
    units, left = [], "money"
    for price, gives in reversed(ladder):
        units.append(f"floor({left} / {price}) * {gives}")
        left = f"({left} % {price})"
    bought, spent = " + ".join(units), f"money - {left}"
    per_unit = f"({bought}) == 0 ? null : floor((2 * ({spent}) + ({bought})) / (2 * ({bought})))"
    return f'"{name}"', bought, spent, left, per_unit
