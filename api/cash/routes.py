"""HTTP for agreements, collections, their disputes, and the reports on them."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.access.asking import Asker, OwnerDep, allow
from api.cash import agreements_service, collections_service, disputes_service, reports_service
from api.cash.messages import (
    AgreementIn,
    AgreementOut,
    CollectionIn,
    CollectionOut,
    DifferencesOut,
    DisputeAnswerIn,
    DisputeIn,
    DisputeOut,
    ReversalIn,
    TaxReportOut,
)
from api.cash.standing_service import collections_out
from api.clock import NowDep
from api.db import SessionDep, discard, stores_nothing
from api.errors import Problem, refused
from api.openapi import problems
from api.paging import After, Limit, ListOut, link_next
from api.routing import Route
from api.wire import TEXT_PATTERN, Date, Id
from api.worklist.service import assess_collection

router = APIRouter(prefix="/v1", tags=["cash"], route_class=Route)

CollectorDep = Annotated[Asker, allow("collector")]
ReaderDep = Annotated[Asker, allow("collector", "accountant")]
AccountantDep = Annotated[Asker, allow("accountant")]
ValidateOnly = Annotated[bool, Query(description="Check and answer as if it were stored, but store nothing.")]
CollectorName = Annotated[
    str | None,
    Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Who collected; only an owner may ask."),
]


@router.post("/venues/{venue_id}/agreements", status_code=201, responses=problems(409))
def publish_agreement(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    venue_id: Id,
    agreement: AgreementIn,
    response: Response,
    validate_only: ValidateOnly = False,
) -> AgreementOut:
    """Publish the next version of a venue's agreement; it holds from its trading date. Settlements made before stand."""
    if validate_only:
        discard(session)
        response.status_code = 200
    row = agreements_service.publish_agreement(session, venue_id, agreement, now=now)
    return agreements_service.agreement_out(row)


@router.get("/venues/{venue_id}/agreements", responses=problems())
def list_agreements(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: AccountantDep,
    venue_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> ListOut[AgreementOut]:
    """List the versions of a venue's agreement in the order of their publication."""
    found = agreements_service.page_agreements(session, venue_id, limit=limit, after=after)
    link_next(request, response, found.next)
    return ListOut(items=[agreements_service.agreement_out(row) for row in found.rows], next=found.next)


@router.post("/collections/preview", responses=problems(409), openapi_extra={"x-stores": False})
@stores_nothing
def preview_collection(
    session: SessionDep, asker: CollectorDep, now: NowDep, collection: CollectionIn
) -> CollectionOut:
    """Answer what recording this collection would: expected cash, differences, settlement, advice. Nothing is stored."""
    return collections_service.preview_collection(session, collection, now=now, by=asker.name)


@router.post("/collections", status_code=201, responses=problems(409))
def record_collection(session: SessionDep, asker: CollectorDep, now: NowDep, collection: CollectionIn) -> CollectionOut:
    """Record a collection, settle it where an agreement is in force, and post its entry.

    Safe to send again: the same id and content is answered as before, other content is refused (409).
    """
    answer = collections_service.record_collection(session, collection, now=now, by=asker.name)
    assess_collection(session, collection.id, now=now)
    return answer


@router.get("/collections", responses=problems())
def list_collections(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: ReaderDep,
    venue_id: Annotated[Id | None, Query(description="Only collections of this venue.")] = None,
    table_id: Annotated[Id | None, Query(description="Only collections with this table.")] = None,
    limit: Limit = 100,
    after: After = None,
) -> ListOut[CollectionOut]:
    """List collections in the order in which they were recorded."""
    found = collections_service.page_collections(
        session, venue_id=venue_id, table_id=table_id, limit=limit, after=after
    )
    link_next(request, response, found.next)
    return ListOut(items=collections_out(session, found.rows), next=found.next)


@router.get("/collections/{collection_id}", responses=problems())
def get_collection(session: SessionDep, asker: ReaderDep, collection_id: Id) -> CollectionOut:
    """Return a collection as it stands."""
    return collections_out(session, [collections_service.get_collection(session, collection_id)])[0]


@router.post("/collections/{collection_id}/reversal", status_code=201, responses=problems(409))
def reverse_collection(
    session: SessionDep, asker: CollectorDep, now: NowDep, collection_id: Id, reversal: ReversalIn
) -> CollectionOut:
    """Take a collection back, with a reason. To correct it, record a new one of the same venue, tables and time."""
    answer = collections_service.reverse_collection(
        session, collection_id, reason=reversal.reason, now=now, by=asker.name
    )
    assess_collection(session, collection_id, now=now)
    return answer


@router.post("/collections/{collection_id}/settle", responses=problems(409))
def settle_collection(session: SessionDep, asker: CollectorDep, now: NowDep, collection_id: Id) -> CollectionOut:
    """Settle a collection that was recorded without an agreement, by the one that now holds on its trading date."""
    return collections_service.settle_collection(session, collection_id, now=now)


@router.post("/collections/{collection_id}/disputes", status_code=201, responses=problems(409))
def raise_dispute(
    session: SessionDep, asker: CollectorDep, now: NowDep, collection_id: Id, dispute: DisputeIn
) -> DisputeOut:
    """Record who disputes a collection, what they claim, and why. It stays open until it is answered."""
    answer = disputes_service.raise_dispute(session, collection_id, dispute, now=now)
    assess_collection(session, collection_id, now=now)
    return answer


@router.post("/collections/{collection_id}/disputes/{dispute_id}/answer", status_code=201, responses=problems(409))
def answer_dispute(
    session: SessionDep, asker: OwnerDep, now: NowDep, collection_id: Id, dispute_id: Id, answer: DisputeAnswerIn
) -> DisputeOut:
    """Answer a dispute, which closes it."""
    row = disputes_service.answer_dispute(session, collection_id, dispute_id, answer, now=now)
    assess_collection(session, collection_id, now=now)
    return row


@router.get("/reports/differences", responses=problems())
def get_differences(
    session: SessionDep,
    asker: AccountantDep,
    table_id: Annotated[Id | None, Query(description="The table whose differences are charted.")] = None,
    collector: CollectorName = None,
) -> DifferencesOut:
    """Chart counted less expected over time, by money meters only. A reason to look, never an accusation."""
    if (table_id is None) == (collector is None):
        found = "neither" if table_id is None else "both"
        raise refused("invalid", where="table_id", found=found, expected="one of table_id and collector")
    if collector is not None:
        if asker.role != "owner":
            raise Problem("forbidden", "Only an owner sees the charts of collectors.")
        return reports_service.differences_of_collector(session, collector)
    assert table_id is not None
    return reports_service.differences_of_table(session, table_id)


@router.get("/reports/tax", responses=problems())
def get_tax_report(
    session: SessionDep,
    asker: AccountantDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The last trading date.")],
) -> TaxReportOut:
    """Add up the tax taken out of collections by area, rate and month. Figures, no tax advice."""
    return reports_service.tax_report(session, from_on=from_, to_on=to)
