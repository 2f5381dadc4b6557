"""HTTP for readings."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from ..pool_tables.service import get_table, stay_at, stays_of
from ..store.changes import note_tables
from ..web.auth import CollectorDep, Principal, allow
from ..web.dependencies import NowDep, SessionDep
from ..web.errors import not_found
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import After, Limit, link_next
from ..web.pagination import write_page
from ..web.schema_types import Id, VoidIn
from . import queries, service
from .admission import Sender
from .convert import reading_out
from .schemas import ReadingOut, ReadingPage, ReadingResultsOut, ReadingsIn

router = APIRouter(prefix="/v1", tags=["readings"], route_class=Route)

SenderDep = Annotated[Principal, allow("collector", "venue", "device")]


@router.post("/readings", responses=problems())
def record_readings(session: SessionDep, principal: SenderDep, now: NowDep, batch: ReadingsIn) -> ReadingResultsOut:
    """Record a batch of readings, each judged on its own: one outcome an item, in order.

    Sent again, they are duplicates and change nothing. A venue sends what can be read without a key: supply, clock,
    meters, version and note. Bodies may be compressed (`Content-Encoding: gzip`).
    """
    sender = Sender(principal.name, principal.venue_id, principal.table_id, has_key=principal.role != "venue")
    recorded = service.record_readings(session, batch.readings, sender=sender, now=now)
    note_tables(session, recorded.table_ids)
    return service.results_out(recorded)


@router.get("/readings", responses=problems())
def list_readings(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: SenderDep,
    table_id: Annotated[Id | None, Query(description="The readings of one table.")] = None,
    limit: Limit = 100,
    after: After = None,
) -> ReadingPage:
    """List readings in the order of their arrival; asking again after the last one seen never skips any.

    A venue and a device see the notes that they wrote themselves; the operator's people see all.
    """
    if table_id is not None and principal.table_id not in (None, table_id):
        raise not_found("table")
    if table_id is not None and principal.venue_id not in (None, get_table(session, table_id).venue_id):
        raise not_found("table")
    found = queries.page_readings(
        session, table_id=table_id or principal.table_id, venue_id=principal.venue_id, limit=limit, after=after
    )
    operators = principal.venue_id is None and principal.table_id is None
    page = write_page(
        found,
        lambda rows: [
            reading_out(row, void, venue_id, since_ever=since_ever, with_note=operators or row.sender == principal.name)
            for row, void, venue_id, since_ever in rows
        ],
    )
    link_next(request, response, page.next)
    return ReadingPage(items=list(page.rows), next=page.next)


@router.get("/readings/{reading_id}", responses=problems())
def get_reading(session: SessionDep, principal: SenderDep, reading_id: Id) -> ReadingOut:
    """Return a reading, with what voids it if it is void.

    A venue and a device see the notes that they wrote themselves; the operator's people see all.
    """
    row, void, venue_id, since_ever = queries.get_reading(
        session, reading_id, venue_id=principal.venue_id, table_id=principal.table_id
    )
    operators = principal.venue_id is None and principal.table_id is None
    return reading_out(row, void, venue_id, since_ever=since_ever, with_note=operators or row.sender == principal.name)


@router.post("/readings/{reading_id}/void", status_code=201, responses=problems(409))
def void_reading(
    session: SessionDep, principal: CollectorDep, now: NowDep, reading_id: Id, message: VoidIn
) -> ReadingOut:
    """Void a wrong reading: it stays on record and no longer counts."""
    row, note = service.void_reading(session, reading_id, reason=message.reason, by=principal.name, now=now)
    note_tables(session, [row.pool_table_id])
    venue_id = stay_at(stays_of(session, row.pool_table_id), row.taken_at).venue_id
    return reading_out(row, note, venue_id, since_ever=queries.has_no_time(session, row.pool_table_id))
