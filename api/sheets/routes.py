"""HTTP for the settings sheet."""

from typing import Annotated

from fastapi import APIRouter, Query

from api.access.asking import Asker, allow
from api.clock import NowDep
from api.db import SessionDep
from api.health.cautions import AT_THE_MAINS
from api.openapi import problems
from api.routing import Route
from api.sheets import service
from api.sheets.models import CautionOut, SheetOut
from api.venues.service import get_table
from api.wire import Date, Id

router = APIRouter(prefix="/v1", tags=["sheets"], route_class=Route)

CollectorDep = Annotated[Asker, allow("collector")]


@router.get("/tables/{table_id}/settings-sheet", responses=problems(409))
def get_settings_sheet(
    session: SessionDep,
    asker: CollectorDep,
    now: NowDep,
    table_id: Id,
    on: Annotated[Date | None, Query(description="A trading date, such as that of a coming price change.")] = None,
) -> SheetOut:
    """Say what a table's controller must hold, day by day, and the shortest way to key it; first what it cannot hold.

    It is for the schedule listed on the date; without one for the schedule in force, or for the first to come. Dates and
    recurring events are on it for four weeks from then. A controller of which nothing is stated is taken to have no
    limits, but to know weekdays and no dates.
    """
    power = get_table(session, table_id).profile.get("power") or {}
    cautions = () if power.get("kind") == "battery" else AT_THE_MAINS
    told = [CautionOut(code=caution.code, detail=caution.detail) for caution in cautions]
    return service.settings_sheet(session, table_id, on=on, now=now, cautions=told)
