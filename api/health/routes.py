"""HTTP for tables' health, and for the levels and tolerances by which they are judged."""

from typing import Annotated

from fastapi import APIRouter, Header, Response

from ..pool_tables.service import get_table
from ..store.changes import note_all
from ..web.auth import CollectorDep, CollectorOrVenueDep, OwnerDep
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Id
from . import queries, service
from .convert import health_out, levels_out
from .schemas import SettingsIn, SettingsOut, TableHealthOut

router = APIRouter(prefix="/v1", tags=["health"], route_class=Route)

IfMatchOrAny = Annotated[
    str | None,
    Header(
        description="The ETag of the last GET: the settings are replaced only if they are still the same. Without it they are replaced in any case.",
        max_length=200,
        pattern=r"^[!-~ ]*$",
    ),
]


@router.get("/tables/{table_id}/health", responses=problems())
def get_table_health(session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, table_id: Id) -> TableHealthOut:
    """Judge a table by its readings: battery, clock, meters, and the settings found in its controller.

    A venue sees readings taken since the table came there. The answer carries the cautions for work at a battery or at
    the mains; local rules and a qualified person decide.
    """
    principal.must_see_venue(get_table(session, table_id).venue_id, what="table")
    health = service.health_of(session, table_id, now=now, here_only=principal.role == "venue")
    return health_out(table_id, health)


@router.get("/settings", responses=problems())
def get_settings(session: SessionDep, principal: CollectorDep, response: Response) -> SettingsOut:
    """Return the battery levels and the clock tolerance by which tables are judged."""
    response.headers["ETag"] = queries.settings_etag(session)
    return levels_out(queries.levels_in_force(session))


@router.put("/settings", responses=problems(412))
def put_settings(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    settings: SettingsIn,
    response: Response,
    if_match: IfMatchOrAny = None,
) -> SettingsOut:
    """Replace the battery levels and the clock tolerance as a whole: absent fields go back to their defaults."""
    levels = service.put_settings(session, settings, if_match=if_match, now=now)
    note_all(session)
    response.headers["ETag"] = queries.settings_etag(session)
    return levels_out(levels)
