"""Writes the books as messages: entries, balances, statements and years; minor units become decimal strings."""

from collections.abc import Iterable, Iterator, Mapping
from uuid import UUID

from ..pricing.money import format_money
from .accounts import ACCOUNTS
from .bags import bags_of
from .chain import BadEntry
from .entry import Entry
from .export.period import Balances
from .posting import Leaf, Posting
from .schemas import (
    AccountBalanceOut,
    AccountNamesOut,
    AccountOut,
    BadEntryOut,
    EntryOut,
    PostedEntryOut,
    PostingOut,
)


def entry_out(entry: Entry) -> EntryOut:
    """Write an entry."""
    return EntryOut(
        number=entry.number,
        id=UUID(entry.id),
        kind=entry.kind,
        on=entry.on,
        recorded_at=entry.recorded_at,
        currency=entry.currency,
        venue_id=_id(entry.venue_id),
        table_id=_id(entry.table_id),
        postings=[_posting_out(posting, entry.currency) for posting in entry.postings],
        reference=entry.reference,
        source_id=_id(entry.source_id),
        source_digest=entry.source_digest,
        bags=list(bags_of(entry.bags)),
        previous_hash=entry.previous_hash,
        hash=entry.hash,
    )


def posted_out(entry: Entry, cautions: Iterable[str]) -> PostedEntryOut:
    """Write an entry that was just posted, with what is odd about it."""
    return PostedEntryOut(**entry_out(entry).model_dump(), cautions=list(cautions))


def _posting_out(posting: Posting, currency: str) -> PostingOut:
    amount = format_money(posting.amount_minor, currency)
    return PostingOut(account=posting.account, venue_id=_id(posting.venue_id), amount=amount)


def _id(text: str | None) -> UUID | None:
    return None if text is None else UUID(text)


def balance_code(leaf: Leaf, currency: str) -> str:
    """Return a balance in one word, by which a list goes on after it: ``bank:USD``."""
    return f"{leaf.code}:{currency}"


def balances_out(balances: Balances) -> Iterator[tuple[str, AccountBalanceOut]]:
    """Yield every balance with its code, in the order of the chart, then the venue's id, then the currency."""
    for leaf, currency in sorted(balances, key=lambda key: (key[0].place, key[1])):
        account = ACCOUNTS[leaf.account]
        yield (
            balance_code(leaf, currency),
            AccountBalanceOut(
                account=account.code,
                kind=account.kind,
                holds=account.holds,
                venue_id=_id(leaf.venue_id),
                currency=currency,
                balance=format_money(balances[leaf, currency], currency),
            ),
        )


def bad_out(bad: BadEntry) -> BadEntryOut:
    """Write the first bad entry: what it shows may be anything."""
    return BadEntryOut(place=bad.place, number=str(bad.number), id=str(bad.id), why=bad.why)


def names_out(names: Mapping[str, str]) -> AccountNamesOut:
    """Write the operator's names of accounts beside the chart."""
    chart = [AccountOut(code=a.code, kind=a.kind, per_venue=a.per_venue, holds=a.holds) for a in ACCOUNTS.values()]
    missing = [code for code in ACCOUNTS if code not in names]
    return AccountNamesOut(names=dict(names), missing=missing, accounts=chart)
