"""Agreements: published versions, never changed (D3)."""

from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, func, select

from ..store.clock import new_id
from ..store.db import hold
from ..venues.rows import VenueRow
from ..venues.service import get_venue
from ..web.pagination import Page, page
from .agreement import Agreement
from .convert import compile_agreement, read_agreement
from .rows import AgreementRow
from .schemas import AgreementIn


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
    return [compile_agreement(row) for row in session.exec(query.order_by(col(AgreementRow.version))).all()]
