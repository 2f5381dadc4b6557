"""A period's part of the journal: opening balances if wanted, the entries, year closings if wanted, closing balances.

- Balances are sums of postings, never stored on their own (L2).
- ``opening="none"`` leaves out the balances before the period: periods loaded one after the other count each amount
  once. ``opening="balances"`` begins with them, for the first period loaded or for one loaded alone.
- ``close="year"`` books income and expense of each year into ``retained_earnings`` on 31 December, per currency; years
  that ended before the period are closed in its opening balances too.
- The closing balances are always the journal's own up to the period's end, whatever the opening (L5).
- Transactions are ordered by date, then number: the same journal gives the same extract.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
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


@dataclass(frozen=True, slots=True)
class Extract:
    """A period, its transactions in order, and the closing balance of every leaf used up to its end, zeros included.

    ``opened_before`` are the leaves that earlier periods used and this extract does not bring in by itself.
    """

    period: ExportPeriod
    transactions: tuple[Transaction, ...]
    closing: tuple[tuple[Leaf, str, int], ...]
    opened_before: frozenset[Leaf] = frozenset()

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """Every leaf of the extract once, in the order of the chart."""
        return tuple(dict.fromkeys(leaf for leaf, _, _ in self.closing))

    @property
    def moved(self) -> tuple[Leaf, ...]:
        """Every leaf that a transaction of the extract moves, in the order of the chart."""
        moved = {leaf for transaction in self.transactions for leaf, _ in transaction.amounts}
        return tuple(leaf for leaf in self.leaves if leaf in moved)

    @property
    def currencies(self) -> list[str]:
        """Every currency of the extract once, by its code."""
        return sorted({currency for _, currency, _ in self.closing})


def extract(
    entries: Iterable[Entry],
    period: ExportPeriod,
    *,
    opening: Opening,
    close: Close | None = None,
    currency: str | None = None,
) -> Extract:
    """Return the part of the journal that falls into the period, of one currency or of all.

    ``entries`` are all entries up to the period's end, in any order; later ones are left out.
    """
    known = sorted(
        (entry for entry in entries if entry.on <= period.to_on and currency in (None, entry.currency)),
        key=lambda entry: (entry.on, entry.number),
    )
    booked = [_transaction(entry) for entry in known]
    if close == "year":
        booked = _with_closings(booked, until_on=period.to_on)
    earlier = _sums(transaction for transaction in booked if transaction.on < period.from_on)
    brought_in = _openings(earlier, period.from_on) if opening == "balances" else []
    closing = _sums(booked)
    return Extract(
        period,
        (*brought_in, *(transaction for transaction in booked if transaction.on >= period.from_on)),
        tuple((leaf, code, closing[leaf, code]) for leaf, code in sorted(closing, key=_place)),
        frozenset() if opening == "balances" else frozenset(leaf for leaf, _ in earlier),
    )


def _with_closings(booked: Sequence[Transaction], *, until_on: date) -> list[Transaction]:
    """Return the transactions, each year's followed by its closings, where 31 December lies in reach."""
    closed: list[Transaction] = []
    for year in sorted({transaction.on.year for transaction in booked}):
        of_year = [transaction for transaction in booked if transaction.on.year == year]
        closed += of_year
        if date(year, 12, 31) <= until_on:
            closed += _year_closings(_sums(of_year), date(year, 12, 31))
    return closed


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


def _sums(transactions: Iterable[Transaction]) -> Balances:
    sums: Balances = {}
    for transaction in transactions:
        for leaf, amount in transaction.amounts:
            key = leaf, transaction.currency
            sums[key] = sums.get(key, 0) + amount
    return sums


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
