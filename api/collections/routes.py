"""HTTP for collections and their disputes."""

from typing import Annotated
from uuid import UUID

from fastapi import APIRouter, Query
from sqlmodel import Session

from ..web.auth import CollectorDep, CollectorOrVenueDep, OwnerDep, Principal, StaffDep, StaffOrVenueDep
from ..web.batch import BatchResultsOut
from ..web.dependencies import NowDep, SessionDep, stores_nothing
from ..web.feed import page_changes
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import FeedDep, PageDep
from ..web.schema_types import Id
from . import queries, service
from .rows import CollectionRow
from .schemas import (
    CollectionChangePage,
    CollectionIn,
    CollectionOut,
    CollectionPage,
    CollectionsIn,
    DisputeAnswerIn,
    DisputeIn,
    DisputeOut,
    ReversalIn,
)

router = APIRouter(prefix="/v1", tags=["cash"], route_class=Route)


@router.post("/collections/preview", responses=problems(409))
@stores_nothing
def preview_collection(
    session: SessionDep, principal: CollectorDep, now: NowDep, collection: CollectionIn
) -> CollectionOut:
    """Return what recording a collection would answer: expected cash, differences, settlement, advice."""
    return service.preview_collection(session, collection, now=now, by=principal.name, person=principal.person)


@router.post("/collections", status_code=201, responses=problems(409))
def record_collection(
    session: SessionDep, principal: CollectorDep, now: NowDep, collection: CollectionIn
) -> CollectionOut:
    """Record a collection, settle it where an agreement is in force, and post its entry.

    Safe to send again: the same id and content is answered as before, other content is refused (409). ``word`` says
    what is odd about the count, and what to do about it.
    """
    row, answer = service.record_collection(session, collection, now=now, by=principal.name, person=principal.person)
    return answer or queries.read_collections(session, [row])[0]


@router.post("/collections/batch", responses=problems())
def record_collections(
    session: SessionDep, principal: CollectorDep, now: NowDep, batch: CollectionsIn
) -> BatchResultsOut:
    """Record a batch of collections, each judged on its own: one outcome an item, in order.

    The earliest is recorded first. Sent again, they are duplicates and change nothing.
    """
    return service.record_collections(session, batch.collections, now=now, by=principal.name, person=principal.person)


@router.get("/collections", responses=problems())
def list_collections(
    asked: PageDep,
    session: SessionDep,
    principal: StaffOrVenueDep,
    venue_id: Annotated[Id | None, Query(description="Only collections of this venue.")] = None,
    table_id: Annotated[Id | None, Query(description="Only collections with this table.")] = None,
) -> CollectionPage:
    """List collections in the order in which they were recorded; a venue and a collector see their own."""
    venue_id = venue_id or principal.venue_id
    if venue_id is not None:
        principal.must_see_venue(venue_id)
    found = queries.page_collections(
        session,
        venue_id=venue_id,
        table_id=table_id,
        limit=asked.limit,
        after=asked.after,
        collector=principal.only_cash_of,
    )
    return asked.write(CollectionPage, found, lambda rows: queries.read_collections(session, rows))


@router.get("/collections/changes", responses=problems())
def list_collection_changes(asked: FeedDep, session: SessionDep, principal: StaffDep) -> CollectionChangePage:
    """List the collections that were recorded, settled, reversed or disputed since, each once, as it is now.

    Ask again after the number of the last one that you have: none is skipped, also while others write. A judgement that
    changed by a later record alone is no change here. A collector has their own collections alone: a page may then have
    fewer than `limit`, and none at all.
    """
    found = page_changes(session, "collections", limit=asked.limit, after=asked.after)
    return asked.write(
        CollectionChangePage, found, lambda rows: queries.changes_out(session, rows, collector=principal.only_cash_of)
    )


@router.get("/collections/{collection_id}", responses=problems())
def get_collection(session: SessionDep, principal: StaffOrVenueDep, collection_id: Id) -> CollectionOut:
    """A collection, judged by all that is on record now."""
    row = _seen(session, principal, collection_id)
    return queries.read_collections(session, [row])[0]


@router.post("/collections/{collection_id}/reversal", status_code=201, responses=problems(409))
def reverse_collection(
    session: SessionDep, principal: CollectorDep, now: NowDep, collection_id: Id, reversal: ReversalIn
) -> CollectionOut:
    """Take a collection back, with a reason. To correct it, record a new one of the same venue, tables and time."""
    _seen(session, principal, collection_id)
    return service.reverse_collection(session, collection_id, reason=reversal.reason, now=now, by=principal.name)


@router.post("/collections/{collection_id}/settle", responses=problems(409))
def settle_collection(session: SessionDep, principal: CollectorDep, now: NowDep, collection_id: Id) -> CollectionOut:
    """Settle a collection that was recorded without an agreement, by the one now in force on its trading date."""
    _seen(session, principal, collection_id)
    return service.settle_collection(session, collection_id, now=now)


@router.post("/collections/{collection_id}/disputes", status_code=201, responses=problems(409))
def raise_dispute(
    session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, collection_id: Id, dispute: DisputeIn
) -> DisputeOut:
    """Record who disputes a collection, what they claim, and why. It stays open until it is answered."""
    _seen(session, principal, collection_id)
    return service.raise_dispute(session, collection_id, dispute, now=now)


@router.post("/collections/{collection_id}/disputes/{dispute_id}/answer", status_code=201, responses=problems(409))
def answer_dispute(
    session: SessionDep, principal: OwnerDep, now: NowDep, collection_id: Id, dispute_id: Id, answer: DisputeAnswerIn
) -> DisputeOut:
    """Answer a dispute, which closes it."""
    return service.answer_dispute(session, collection_id, dispute_id, answer, now=now)


def _seen(session: Session, principal: Principal, collection_id: UUID) -> CollectionRow:
    """Return a collection that this principal may see: a venue its own, a collector their own."""
    row = queries.get_collection(session, collection_id)
    principal.must_see_venue(row.venue_id, what="collection")
    principal.must_see_cash_of(row.collector)
    return row
