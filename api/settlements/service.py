"""Agreements are published and never changed (D3); settlements are stored with their ledger entry, and reversed.

- An entry is booked on the collection's trading date, and so is its reversal: the sums of a period stay true.
"""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from sqlmodel import Session, col, func, select

from ..ledger.kinds import collection_postings
from ..ledger.posting import Posting, mirror
from ..ledger.rows import EntryRow, PostingRow
from ..ledger.service import post_entry
from ..store.clock import new_id
from ..store.db import hold
from ..venues.service import get_venue
from ..web.pagination import Page, page
from .convert import read_agreement, settlement_row
from .opening_state import Division
from .rows import AgreementRow, SettlementRow
from .schemas import AgreementIn


def publish_agreement(session: Session, venue_id: UUID, message: AgreementIn, *, now: datetime) -> AgreementRow:
    """Store the next version of a venue's agreement; settlements made before do not change."""
    venue = get_venue(session, venue_id)
    terms = message.model_dump(mode="json", by_alias=True)
    agreement = read_agreement(terms, currency=venue.currency)
    hold(session, f"agreements:{venue_id}")
    latest = session.exec(select(func.max(AgreementRow.version)).where(AgreementRow.venue_id == venue_id)).one()
    row = AgreementRow(
        id=new_id(),
        venue_id=venue_id,
        version=(latest or 0) + 1,
        currency=venue.currency,
        effective_on=agreement.effective_on,
        published_at=now,
        terms=terms,
    )
    session.add(row)
    session.flush()
    return row


def page_agreements(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[AgreementRow]:
    """Return the agreements of a venue in the order of their publication."""
    get_venue(session, venue_id)
    query = select(AgreementRow).where(AgreementRow.venue_id == venue_id)
    return page(session, query, key=col(AgreementRow.id), limit=limit, after=after)


def save_settlement(
    session: Session,
    division: Division,
    *,
    collection_id: UUID,
    venue_id: UUID,
    currency: str,
    reference: str,
    now: datetime,
) -> SettlementRow:
    """Post the entry of a settlement and store the settlement."""
    settlement = division.settlement
    postings = collection_postings(
        venue_id=str(venue_id),
        counted_minor=settlement.counted,
        returned_to_venue_minor=settlement.returned_to_venue,
        test_money_minor=sum(line.amount for line in settlement.lines if line.code == "test_money"),
        tax_minor=settlement.tax,
        first_money_minor=settlement.first_money,
        venue_share_minor=settlement.venue_share,
        loan_repaid_minor=settlement.loan_repaid,
        to_venue_now_minor=settlement.to_venue_now,
        to_venue_balance_minor=settlement.to_venue_balance,
    )
    entry_id = _post(
        session,
        "collection",
        postings,
        on=settlement.trading_on,
        currency=currency,
        reference=reference,
        source_id=collection_id,
        now=now,
    )
    row = settlement_row(division, collection_id=collection_id, venue_id=venue_id, entry_id=entry_id, now=now)
    session.add(row)
    session.flush()
    return row


def post_reversal(
    session: Session, settlement: SettlementRow | None, *, currency: str, reference: str, now: datetime
) -> UUID | None:
    """Post the mirror image of a settlement's entry, if it has one, and return the new entry's id."""
    if settlement is None or settlement.entry_id is None:
        return None
    query = (
        select(PostingRow)
        .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
        .where(EntryRow.id == settlement.entry_id)
        .order_by(col(PostingRow.place))
    )
    postings = [
        Posting(row.account, None if row.venue_id is None else str(row.venue_id), row.amount_minor)
        for row in session.exec(query).all()
    ]
    return _post(
        session,
        "reversal",
        mirror(postings),
        on=settlement.trading_on,
        currency=currency,
        reference=reference,
        source_id=settlement.entry_id,
        now=now,
    )


def _post(
    session: Session,
    kind: str,
    postings: Sequence[Posting],
    *,
    on: date,
    currency: str,
    reference: str,
    source_id: UUID,
    now: datetime,
) -> UUID | None:
    """Post an entry of a collection, unless it would move no money."""
    if not postings:
        return None
    entry = post_entry(
        session,
        kind=kind,
        on=on,
        currency=currency,
        postings=postings,
        reference=reference,
        source_id=source_id,
        now=now,
    )
    return entry.id
