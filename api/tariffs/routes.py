"""HTTP for tariffs."""

from fastapi import APIRouter, Response

from ..web.auth import CollectorDep, OwnerDep, StaffOrReaderDep
from ..web.dependencies import NowDep, SessionDep, stores_nothing
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import Id
from . import service
from .schemas import CountingCheckIn, CountingCheckOut, TariffCheckOut, TariffIn, TariffOut, TariffPage

router = APIRouter(prefix="/v1", tags=["tariffs"], route_class=Route)


@router.post("/tariffs", status_code=201, responses=problems(409))
def publish_tariff(
    session: SessionDep, principal: OwnerDep, now: NowDep, tariff: TariffIn, response: Response
) -> TariffOut:
    """Publish a tariff, or the next version of one. Nothing is sold by it until a schedule names it."""
    row = service.publish_tariff(session, tariff, now=now)
    response.headers["Location"] = f"/v1/tariffs/{row.id}"
    return service.tariff_out(row)


@router.post("/tariffs/check", responses=problems())
@stores_nothing
def check_tariff(session: SessionDep, principal: OwnerDep, tariff: TariffIn) -> TariffCheckOut:
    """Judge a tariff as if it were published; nothing is stored."""
    return service.check_tariff(tariff)


@router.post("/tariffs/counting-check", responses=problems())
@stores_nothing
def check_counting(session: SessionDep, principal: CollectorDep, observed: CountingCheckIn) -> CountingCheckOut:
    """Find out with a few coins how a controller counts.

    From the sums put in and the games or minutes shown: the settings and ways of counting that fit, the observation that
    rules out each of the others, and the cheapest next sum that tells the remaining ones apart. Nothing is stored.
    """
    return service.check_counting_of(observed)


@router.get("/tariffs", responses=problems())
def list_tariffs(asked: PageDep, session: SessionDep, principal: StaffOrReaderDep) -> TariffPage:
    """List the published tariffs in the order of their publication."""
    found = service.page_tariffs(session, limit=asked.limit, after=asked.after)
    return asked.write(TariffPage, found, lambda rows: [service.tariff_out(row) for row in rows])


@router.get("/tariffs/{tariff_id}", responses=problems())
def get_tariff(session: SessionDep, principal: StaffOrReaderDep, tariff_id: Id) -> TariffOut:
    """Return a published tariff."""
    return service.tariff_out(service.get_tariff(session, tariff_id))
