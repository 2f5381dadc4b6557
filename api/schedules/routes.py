"""HTTP for the schedules that were published; publishing is in ``publications``."""

from fastapi import APIRouter

from ..web.auth import StaffOrReaderDep
from ..web.dependencies import SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import PageDep
from ..web.schema_types import Id
from . import queries
from .convert import schedule_out
from .schemas import SchedulePage

router = APIRouter(prefix="/v1", tags=["schedules"], route_class=Route)


@router.get("/venues/{venue_id}/schedules", responses=problems())
def list_schedules(asked: PageDep, session: SessionDep, principal: StaffOrReaderDep, venue_id: Id) -> SchedulePage:
    """List the schedules of a venue and of its tables in the order of their publication."""
    found = queries.page_schedules(session, venue_id, limit=asked.limit, after=asked.after)
    return asked.write(SchedulePage, found, lambda rows: [schedule_out(row) for row in rows])
