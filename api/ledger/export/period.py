"""A period's part of the journal that balances on its own: what was there before, the entries, what is there after.

- Balances are sums of postings, never stored on their own (L2).
- An extract of a period has the balances before it as its opening, so that its closing balances are the journal's (L5).
- Its transactions are ordered by date, then number: the same journal gives the same extract.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from ...pricing.errors import domain_error
from ..journal import Entry
from ..posting import Leaf

Balances = dict[tuple[Leaf, str], int]
"""Minor units, debit positive, by leaf and currency."""


@dataclass(frozen=True, slots=True)
class Period:
    """From a date to a date, both of them included; one that ends before it starts is refused (``period_backwards``)."""

    from_on: date
    to_on: date

    def __post_init__(self) -> None:
        if self.to_on < self.from_on:
            raise domain_error("period_backwards", where="to", found=self.to_on, expected=f"{self.from_on} or later")

    def __contains__(self, on: date) -> bool:
        return self.from_on <= on <= self.to_on

    @classmethod
    def of_month(cls, year: int, month: int) -> Period:
        """Return a calendar month, 1 to 12."""
        first = date(year, month, 1)
        return cls(first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))

    @classmethod
    def of_year(cls, year: int) -> Period:
        """Return a calendar year."""
        return cls(date(year, 1, 1), date(year, 12, 31))


@dataclass(frozen=True, slots=True)
class Transaction:
    """What an export writes as one: an entry, or the opening balances of a currency (number 0, no id)."""

    on: date
    number: int
    kind: str
    id: str
    source_id: str | None
    reference: str
    currency: str
    amounts: tuple[tuple[Leaf, int], ...]


@dataclass(frozen=True, slots=True)
class Extract:
    """A period, its transactions in order, and the closing balance of every leaf that they touch, zeros included."""

    period: Period
    transactions: tuple[Transaction, ...]
    closing: tuple[tuple[Leaf, str, int], ...]

    @property
    def leaves(self) -> tuple[Leaf, ...]:
        """Every leaf of the extract once, in the order of the chart."""
        return tuple(dict.fromkeys(leaf for leaf, _, _ in self.closing))

    @property
    def currencies(self) -> list[str]:
        """Every currency of the extract once, by its code."""
        return sorted({currency for _, currency, _ in self.closing})


def balances(entries: Iterable[Entry], before: Mapping[tuple[Leaf, str], int] | None = None) -> Balances:
    """Return the sum of all postings by leaf and currency, on top of what was there ``before``."""
    sums: Balances = dict(before or {})
    for entry in entries:
        for posting in entry.postings:
            key = posting.leaf, entry.currency
            sums[key] = sums.get(key, 0) + posting.amount_minor
    return sums


def extract(entries: Iterable[Entry], period: Period) -> Extract:
    """Return the part of the journal that falls into the period, with the balances of all that came before it."""
    known = sorted((entry for entry in entries if entry.on <= period.to_on), key=lambda entry: (entry.on, entry.number))
    earlier = balances(entry for entry in known if entry.on < period.from_on)
    inside = [entry for entry in known if entry.on >= period.from_on]
    opening = {key: amount for key, amount in earlier.items() if amount}
    closing = balances(inside, opening)
    return Extract(
        period,
        (*_openings(opening, period.from_on), *map(_transaction, inside)),
        tuple((leaf, currency, closing[leaf, currency]) for leaf, currency in sorted(closing, key=_place)),
    )


def _place(key: tuple[Leaf, str]) -> tuple[tuple[int, str], str]:
    return key[0].place, key[1]


def _openings(opening: Balances, on: date) -> list[Transaction]:
    amounts: dict[str, list[tuple[Leaf, int]]] = {}
    for leaf, currency in sorted(opening, key=_place):
        amounts.setdefault(currency, []).append((leaf, opening[leaf, currency]))
    return [
        Transaction(on, 0, "opening_balances", "", None, "", currency, tuple(amounts[currency]))
        for currency in sorted(amounts)
    ]


def _transaction(entry: Entry) -> Transaction:
    amounts = tuple((posting.leaf, posting.amount_minor) for posting in entry.postings)
    return Transaction(
        entry.on, entry.number, entry.kind, entry.id, entry.source_id, entry.reference, entry.currency, amounts
    )
