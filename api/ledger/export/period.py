"""A period's part of the journal: opening balances if wanted, the entries, year closings if wanted, closing balances.

- Balances are sums of postings, never stored on their own (L2).
- ``opening="none"`` leaves out the balances before the period: periods loaded one after the other count each amount
  once. ``opening="balances"`` begins with them, for the first period loaded or for one loaded alone.
- ``close="year"`` books income and expense of each year into ``retained_earnings`` on 31 December, per currency; years
  that ended before the period are closed in its opening balances too.
- The closing balances are always the journal's own up to the period's end, whatever the opening (L5).
- Transactions are ordered by date, then number: the same journal gives the same extract.
- The sums come first, then the entries one at a time: an extract holds no entry, however long the journal is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from operator import attrgetter
from typing import Literal

from ...pricing.errors import domain_error
from ..accounts import ACCOUNTS
from ..entry import Entry
from ..posting import Leaf

Opening = Literal["none", "balances"]
Close = Literal["year"]

Balances = dict[tuple[Leaf, str], int]
"""Minor units, debit positive, by leaf and currency."""

RETAINED = Leaf("retained_earnings")


@dataclass(frozen=True, slots=True)
class ExportPeriod:
    """From a date to a date, both of them included; one that ends before it starts is refused (``period_backwards``)."""

    from_on: date
    to_on: date

    def __post_init__(self) -> None:
        if self.to_on < self.from_on:
            raise domain_error("period_backwards", where="to", found=self.to_on, expected=f"{self.from_on} or later")

    def __contains__(self, on: date) -> bool:
        return self.from_on <= on <= self.to_on

    @classmethod
    def of_month(cls, year: int, month: int) -> ExportPeriod:
        """Return a calendar month, 1 to 12."""
        first = date(year, month, 1)
        return cls(first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))

    @classmethod
    def of_year(cls, year: int) -> ExportPeriod:
        """Return a calendar year."""
        return cls(date(year, 1, 1), date(year, 12, 31))


@dataclass(frozen=True, slots=True)
class Transaction:
    """One transaction of an export: an entry, or (number 0, no id) opening balances or a year's closing.

    ``reference`` may be empty; ``venue_id`` is the one venue that it concerns, or None.
    """

    on: date
    number: int
    kind: str
    id: str
    source_id: str | None
    reference: str
    currency: str
    amounts: tuple[tuple[Leaf, int], ...]

    @property
    def venue_id(self) -> str | None:
        venues = {leaf.venue_id for leaf, _ in self.amounts if leaf.venue_id}
        return venues.pop() if len(venues) == 1 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class YearSum:
    """What was posted to a leaf in one year and currency, before the period or in it: minor units, debit positive."""

    year: int
    before: bool
    leaf: Leaf
    currency: str
    amount: int


@dataclass(frozen=True, slots=True)
class Extract:
    """A period, its transactions in order, and the closing balance of every leaf used up to its end, zeros included.

    ``opened_before`` are the leaves that earlier periods used and this extract does not bring in by itself, ``moved``
    those that a transaction of the extract moves, in the order of the chart. ``entries`` are read again each time that
    the transactions are.
    """

    period: ExportPeriod
    closing: tuple[tuple[Leaf, str, int], ...]
    opened_before: frozenset[Leaf]
    moved: tuple[Leaf, ...]
    entries: Iterable[Entry]
    brought_in: tuple[Transaction, ...]
    year_closings: tuple[Transaction, ...]

    @property
    def transactions(self) -> Iterator[Transaction]:
        """Every transaction in order: what is brought in, then the entries, each year's followed by its closings."""
        yield from self.brought_in
        closings = list(reversed(self.year_closings))
        for entry in self.entries:
            while closings and closings[-1].on.year < entry.on.year:
                yield closings.pop()
            yield _transaction(entry)
        yield from reversed(closings)

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """Every leaf of the extract once, in the order of the chart."""
        return tuple(dict.fromkeys(leaf for leaf, _, _ in self.closing))

    @property
    def currencies(self) -> list[str]:
        """Every currency of the extract once, by its code."""
        return sorted({currency for _, currency, _ in self.closing})


def extract(
    entries: Iterable[Entry],
    period: ExportPeriod,
    *,
    sums: Iterable[YearSum],
    opening: Opening,
    close: Close | None = None,
) -> Extract:
    """Return the part of the journal that falls into the period.

    ``entries`` are those of the period by date, then number; ``sums`` are of all years up to its end, in their order.
    """
    earlier: Balances = {}
    within: Balances = {}
    closings: list[Transaction] = []
    for year, of_year in groupby(sums, key=attrgetter("year")):
        posted: Balances = {}
        for found in of_year:
            for of in (posted, earlier if found.before else within):
                _add(of, found.leaf, found.currency, found.amount)
        closed_on = date(year, 12, 31)
        if close == "year" and closed_on <= period.to_on:
            closed = list(_year_closings(posted, closed_on))
            closings += closed if closed_on >= period.from_on else []
            _add_all(earlier if closed_on < period.from_on else within, closed)
    brought_in = _openings(earlier, period.from_on) if opening == "balances" else []
    closing = dict(earlier)
    for (leaf, currency), amount in within.items():
        _add(closing, leaf, currency, amount)
    moved = {leaf for leaf, _ in within} | {leaf for one in brought_in for leaf, _ in one.amounts}
    return Extract(
        period,
        closing=tuple((leaf, currency, closing[leaf, currency]) for leaf, currency in sorted(closing, key=_place)),
        opened_before=frozenset() if opening == "balances" else frozenset(leaf for leaf, _ in earlier),
        moved=tuple(sorted(moved, key=attrgetter("place"))),
        entries=entries,
        brought_in=tuple(brought_in),
        year_closings=tuple(closings),
    )


def _year_closings(sums: Mapping[tuple[Leaf, str], int], on: date) -> Iterator[Transaction]:
    for currency in sorted({currency for _, currency in sums}):
        amounts = [
            (leaf, -sums[leaf, code])
            for leaf, code in sorted(sums, key=_place)
            if code == currency and sums[leaf, code] and ACCOUNTS[leaf.account].kind in ("income", "expense")
        ]
        result = -sum(amount for _, amount in amounts)
        if result:
            amounts.append((RETAINED, result))
        if amounts:
            yield Transaction(on, 0, "year_closing", "", None, "", currency, tuple(amounts))


def _add(sums: Balances, leaf: Leaf, currency: str, amount: int) -> None:
    sums[leaf, currency] = sums.get((leaf, currency), 0) + amount


def _add_all(sums: Balances, transactions: Iterable[Transaction]) -> None:
    for transaction in transactions:
        for leaf, amount in transaction.amounts:
            _add(sums, leaf, transaction.currency, amount)


def _place(key: tuple[Leaf, str]) -> tuple[tuple[int, str], str]:
    return key[0].place, key[1]


def _openings(earlier: Balances, on: date) -> list[Transaction]:
    amounts: dict[str, list[tuple[Leaf, int]]] = {}
    for leaf, currency in sorted(earlier, key=_place):
        if earlier[leaf, currency]:
            amounts.setdefault(currency, []).append((leaf, earlier[leaf, currency]))
    return [
        Transaction(on, 0, "opening_balances", "", None, "", currency, tuple(amounts[currency]))
        for currency in sorted(amounts)
    ]


def _transaction(entry: Entry) -> Transaction:
    amounts = tuple((posting.leaf, posting.amount_minor) for posting in entry.postings)
    return Transaction(
        entry.on, entry.number, entry.kind, entry.id, entry.source_id, entry.reference, entry.currency, amounts
    )
