"""Agreements are published and never changed (D3); settlements are stored with their ledger entry, and reversed.

- An entry is booked on the collection's trading date, and so is its reversal: the sums of a period stay true.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from sqlmodel import Session, SQLModel, col, func, select

from ..ledger.entry_kinds import collection_postings
from ..ledger.posting import Posting, mirror
from ..ledger.rows import EntryRow, PostingRow
from ..ledger.service import columns_of, keep_digest, lock_accounts, post_entry
from ..ledger.source_digest import source_digest
from ..store.clock import new_id
from ..store.db import lock
from ..store.sequence import Recorded, next_number
from ..venues.service import calendar_of, get_venue, lock_venue, must_be_of_the_route
from ..web.pagination import Page
from .convert import read_agreement, settlement_row
from .first_money import check_due_at_once
from .opening_state import Division
from .rows import AgreementRow, ReversalRow, SettlementRow
from .schemas import AgreementIn

_NEW_SETTLEMENT = SQLModel.metadata.tables[SettlementRow.__tablename__].insert()


def publish_agreement(session: Session, venue_id: UUID, message: AgreementIn, *, now: datetime) -> AgreementRow:
    """Store the next version of a venue's agreement; settlements made before do not change.

    Locks: the venue, whose currency the agreement keeps; its accounts, so that a batch of collections settles by one
    list of agreements; then its agreements.
    """
    venue = lock_venue(session, venue_id)
    lock_accounts(session, venue_id)
    must_be_of_the_route(venue, where="effective_on", on=message.effective_on)
    venue.has_money = True
    terms = message.model_dump(mode="json", by_alias=True)
    agreement = read_agreement(terms, currency=venue.currency)
    check_due_at_once(agreement, until_on=calendar_of(venue).trading_day(now))
    lock(session, f"agreements:{venue_id}")
    latest = session.exec(select(func.max(AgreementRow.version)).where(AgreementRow.venue_id == venue_id)).one()
    row = AgreementRow(
        id=new_id(),
        venue_id=venue_id,
        version=(latest or 0) + 1,
        currency=venue.currency,
        effective_on=agreement.effective_on,
        published_at=next_number(session, "agreements", now=now).at,
        terms=terms,
    )
    session.add(row)
    session.flush()
    keep_digest(session, "agreement", row.id, {"agreement": [row]}, now=now)
    return row


def page_agreements(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[AgreementRow]:
    """Return the agreements of a venue in the order of their publication."""
    get_venue(session, venue_id)
    query = select(AgreementRow).where(AgreementRow.venue_id == venue_id).order_by(col(AgreementRow.version))
    if after is not None:
        last = select(AgreementRow.version).where(AgreementRow.id == after, AgreementRow.venue_id == venue_id)
        query = query.where(col(AgreementRow.version) > last.scalar_subquery())
    rows = session.exec(query.limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1].id if len(rows) > limit else None)


def save_settlement(
    session: Session,
    division: Division,
    *,
    agreements: Sequence[AgreementRow],
    recorded: Recorded,
    collection_id: UUID,
    venue_id: UUID,
    currency: str,
    reference: str,
    booked: Mapping[str, Sequence[SQLModel]],
    now: datetime,
) -> SettlementRow:
    """Post the entry of a settlement and store the settlement.

    ``agreements`` are those of the venue, ``recorded`` is a number of the counter ``cash``, ``booked`` are the stored
    rows, by table, that the settlement was made from: the entry carries their digest with that of the settlement and its
    agreement. Locks: the caller holds the accounts of the venue and the counter; here the ledger.
    """
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
    row = settlement_row(
        division,
        sequence=recorded.number,
        collection_id=collection_id,
        venue_id=venue_id,
        entry_id=new_id() if postings else None,
        now=recorded.at,
    )
    agreement = next(version for version in agreements if version.id == row.agreement_id)
    _post(
        session,
        "collection",
        postings,
        id=row.entry_id,
        on=settlement.trading_on,
        currency=currency,
        reference=reference,
        source_id=collection_id,
        booked={**booked, "settlement": [row], "agreement": [agreement]},
        now=now,
    )
    session.connection().execute(_NEW_SETTLEMENT, columns_of(row))
    return row


def save_reversal(
    session: Session,
    settlement: SettlementRow | None,
    *,
    collection_id: UUID,
    venue_id: UUID,
    reason: str,
    by: str,
    currency: str,
    reference: str,
    now: datetime,
) -> ReversalRow:
    """Store the reversal of a collection, and post the mirror image of its entry if it has one.

    Locks: the caller holds the accounts of the venue; here the counter ``cash``, then the ledger.
    """
    booked_by = None if settlement is None else settlement.entry_id
    recorded = next_number(session, "cash", now=now)
    row = ReversalRow(
        id=new_id(),
        sequence=recorded.number,
        collection_id=collection_id,
        venue_id=venue_id,
        reason=reason,
        reversed_at=recorded.at,
        reversed_by=by,
        entry_id=None if booked_by is None else new_id(),
    )
    if settlement is not None and booked_by is not None:
        _post(
            session,
            "reversal",
            mirror(_postings_of(session, booked_by)),
            id=row.entry_id,
            on=settlement.trading_on,
            currency=currency,
            reference=reference,
            source_id=booked_by,
            booked={"reversal": [row]},
            now=now,
        )
    session.add(row)
    session.flush()
    keep_digest(session, "reversal", row.id, {"reversal": [row]}, now=now)
    return row


def _postings_of(session: Session, entry_id: UUID) -> list[Posting]:
    query = (
        select(PostingRow)
        .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
        .where(EntryRow.id == entry_id)
        .order_by(col(PostingRow.place))
    )
    return [
        Posting(row.account, None if row.venue_id is None else str(row.venue_id), row.amount_minor)
        for row in session.exec(query).all()
    ]


def _post(
    session: Session,
    kind: str,
    postings: Sequence[Posting],
    *,
    id: UUID | None,
    on: date,
    currency: str,
    reference: str,
    source_id: UUID,
    booked: Mapping[str, Sequence[SQLModel]],
    now: datetime,
) -> None:
    """Post an entry of a collection with the digest of what it books, unless it would move no money."""
    if not postings:
        return
    post_entry(
        session,
        id=id,
        kind=kind,
        on=on,
        currency=currency,
        postings=postings,
        reference=reference,
        source_id=source_id,
        source_digest=source_digest({table: [columns_of(row) for row in rows] for table, rows in booked.items()}),
        now=now,
    )
