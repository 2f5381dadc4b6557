"""Agreements in the database: published versions of a venue's terms, never changed (D3)."""

from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, func, select

from api.cash.agreement import Agreement, FirstMoney
from api.cash.agreement_body import read_agreement
from api.cash.messages import (
    AgreementIn,
    AgreementOut,
    AgreementStepOut,
    AmountTierOut,
    AmountTiersOut,
    CapOut,
    FirstMoneyOut,
    OperatorMinimumOut,
)
from api.cash.models import AgreementRow
from api.cash.percents import in_words
from api.cash.taxes import NOT_ADVICE
from api.clock import new_id
from api.db import hold
from api.paging import Page, page
from api.pricing import format_money
from api.venues.models import VenueRow
from api.venues.service import get_venue


def publish_agreement(session: Session, venue_id: UUID, message: AgreementIn, *, now: datetime) -> AgreementRow:
    """Store the next version of a venue's agreement; settlements made before stand."""
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


def versions_of(session: Session, venue: VenueRow) -> list[Agreement]:
    """Return all versions of a venue's agreement as values."""
    query = select(AgreementRow).where(AgreementRow.venue_id == venue.id, AgreementRow.currency == venue.currency)
    return [_compile(row) for row in session.exec(query.order_by(col(AgreementRow.version))).all()]


def agreement_out(row: AgreementRow) -> AgreementOut:
    """Write a version of an agreement as its message."""
    agreement, currency = _compile(row), row.currency
    tiers, minimum, cap = agreement.amount_tiers, agreement.operator_minimum, agreement.cap
    return AgreementOut(
        id=row.id,
        venue_id=row.venue_id,
        version=row.version,
        published_at=row.published_at,
        currency=currency,
        effective_on=agreement.effective_on,
        venue_percent=None if agreement.venue_percent is None else in_words(agreement.venue_percent),
        steps=[
            AgreementStepOut(from_week=s.from_week, venue_percent=in_words(s.venue_percent)) for s in agreement.steps
        ],
        amount_tiers=tiers
        and AmountTiersOut(
            mode=tiers.mode,
            tiers=[
                AmountTierOut(from_=format_money(t.from_minor, currency), venue_percent=in_words(t.venue_percent))
                for t in tiers.tiers
            ],
        ),
        first_money=[_first_money_out(item, currency) for item in agreement.first_money],
        operator_minimum=minimum
        and OperatorMinimumOut(amount=format_money(minimum.amount, currency), kind=minimum.kind),
        settles_on=agreement.settles_on,
        pays=agreement.pays,
        odd_unit_to=agreement.odd_unit_to,
        loan_repay_percent=in_words(agreement.loan_repay_percent),
        cap=cap and CapOut(name=cap.name, venue_percent_max=in_words(cap.venue_percent_max), after=cap.after),
        notice=NOT_ADVICE,
    )


def _first_money_out(item: FirstMoney, currency: str) -> FirstMoneyOut:
    return FirstMoneyOut(
        name=item.name,
        amount=format_money(item.amount, currency),
        per=item.per,
        starts_on=item.starts_on,
        spread=item.spread,
    )


def _compile(row: AgreementRow) -> Agreement:
    return read_agreement(row.terms, currency=row.currency, id=str(row.id), version=row.version)
