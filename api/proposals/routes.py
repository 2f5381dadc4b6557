"""HTTP for prices that suit stated aims."""

from fastapi import APIRouter

from ..web.auth import OwnerDep
from ..web.dependencies import SessionDep, stores_nothing
from ..web.openapi import problems
from ..web.operation import Route
from . import service
from .schemas import ProposalsIn, ProposalsOut

router = APIRouter(prefix="/v1", tags=["tariffs"], route_class=Route)


@router.post("/tariffs/proposals", responses=problems())
@stores_nothing
def propose_prices(session: SessionDep, principal: OwnerDep, aims: ProposalsIn) -> ProposalsOut:
    """Prices that suit stated aims, from all that a controller can hold.

    An exhaustive search over the controller's steps; up to four ladders, each the best of all by one measure, explained
    line by line, with what it gives up. No amount ever buys less than a smaller one. Nothing is stored or published.
    """
    return service.propose_prices(session, aims)
