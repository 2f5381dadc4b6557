"""Settles a collection in the database: gathers what the venue's earlier settlements leave, divides, posts the entry.

- A settlement goes on from all settlements of the venue that stand (D2). A correction goes on from where the reversed
  one stood, as long as that place is what it was: later ones stand, and what changes is a line of the next (C5).
- The entry is booked on the collection's trading date, and so is its reversal, so that a period's sums stay true.
- Tax is that of the area that the venue belonged to on the trading date (D, step 3; D3).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from ..collections.rows import CollectionRow
from ..ledger.kinds import collection_postings
from ..ledger.posting import Posting, mirror
from ..ledger.rows import EntryRow, PostingRow
from ..ledger.service import loan_balance, post_entry
from ..store.clock import new_id
from ..tax_areas.tax_area import TaxArea, TaxRate
from ..venues.rows import VenueRow
from ..venues.service import tax_area_on
from .agreement import in_force
from .box import Box
from .carry_forward import Period, change, due, unreckoned, waiting
from .claims import Claim
from .expected import Expected
from .rows import ReversalRow, SettlementRow
from .service import versions_of
from .settlement import Settlement, check, settle


@dataclass(frozen=True, slots=True)
class Start:
    """What a settlement goes on from."""

    carried_in: tuple[Claim, ...]
    loan_minor: int
    periods: tuple[Period, ...]


@dataclass(frozen=True, slots=True)
class Divided:
    """A settlement as a value and as its row, which is not stored yet."""

    settlement: Settlement
    row: SettlementRow


def divide(session: Session, venue: VenueRow, collection: CollectionRow, *, now: datetime) -> Divided | None:
    """Return how a collection is settled under the agreement in force on its trading date; None without one (C7)."""
    versions = versions_of(session, venue)
    agreement = in_force(versions, on=collection.trading_on)
    if agreement is None:
        return None
    area = tax_area_on(session, venue.id, collection.trading_on)
    tax = None if area is None else area.rate_on(collection.trading_on)
    start = _start(session, collection)
    settlement = settle(
        agreement,
        box_of(collection),
        currency=collection.currency,
        trading_on=collection.trading_on,
        tax=tax,
        due=due(versions, start.periods, on=collection.trading_on),
        carried_in=start.carried_in,
        loan_balance=start.loan_minor,
    )
    check(settlement)
    return Divided(settlement, _row(collection, settlement, start, area=area, tax=tax, now=now))


def post(session: Session, collection: CollectionRow, divided: Divided, *, now: datetime) -> SettlementRow:
    """Post a settlement's entry and store the settlement."""
    settlement, row = divided.settlement, divided.row
    first_money = {"first_money", "operator_minimum", "correction"}
    postings = collection_postings(
        venue_id=str(collection.venue_id),
        counted_minor=settlement.counted,
        returned_to_venue_minor=settlement.returned_to_venue,
        test_money_minor=sum(line.amount for line in settlement.lines if line.code == "test_money"),
        tax_minor=settlement.tax,
        first_money_minor=sum(line.amount for line in settlement.lines if line.code in first_money),
        venue_share_minor=settlement.venue_share,
        loan_repaid_minor=settlement.loan_repaid,
        to_venue_now_minor=settlement.to_venue_now,
        to_venue_balance_minor=settlement.to_venue_balance,
    )
    row.entry_id = _post(session, collection, "collection", postings, source_id=collection.id, now=now)
    session.add(row)
    session.flush()
    return row


def post_reversal(session: Session, collection: CollectionRow, entry_id: UUID | None, *, now: datetime) -> UUID | None:
    """Post the mirror image of a collection's entry, if it has one, and return the id of what was posted."""
    if entry_id is None:
        return None
    query = (
        select(PostingRow)
        .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
        .where(EntryRow.id == entry_id)
        .order_by(col(PostingRow.place))
    )
    postings = [
        Posting(row.account, None if row.venue_id is None else str(row.venue_id), row.amount_minor)
        for row in session.exec(query).all()
    ]
    return _post(session, collection, "reversal", mirror(postings), source_id=entry_id, now=now)


def waiting_claims(session: Session, venue_id: UUID, *, until_on: date | None = None) -> tuple[Claim, ...]:
    """Return what waits for a venue's next settlement, after those on trading dates up to ``until_on`` (D2)."""
    rows = _settlements_that_stand(session, venue_id)
    return _waiting([row for row in rows if until_on is None or row.trading_on <= until_on])


def box_of(collection: CollectionRow) -> Box:
    """Return what a collection brought, as a settlement takes it."""
    least, most = collection.settling_least_minor, collection.settling_most_minor
    return Box(
        counted=collection.counted_minor,
        expected=None if least is None or most is None else Expected(least, most),
        refunds_by_venue=collection.refunds_by_venue_minor,
        house_money=collection.house_money_minor,
        test_money=collection.test_money_minor,
    )


def _start(session: Session, collection: CollectionRow) -> Start:
    rows = _settlements_that_stand(session, collection.venue_id)
    reckoned = [_read_period(period) for row in rows for period in row.reckoned]
    periods = unreckoned(reckoned, until_on=collection.trading_on)
    replaced = _settlement_replaced(session, collection)
    if replaced is not None:
        return Start(_read_claims(replaced.carried_in), replaced.loan_before_minor, periods)
    loan = loan_balance(session, venue_id=collection.venue_id, currency=collection.currency)
    return Start(_waiting(rows), loan, periods)


def _settlement_replaced(session: Session, collection: CollectionRow) -> SettlementRow | None:
    """Return the settlement whose place a correction takes, if that place is still what it was.

    It is not, where something was settled since the reversal, or something settled before was taken back since.
    """
    found = session.exec(
        select(SettlementRow, ReversalRow)
        .join(ReversalRow, col(ReversalRow.collection_id) == col(SettlementRow.collection_id))
        .where(SettlementRow.collection_id == collection.corrects_id)
    ).first()
    if found is None:
        return None
    replaced, reversal = found
    settled_since = select(SettlementRow.id).where(
        SettlementRow.venue_id == collection.venue_id, col(SettlementRow.id) > reversal.id
    )
    taken_back_since = (
        select(ReversalRow.id)
        .join(SettlementRow, col(SettlementRow.collection_id) == col(ReversalRow.collection_id))
        .where(ReversalRow.venue_id == collection.venue_id, col(ReversalRow.id) > replaced.id)
        .where(col(SettlementRow.id) < replaced.id)
    )
    changed = any(session.exec(query.limit(1)).first() is not None for query in (settled_since, taken_back_since))
    return None if changed else replaced


def _settlements_that_stand(session: Session, venue_id: UUID) -> Sequence[SettlementRow]:
    query = select(SettlementRow).where(
        SettlementRow.venue_id == venue_id,
        col(SettlementRow.collection_id).not_in(select(ReversalRow.collection_id)),
    )
    return session.exec(query.order_by(col(SettlementRow.id))).all()


def _waiting(rows: Sequence[SettlementRow]) -> tuple[Claim, ...]:
    return waiting(
        change(carried_in=_read_claims(row.carried_in), carried_forward=_read_claims(row.carried_forward))
        for row in rows
    )


def _post(
    session: Session,
    collection: CollectionRow,
    kind: str,
    postings: Sequence[Posting],
    *,
    source_id: UUID,
    now: datetime,
) -> UUID | None:
    """Post an entry of a collection; of nothing at all no entry is made."""
    if not postings:
        return None
    bag = f", bag {collection.content['bag']}" if collection.content["bag"] else ""
    entry = post_entry(
        session,
        kind=kind,
        on=collection.trading_on,
        currency=collection.currency,
        postings=postings,
        reference=f"Collection of {collection.trading_on}{bag}",
        source_id=source_id,
        now=now,
    )
    return entry.id


def _row(
    collection: CollectionRow,
    settlement: Settlement,
    start: Start,
    *,
    area: TaxArea | None,
    tax: TaxRate | None,
    now: datetime,
) -> SettlementRow:
    tax_line = next((line for line in settlement.lines if line.code == "tax"), None)
    return SettlementRow(
        id=new_id(),
        collection_id=collection.id,
        venue_id=collection.venue_id,
        trading_on=settlement.trading_on,
        settled_at=now,
        agreement_id=UUID(settlement.agreement_id),
        agreement_version=settlement.agreement_version,
        gross_minor=settlement.gross,
        tax_area=area.code if area and tax else None,
        tax_rate=tax.words if tax else None,
        taxed_minor=tax_line.basis if tax_line else 0,
        tax_minor=settlement.tax,
        venue_share_minor=settlement.venue_share,
        operator_share_minor=settlement.operator_share,
        loan_before_minor=start.loan_minor,
        loan_repaid_minor=settlement.loan_repaid,
        to_venue_now_minor=settlement.to_venue_now,
        to_venue_balance_minor=settlement.to_venue_balance,
        to_bag_minor=settlement.to_bag,
        lines=[
            {
                "code": line.code,
                "what": line.what,
                "to": line.to,
                "basis_minor": line.basis,
                "amount_minor": line.amount,
            }
            for line in settlement.lines
        ],
        carried_in=_write_claims(start.carried_in),
        carried_forward=_write_claims(settlement.carried_forward),
        reckoned=[
            {"after_on": period.after_on and period.after_on.isoformat(), "until_on": period.until_on.isoformat()}
            for period in start.periods
        ],
        advice=[{"code": item.code, "detail": item.detail} for item in settlement.advice],
    )


def _write_claims(claims: Sequence[Claim]) -> list[dict[str, Any]]:
    return [
        {"code": claim.code, "name": claim.name, "due_on": claim.due_on.isoformat(), "amount_minor": claim.amount}
        for claim in claims
    ]


def _read_claims(stored: Sequence[dict[str, Any]]) -> tuple[Claim, ...]:
    return tuple(
        Claim(claim["code"], claim["amount_minor"], date.fromisoformat(claim["due_on"]), claim["name"])
        for claim in stored
    )


def _read_period(stored: dict[str, Any]) -> Period:
    after_on = stored["after_on"]
    return Period(after_on and date.fromisoformat(after_on), date.fromisoformat(stored["until_on"]))
