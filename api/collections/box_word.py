"""The word at the box: one sentence on what is odd about a count, and what to do about it while you stand there (C10).

- One table has at most one word, the most telling: a table that was elsewhere, money in a table that was out of order,
  a meter that did not move, a denomination counted twice, a count over or short past the tolerance, a meter to read
  again, money that the table does not take, a weight that does not fit. The rest is in the advice.
- The tolerance is the worklist's: the word says now what the worklist would ask to look into later.
- It is a reason to look, never an accusation, and never a refusal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from ..pricing.money import format_money
from ..settlements.expected_range import Expected
from .difference import Difference, beyond_tolerance, difference
from .table_finding import TableFinding

WordCode = Literal[
    "not_there_then",
    "out_of_order_then",
    "meter_did_not_move",
    "counted_twice",
    "over",
    "short",
    "refunds_exceed_expected",
    "meter_needs_review",
    "meters_disagree",
    "denomination_not_taken",
    "weight_differs",
]
"""What a word can be about, the most telling first."""


@dataclass(frozen=True, slots=True)
class Word:
    """One sentence on what is odd, and what to do."""

    code: WordCode
    text: str


def word_at_table(finding: TableFinding, currency: str) -> Word | None:
    """Return the word on one table, if anything about its count is odd."""
    return next(_words(finding, currency), None)


def word_in_all(findings: Iterable[TableFinding], currency: str) -> str | None:
    """Return the most telling word of all tables, with the table's label."""
    order = {code: place for place, code in enumerate(WordCode.__args__)}  # type: ignore[attr-defined]
    words = [(word, found.label) for found in findings if (word := word_at_table(found, currency)) is not None]
    first = min(words, key=lambda item: order[item[0].code], default=None)
    return None if first is None else f"{first[1]}: {first[0].text}"


def _words(finding: TableFinding, currency: str) -> Iterator[Word]:
    advice, expected, found = dict(finding.advice), finding.expectation.expected, finding.difference
    if "not_there_then" in advice:
        yield Word("not_there_then", advice["not_there_then"])
    if "out_of_order_then" in advice:
        yield Word("out_of_order_then", f"{advice['out_of_order_then']} If it took money, close the job.")
    yield from _still(finding, currency)
    if expected is not None and found is not None and beyond_tolerance(found, expected):
        yield from _twice(finding, expected, found, currency)
        yield _off(expected, found, currency)
    if "refunds_exceed_expected" in advice:
        yield Word("refunds_exceed_expected", f"{advice['refunds_exceed_expected']} Correct the amounts.")
    if "meter_needs_review" in advice:
        yield Word("meter_needs_review", advice["meter_needs_review"])
    if "meters_disagree" in advice:
        yield Word("meters_disagree", f"{advice['meters_disagree']} Read them again, and note what they show.")
    if "denomination_not_taken" in advice:
        yield Word("denomination_not_taken", f"{advice['denomination_not_taken']} If it is, note where it came from.")
    if "weight_differs" in advice:
        yield Word("weight_differs", f"{advice['weight_differs']} Count again.")


def _still(finding: TableFinding, currency: str) -> Iterator[Word]:
    still = [meter.name for meter in finding.expectation.meters if meter.delta == 0 and meter.kind != "baseline"]
    if still and finding.box.counted and finding.since_at is not None:
        counted = format_money(finding.box.counted, currency)
        text = (
            f"The meter {still[0]} did not move since {finding.since_at:%Y-%m-%d}, but {counted} was counted. "
            "Read it again, and test whether it counts."
        )
        yield Word("meter_did_not_move", text)


def _twice(finding: TableFinding, expected: Expected, found: Difference, currency: str) -> Iterator[Word]:
    """Yield the denomination whose half count would explain what is over, the one that explains it best."""
    halves = []
    for value, count in finding.box.counts.items():
        rest = difference(finding.box.counted - value * (count // 2), expected)
        if found.amount > 0 and count > 1 and count % 2 == 0 and not beyond_tolerance(rest, expected):
            halves.append((abs(rest.amount), -value, value, count))
    if halves:
        _, _, value, count = min(halves)
        over, piece = format_money(found.amount, currency), format_money(value, currency)
        text = (
            f"{over} over, about half of the {count} of {piece} that were counted: perhaps they were counted twice. "
            "Count them again."
        )
        yield Word("counted_twice", text)


def _off(expected: Expected, found: Difference, currency: str) -> Word:
    end = expected.most if found.amount > 0 else expected.least
    percent = "" if found.percent is None else f", {_one_decimal(abs(found.percent))} %"
    side: Literal["over", "short"] = "over" if found.amount > 0 else "short"
    text = (
        f"{format_money(abs(found.amount), currency)} {side}{percent} of {format_money(end, currency)} expected. "
        "Count again and read the meters again; if it stays, note what you know."
    )
    return Word(side, text)


def _one_decimal(number: Fraction) -> str:
    tenths = round(number * 10)
    return f"{tenths // 10}.{tenths % 10}"
