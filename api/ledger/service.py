"""The books in the database: what is posted, and what it sums to.

- There is one chain; its end is held while an entry is added, until the commit: numbers follow the order of commits,
  so that whoever has seen a number has seen all below it, on PostgreSQL too (L4).
- Balances are sums of postings (L2).
"""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from sqlmodel import Session, col, func, insert, select

from api.clock import new_id
from api.db import hold
from api.ledger.chain import seal
from api.ledger.journal import GENESIS, Entry
from api.ledger.models import EntryRow, PostingRow
from api.ledger.posting import Posting


def post_entry(
    session: Session,
    *,
    kind: str,
    on: date,
    currency: str,
    postings: Sequence[Posting],
    reference: str,
    source_id: UUID | None,
    now: datetime,
) -> EntryRow:
    """Add an entry to the end of the chain; whoever else posts waits until this transaction ends.

    ``source_id`` is what it was made from: the collection, or the entry that a reversal takes back. Take every other
    ``hold`` before this one. Refuses what ``Entry`` refuses; a source posted twice or a venue that is none is a
    conflict.
    """
    hold(session, "ledger")
    last = session.exec(select(EntryRow.number, EntryRow.hash).order_by(col(EntryRow.number).desc()).limit(1)).first()
    number, previous_hash = last or (0, GENESIS)
    entry = seal(
        Entry(
            id=str(new_id()),
            number=number + 1,
            kind=kind,
            on=on,
            recorded_at=now,
            currency=currency,
            postings=tuple(postings),
            reference=reference,
            source_id=None if source_id is None else str(source_id),
            previous_hash=previous_hash,
        )
    )
    return _append(session, entry)


def _append(session: Session, entry: Entry) -> EntryRow:
    """Store the postings, then the entry that closes them."""
    postings = [
        {
            "entry_number": entry.number,
            "place": place,
            "account": posting.account,
            "venue_id": None if posting.venue_id is None else UUID(posting.venue_id),
            "amount_minor": posting.amount_minor,
        }
        for place, posting in enumerate(entry.postings)
    ]
    session.execute(insert(PostingRow), postings)
    row = EntryRow(
        number=entry.number,
        id=UUID(entry.id),
        kind=entry.kind,
        booked_on=entry.on,
        recorded_at=entry.recorded_at,
        currency=entry.currency,
        reference=entry.reference,
        source_id=None if entry.source_id is None else UUID(entry.source_id),
        previous_hash=entry.previous_hash,
        hash=entry.hash,
    )
    session.add(row)
    session.flush()
    return row


def balance(session: Session, *, account: str, venue_id: UUID | None, currency: str) -> int:
    """Return the sum of an account, of one venue where it is kept per venue: minor units, debit positive."""
    query = (
        select(func.coalesce(func.sum(PostingRow.amount_minor), 0))
        .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
        .where(PostingRow.account == account, PostingRow.venue_id == venue_id, EntryRow.currency == currency)
    )
    return int(session.exec(query).one())


def loan_balance(session: Session, *, venue_id: UUID, currency: str) -> int:
    """Return what a venue still owes of its loans, in minor units."""
    return balance(session, account="venue_loans", venue_id=venue_id, currency=currency)


def owed_balance(session: Session, *, venue_id: UUID, currency: str) -> int:
    """Return what a venue is still to be given, in minor units; below zero where it was given too much."""
    return -balance(session, account="owed_to_venues", venue_id=venue_id, currency=currency)
