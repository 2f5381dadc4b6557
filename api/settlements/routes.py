"""HTTP for agreements."""

from fastapi import APIRouter

from ..web.auth import AccountantDep, OwnerDep
from ..web.dependencies import NowDep, PreviewDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
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
    preview: PreviewDep,
) -> AgreementOut:
    """Publish the next version of a venue's agreement, in force from its trading date. Earlier settlements do not change."""
    row = service.publish_agreement(session, venue_id, agreement, now=now)
    return convert.agreement_out(row)


@router.get("/venues/{venue_id}/agreements", responses=problems())
def list_agreements(asked: PageDep, session: SessionDep, principal: AccountantDep, venue_id: Id) -> AgreementPage:
    """List the versions of a venue's agreement in the order of their publication."""
    found = service.page_agreements(session, venue_id, limit=asked.limit, after=asked.after)
    return asked.write(AgreementPage, found, lambda rows: [convert.agreement_out(row) for row in rows])
