"""HTTP for agreements."""

from fastapi import APIRouter, Request, Response

from ..store.db import mark_preview
from ..web.auth import AccountantDep, OwnerDep
from ..web.dependencies import NowDep, PreviewParam, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import After, Limit, link_next
from ..web.pagination import write_page
from ..web.schema_types import Id
from . import convert, service
from .schemas import AgreementIn, AgreementOut, AgreementPage

router = APIRouter(prefix="/v1", tags=["cash"], route_class=Route)


@router.post("/venues/{venue_id}/agreements", status_code=201, responses=problems(409))
def publish_agreement(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    venue_id: Id,
    agreement: AgreementIn,
    response: Response,
    preview: PreviewParam = False,
) -> AgreementOut:
    """Publish the next version of a venue's agreement, in force from its trading date. Earlier settlements do not change."""
    if preview:
        mark_preview(session)
        response.status_code = 200
    row = service.publish_agreement(session, venue_id, agreement, now=now)
    return convert.agreement_out(row)


@router.get("/venues/{venue_id}/agreements", responses=problems())
def list_agreements(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: AccountantDep,
    venue_id: Id,
    limit: Limit = 100,
    after: After = None,
) -> AgreementPage:
    """List the versions of a venue's agreement in the order of their publication."""
    found = service.page_agreements(session, venue_id, limit=limit, after=after)
    page = write_page(found, lambda rows: [convert.agreement_out(row) for row in rows])
    link_next(request, response, page.next)
    return AgreementPage(items=list(page.rows), next=page.next)
