"""Wrong prices of a wrong clock: a week on real time against the same week on the table's time.

- K4 A table that is ahead by the offset makes every change of price too early by the offset; one that is behind, too
  late.
- K4 Where the spans go on past the week, they say what comes before and after it; else the table repeats its week: the
  end of the week comes before its start.
- K4 The changes are those after the week's start until its end: one that is due at the very start is not to come.
- K4 The answer has the changes made at the wrong time, the spans sold wrongly, and the seconds a week of each price sold
  in place of another.

Offsets count in elapsed time; the hour of a clock change itself is left out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from ..pricing.errors import DomainError, Fault, domain_error

SoldKey = str | None
"""What holds in a span, such as a tariff's id; None where nothing is sold."""


WEEK_S = 604_800
SoldSpan = tuple[datetime, datetime, SoldKey]
"""From an instant, to one (exclusive), what holds."""


@dataclass(frozen=True, slots=True)
class MovedChange:
    """A change of price that is due at one instant and made by the table at another."""

    due_at: datetime
    made_at: datetime
    from_key: SoldKey
    to_key: SoldKey


@dataclass(frozen=True, slots=True)
class WrongSale:
    """A time in which the table sells ``sells`` in place of ``instead_of``."""

    from_at: datetime
    to_at: datetime
    sells: SoldKey
    instead_of: SoldKey

    @property
    def seconds(self) -> int:
        return int((self.to_at - self.from_at).total_seconds())


@dataclass(frozen=True, slots=True)
class WrongPair:
    """How long a week one thing is sold in place of another."""

    sells: SoldKey
    instead_of: SoldKey
    seconds: int


@dataclass(frozen=True, slots=True)
class WrongPrice:
    """One week's exposure: in time order, and the pairs by the longest first."""

    changes: tuple[MovedChange, ...]
    sales: tuple[WrongSale, ...]
    pairs: tuple[WrongPair, ...]

    @property
    def seconds(self) -> int:
        return sum(sale.seconds for sale in self.sales)


def wrong_price(spans: Sequence[SoldSpan], *, offset_s: int, week_from: datetime | None = None) -> WrongPrice:
    """Return the wrong sales of a week by a table that is ahead by ``offset_s`` (behind: negative).

    The spans follow each other without a gap and cover the week from ``week_from`` (by default from their start) at
    least. Refuses (``bad_spans``) others.
    """
    _refuse_gaps(spans)
    start = (week_from or spans[0][0]).astimezone(UTC)
    first_s, last_s = _seconds(start, spans[0][0]), _seconds(start, spans[-1][1])
    if first_s > 0 or last_s < WEEK_S:
        found_words = f"{spans[0][0]} to {spans[-1][1]}"
        raise domain_error("bad_spans", where="spans", found=found_words, expected=f"a whole week from {start}")
    # Of offsets that come to the same in a week, the one nearest to zero.
    offset_s = (offset_s + WEEK_S // 2) % WEEK_S - WEEK_S // 2
    starts_s = [_seconds(start, from_at) for from_at, _, _ in spans]
    keys = [key for _, _, key in spans]

    def key_at(second: int) -> SoldKey:
        if second < first_s:
            second += WEEK_S
        elif second >= last_s:
            second -= WEEK_S
        return keys[bisect_right(starts_s, second) - 1]

    moved = {second - offset_s + turn for second in (*starts_s, last_s) for turn in (-WEEK_S, 0, WEEK_S)}
    edges = sorted({0, WEEK_S, *(second for second in {*starts_s, *moved} if 0 < second < WEEK_S)})
    found: list[WrongSale] = []
    for from_s, to_s in pairwise(edges):
        due, sold = key_at(from_s), key_at(from_s + offset_s)
        if due == sold:
            continue
        from_at, to_at = start + timedelta(seconds=from_s), start + timedelta(seconds=to_s)
        if found and (found[-1].to_at, found[-1].sells, found[-1].instead_of) == (from_at, sold, due):
            from_at = found.pop().from_at
        found.append(WrongSale(from_at, to_at, sells=sold, instead_of=due))
    return WrongPrice(_moved(spans, start, offset_s), tuple(found), _pairs(found))


def _moved(spans: Sequence[SoldSpan], start: datetime, offset_s: int) -> tuple[MovedChange, ...]:
    """Return every change after the start of the week until its end, at its due and at the table's time."""
    if offset_s == 0:
        return ()
    end = start + timedelta(seconds=WEEK_S)
    changes = [(at.astimezone(UTC), before, key) for (_, _, before), (at, _, key) in pairwise(spans)]
    if spans[-1][1].astimezone(UTC) == end:  # the week goes round
        changes.append((end, spans[-1][2], spans[0][2]))
    return tuple(
        MovedChange(at, at - timedelta(seconds=offset_s), before, key)
        for at, before, key in changes
        if start < at <= end and before != key
    )


def _pairs(sales: Sequence[WrongSale]) -> tuple[WrongPair, ...]:
    seconds: Counter[tuple[SoldKey, SoldKey]] = Counter()
    for sale in sales:
        seconds[sale.sells, sale.instead_of] += sale.seconds
    return tuple(WrongPair(sells, instead_of, s) for (sells, instead_of), s in seconds.most_common())


def _refuse_gaps(spans: Sequence[SoldSpan]) -> None:
    if not spans:
        raise domain_error("bad_spans", where="spans", found="no span", expected="at least one")
    faults = [
        Fault("bad_spans", f"spans[{i}]", f"{from_at} to {to_at}", "a span that ends after it starts, with offsets")
        for i, (from_at, to_at, _) in enumerate(spans)
        if from_at.tzinfo is None or to_at.tzinfo is None or to_at.timestamp() <= from_at.timestamp()
    ]
    if not faults:
        faults = [
            Fault("bad_spans", f"spans[{i + 1}]", str(spans[i + 1][0]), f"a start at {spans[i][1]}, without a gap")
            for i in range(len(spans) - 1)
            if spans[i][1].timestamp() != spans[i + 1][0].timestamp()
        ]
    if faults:
        raise DomainError(*faults)


def _seconds(start: datetime, at: datetime) -> int:
    return int((at.astimezone(UTC) - start.astimezone(UTC)).total_seconds())
