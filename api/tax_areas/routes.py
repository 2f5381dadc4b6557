"""HTTP for tax areas."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from ..web.auth import OwnerDep, StaffDep
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import Limit, link_next
from ..web.pagination import write_page
from . import service
from .convert import tax_area_out
from .schemas import TaxAreaCode, TaxAreaIn, TaxAreaOut, TaxAreaPage

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)


@router.post("/tax-areas", status_code=201, responses=problems(409))
def put_tax_area(session: SessionDep, principal: OwnerDep, now: NowDep, area: TaxAreaIn) -> TaxAreaOut:
    """Make a tax area, or add dated rates to one. Whether a rate applies is for you and your adviser to say."""
    return tax_area_out(service.put_tax_area(session, area, now=now))


@router.get("/tax-areas", responses=problems())
def list_tax_areas(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: StaffDep,
    limit: Limit = 100,
    after: Annotated[TaxAreaCode | None, Query(description="The `next` of the page before.")] = None,
) -> TaxAreaPage:
    """List the tax areas by code, with their rates by date."""
    found = service.page_tax_areas(session, limit=limit, after=after)
    page = write_page(found, lambda rows: [tax_area_out(row) for row in rows])
    link_next(request, response, page.next)
    return TaxAreaPage(items=list(page.rows), next=page.next)
