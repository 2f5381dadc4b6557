"""HTTP for the worklist."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from ..store.changes import note_tables
from ..web.auth import OwnerDep, Principal, allow
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.pagination import Limit, link_next
from ..web.schema_types import Id
from . import service
from .queries import Wanted
from .schemas import CompletionIn, CompletionOut, CursorText, Moment, WorklistOut, read_cursor

router = APIRouter(prefix="/v1", tags=["worklist"], route_class=Route)
ReaderDep = Annotated[Principal, allow("collector", "reader")]


@router.get("/worklist", responses=problems())
def get_worklist(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: ReaderDep,
    now: NowDep,
    venue_id: Annotated[Id | None, Query(description="Only work at this venue.")] = None,
    due_before: Annotated[
        Moment | None, Query(description="Only what is due before an instant, or before a date begins in UTC.")
    ] = None,
    limit: Limit = 100,
    after: Annotated[CursorText | None, Query(description="The `next` of the page before.")] = None,
) -> WorklistOut:
    """List the work at all venues, earliest due first: reason, what to bring, and the date by which it matters.

    A reader sees no work that tells of money in a box.
    """
    service.catch_up(request.app.state.engine, now=now)
    wanted = Wanted(
        venue_id=venue_id,
        due_before=due_before,
        after=read_cursor(after) if after else None,
        limit=limit,
        without_money=principal.role == "reader",
    )
    found = service.page_work(session, wanted, now=now)
    link_next(request, response, found.next)
    return found


@router.post("/worklist/{work_id}/completion", status_code=201, responses=problems(409))
def complete_work(
    session: SessionDep, principal: OwnerDep, now: NowDep, work_id: Id, completion: CompletionIn
) -> CompletionOut:
    """Say what a difference or a signal was: found, miscounted, or known and accepted. It leaves the list.

    A record closes all other work: a reading, a keying, a collection, an answer to a dispute.
    """
    answer = service.complete_work(session, work_id, completion, now=now, by=principal.name)
    note_tables(session, [answer.table_id])
    return answer
