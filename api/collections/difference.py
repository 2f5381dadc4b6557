"""The difference of a count: counted less expected, of a table and of a whole collection.

- C4: inside the range the difference is 0, else it is the signed distance to the nearer end, over like short, and per
  cent of that end. A box without an expectation has no difference. In all, only the tables that have an expectation are
  added up and compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from ..settlements.expected_range import Expected

TOLERATED = Fraction(1, 20)
"""A difference up to this share of the expectation is no reason to look."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Counted less expected (minor units, C4), and per cent of the nearer end: None where that end is 0."""

    amount: int
    percent: Fraction | None


@dataclass(frozen=True, slots=True)
class InAll:
    """A whole collection (C4).

    ``expected``, ``difference`` and ``compared_count`` are those of the ``compared`` tables: the ones that have an
    expectation. ``settling`` is the expectation of the whole box, in which any other table is expected to hold its
    count. Without any expectation the ranges and the difference are None.
    """

    counted: int
    expected: Expected | None
    difference: Difference | None
    settling: Expected | None
    compared: int = 0
    compared_count: int = 0


def difference(counted: int, expected: Expected) -> Difference:
    """Return how far a count is from the expectation: 0 inside it, else from its nearer end (C4)."""
    end = expected.nearest(counted)
    amount = counted - end
    return Difference(amount, Fraction(100 * amount, end) if end else None)


def in_all(tables: Sequence[tuple[int, Expected | None]]) -> InAll:
    """Add up the count and the expectation of each table of a collection (C4)."""
    counted = sum(count for count, _ in tables)
    known = [(count, expected) for count, expected in tables if expected is not None]
    if not known:
        return InAll(counted, None, None, None)
    expected = sum((expected for _, expected in known), Expected(0, 0))
    known_count = sum(count for count, _ in known)
    unknown = Expected(counted - known_count, counted - known_count)
    found = difference(known_count, expected)
    return InAll(counted, expected, found, expected + unknown, len(known), known_count)


def beyond_tolerance(found: Difference, expected: Expected) -> bool:
    """Tell whether a difference is more than what is tolerated: a twentieth of the nearer end of the expectation."""
    return abs(found.amount) > TOLERATED * (expected.most if found.amount > 0 else expected.least)
