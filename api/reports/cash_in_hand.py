"""Cash in hand by bag, from the collection that filled it to the deposit that names it: pure (O4).

- Each settled collection fills the bag that it names, by what its entry added to cash in bags. A collection that names
  no bag is its collector's all the same; a deposit names it by its id.
- A deposit, or cash written off, is taken out of the bags that it names, in their order; of bags with one name, out of
  the one filled first, and only out of those filled by its date. Whatever is left over, all of an entry that names no
  bag, and what was in bags when the books began, is ``unassigned``.
- A late arrival or a correction is in its place as soon as it is on record: what was taken out of which bag is worked
  out again each time, and never stored.
- What is in the bags and what is unassigned add up to the account, always.

Amounts are minor units.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class Filling:
    """What one collection put into a bag (``bag`` empty: it names none), on a trading date."""

    collection_id: UUID
    venue_id: UUID
    person: str
    bag: str
    currency: str
    collected_at: datetime
    on: date
    amount: int

    @property
    def name(self) -> str:
        """What a deposit calls the bag: its name, or the id of the collection that names none."""
        return self.bag or str(self.collection_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class CashEntry:
    """Any other entry on cash in bags: ``amount`` is what it added, below zero for a deposit and for a write-off."""

    number: int
    id: UUID
    kind: str
    on: date
    currency: str
    amount: int
    bags: tuple[str, ...] = ()
    reference: str = ""


@dataclass(frozen=True, slots=True)
class Left:
    """A filling and what was taken out of it."""

    filling: Filling
    taken: int

    @property
    def in_hand(self) -> int:
        """What is still in hand of it."""
        return self.filling.amount - self.taken


@dataclass(frozen=True, slots=True)
class Unassigned:
    """An entry, and how much of what it added belongs to no bag."""

    entry: CashEntry
    amount: int


@dataclass(frozen=True, slots=True)
class CashInHand:
    """What is left of every filling, in time order, and what belongs to no bag."""

    left: tuple[Left, ...]
    unassigned: tuple[Unassigned, ...]

    def totals(self) -> dict[str, int]:
        """Return the sum by currency."""
        found: dict[str, int] = {}
        for one in self.left:
            found[one.filling.currency] = found.get(one.filling.currency, 0) + one.in_hand
        for other in self.unassigned:
            found[other.entry.currency] = found.get(other.entry.currency, 0) + other.amount
        return found


def cash_in_hand(fillings: Iterable[Filling], entries: Iterable[CashEntry]) -> CashInHand:
    """Return what is left in each bag after all entries, and what no bag explains."""
    in_time = sorted(fillings, key=lambda filling: (filling.collected_at, filling.collection_id))
    taken = {filling.collection_id: 0 for filling in in_time}
    by_name: dict[tuple[str, str], list[Filling]] = {}
    for filling in in_time:
        by_name.setdefault((filling.currency, filling.name), []).append(filling)
    unassigned = []
    for entry in sorted(entries, key=lambda entry: (entry.on, entry.number)):
        rest = -entry.amount
        for bag in entry.bags:
            for filling in by_name.get((entry.currency, bag), ()):
                part = min(rest, filling.amount - taken[filling.collection_id])
                if part > 0 and filling.on <= entry.on:
                    taken[filling.collection_id] += part
                    rest -= part
        if rest:
            unassigned.append(Unassigned(entry, -rest))
    return CashInHand(tuple(Left(filling, taken[filling.collection_id]) for filling in in_time), tuple(unassigned))


@dataclass(slots=True)
class Bag:
    """A bag that still holds something: whose it is, and the fillings that are not all banked."""

    person: str
    name: str
    currency: str
    left: list[Left] = field(default_factory=list)

    @property
    def filled(self) -> int:
        """What those fillings were."""
        return sum(one.filling.amount for one in self.left)

    @property
    def in_hand(self) -> int:
        """What is still in hand of them."""
        return sum(one.in_hand for one in self.left)

    @property
    def first(self) -> Filling:
        """The filling that has been in hand for longest."""
        return self.left[0].filling


def open_bags(left: Sequence[Left]) -> list[Bag]:
    """Return the bags that still hold something by person, currency and name, each with its fillings in time order."""
    found: dict[tuple[str, str, str], Bag] = {}
    for one in left:
        if one.in_hand:
            filling = one.filling
            key = (filling.person, filling.currency, filling.bag)
            found.setdefault(key, Bag(filling.person, filling.bag, filling.currency)).left.append(one)
    return [found[key] for key in sorted(found)]


def named_together(names: Iterable[str], entries: Iterable[CashEntry]) -> set[str]:
    """Return the names of bags whose entries decide about these: entries that name several tie them together."""
    entries, found, more = list(entries), set[str](), set(names)
    while more:
        found |= more
        more = {bag for entry in entries if found & set(entry.bags) for bag in entry.bags} - found
    return found


def sums_differ(found: Mapping[str, int], account: Mapping[str, int]) -> str | None:
    """Say where the bags and the account differ; None where they agree."""
    currencies = sorted({*found, *account})
    apart = [
        f"{name}: {found.get(name, 0)} in bags, {account.get(name, 0)} on the account"
        for name in currencies
        if found.get(name, 0) != account.get(name, 0)
    ]
    return "; ".join(apart) or None
