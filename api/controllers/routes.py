"""HTTP for the settings sheet."""

from typing import Annotated

from fastapi import APIRouter, Query

from ..pool_tables.convert import cautions_at_controller
from ..pool_tables.service import get_table
from ..web.auth import CollectorDep, StaffDep
from ..web.batch import BatchResultsOut
from ..web.dependencies import NowDep, SessionDep
from ..web.feed import page_changes
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import FeedDep, PageDep
from ..web.schema_types import Date, Id, VoidIn
from . import queries, service
from .convert import keying_out
from .schemas import KeyingChangePage, KeyingIn, KeyingOut, KeyingPage, KeyingsIn, SheetOut

router = APIRouter(prefix="/v1", tags=["sheets"], route_class=Route)


@router.post("/tables/{table_id}/keyings", status_code=201, responses=problems(409))
def record_keying(
    session: SessionDep, principal: CollectorDep, now: NowDep, table_id: Id, keying: KeyingIn
) -> KeyingOut:
    """Record that a schedule was keyed into a table: the table sells by it from then on.

    With an id that you make it is safe to send again: the same keying is answered as before, another one with its id is
    refused.
    """
    row, _ = service.record_keying(session, table_id, keying, now=now)
    return keying_out(row, queries.voids_of(session, [row]).get(row.id))


@router.post("/keyings/batch", responses=problems())
def record_keyings(session: SessionDep, principal: CollectorDep, now: NowDep, batch: KeyingsIn) -> BatchResultsOut:
    """Record a batch of keyings, each judged on its own: one outcome an item, in order.

    Sent again, they are duplicates and change nothing.
    """
    return service.record_keyings(session, batch.keyings, now=now)


@router.post("/keyings/{keying_id}/void", status_code=201, responses=problems(409))
def void_keying(session: SessionDep, principal: CollectorDep, now: NowDep, keying_id: Id, void: VoidIn) -> KeyingOut:
    """Void a wrong keying: it stays on record and no longer counts."""
    row, note = service.void_keying(session, keying_id, reason=void.reason, by=principal.name, now=now)
    return keying_out(row, note)


@router.get("/tables/{table_id}/keyings", responses=problems())
def list_keyings(asked: PageDep, session: SessionDep, principal: StaffDep, table_id: Id) -> KeyingPage:
    """List what was keyed into a table, by whom and when."""
    found = queries.page_keyings(session, table_id, limit=asked.limit, after=asked.after)
    voids = queries.voids_of(session, found.rows)
    return asked.write(KeyingPage, found, lambda rows: [keying_out(row, voids.get(row.id)) for row in rows])


@router.get("/keyings/changes", responses=problems())
def list_keying_changes(asked: FeedDep, session: SessionDep, principal: StaffDep) -> KeyingChangePage:
    """List the keyings at all tables that were recorded or voided since, each once, as it is now.

    Ask again after the number of the last one that you have: none is skipped, also while others write.
    """
    found = page_changes(session, "keyings", limit=asked.limit, after=asked.after)
    return asked.write(KeyingChangePage, found, lambda rows: queries.changes_out(session, rows))


@router.get("/tables/{table_id}/settings-sheet", responses=problems(409))
def get_settings_sheet(
    session: SessionDep,
    principal: CollectorDep,
    now: NowDep,
    table_id: Id,
    on: Annotated[Date | None, Query(description="A trading date, such as that of a coming price change.")] = None,
) -> SheetOut:
    """Say what a table's controller must hold, day by day, and the shortest way to key it; first what it cannot hold.

    It is for the schedule listed on the date; without one for the schedule in force, or for the first to come. Dates and
    recurring events are on it for four weeks from then. A controller of which nothing is stated is taken to have no
    limits, but to know weekdays and no dates.
    """
    cautions = cautions_at_controller(get_table(session, table_id))
    return service.settings_sheet(session, table_id, on=on, now=now, cautions=cautions)
