"""HTTP for the worklist."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from ..store.db import stop_of
from ..venues.service import zones
from ..web.auth import CollectorDep, CollectorOrReaderDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import AfterNumber, Limit, link_next
from ..web.schema_types import TEXT_PATTERN, Id
from . import service
from .queries import WorkFilter
from .schemas import (
    CompletionIn,
    CompletionOut,
    CursorText,
    DeferralIn,
    InstantOrDate,
    WorkAssignmentIn,
    WorkChangePage,
    WorklistPage,
    WorkOut,
    read_cursor,
)
from .work import WorkKind
from .work_csv import work_csv

router = APIRouter(prefix="/v1", tags=["worklist"], route_class=Route)


@router.get("/worklist", responses={**problems(), 200: {"model": WorklistPage, "content": CSV}})
def get_worklist(
    request: Request,
    session: SessionDep,
    principal: CollectorOrReaderDep,
    now: NowDep,
    venue_id: Annotated[Id | None, Query(description="Only work at this venue.")] = None,
    kind: Annotated[WorkKind | None, Query(description="Only work of this kind.")] = None,
    person: Annotated[
        str | None,
        Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Only work given to this person."),
    ] = None,
    due_before: Annotated[
        InstantOrDate | None, Query(description="Only what is due before an instant, or before a date begins in UTC.")
    ] = None,
    deferred: Annotated[bool, Query(description="Also list work that is put off until later.")] = False,
    group: Annotated[Literal["venue"] | None, Query(description="Group the items of a page by venue.")] = None,
    format: Annotated[Literal["json", "csv"], Query(description="A csv has all work of the list.")] = "json",
    limit: Limit = 100,
    after: Annotated[CursorText | None, Query(description="The `next` of the page before.")] = None,
) -> Response:
    """List the work at all venues, earliest due first: reason, what to bring, and the date by which it matters.

    Each item says whether a record takes it off the list or a person's words do. Work that was put off is back on its
    date; work that comes up again after its cause was gone is a new item, given to nobody. A reader sees no
    work that tells of money in a box.
    """
    session.rollback()  # its snapshot would not show what is assessed now
    service.catch_up(request.app.state.engine, now=now, venue_id=venue_id, stop=stop_of(session))
    wanted = WorkFilter(
        venue_id=venue_id,
        kind=kind,
        person=person,
        due_before=due_before,
        deferred=deferred,
        after=read_cursor(after) if after else None,
        limit=limit,
        without_money=principal.role == "reader",
        without_persons=principal.role != "owner",
        bags_of=principal.only_cash_of,
    )
    if format == "csv":
        items = service.all_work(session, wanted, by_venue=bool(group), now=now)
        return CsvAnswer(work_csv((item.model_dump() for item in items), zones(session)), name="worklist")
    found = service.page_work(session, wanted, by_venue=bool(group), now=now)
    response = Response(found.model_dump_json(), media_type="application/json")
    link_next(request, response, found.next)
    return response


@router.get("/worklist/changes", responses=problems())
def list_work_changes(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: CollectorDep,
    now: NowDep,
    limit: Limit = 100,
    after: AfterNumber = 0,
) -> WorkChangePage:
    """List the work that was found, given, put off, changed or closed since, each once, as it is now.

    Ask again after the number of the last one that you have: none is skipped, also while others write.
    """
    session.rollback()  # its snapshot would not show what is assessed now
    service.catch_up(request.app.state.engine, now=now, stop=stop_of(session))
    found = service.page_work_changes(session, limit=limit, after=after, by=principal)
    link_next(request, response, found.next)
    return found


@router.get("/worklist/{work_id}", responses=problems())
def get_work(session: SessionDep, principal: CollectorDep, work_id: Id) -> WorkOut:
    """Return work that is on record, also while the list does not show it yet; 404 once it is closed."""
    return service.get_work(session, work_id, by=principal)


@router.post("/worklist/{work_id}/assignment", status_code=201, responses=problems(409))
def assign_work(
    session: SessionDep, principal: CollectorDep, now: NowDep, work_id: Id, assignment: WorkAssignmentIn
) -> WorkOut:
    """Give work to a person, also in place of another. It stays theirs until it leaves the list."""
    return service.assign_work(session, work_id, person=assignment.person, by=principal, now=now)


@router.post("/worklist/{work_id}/deferral", status_code=201, responses=problems(409))
def defer_work(session: SessionDep, principal: CollectorDep, now: NowDep, work_id: Id, deferral: DeferralIn) -> WorkOut:
    """Put work off until a date, with a reason. It is off the list until then, unless its reason changes before."""
    return service.defer_work(session, work_id, deferral, by=principal, now=now)


@router.post("/worklist/{work_id}/completion", status_code=201, responses=problems(409))
def complete_work(
    session: SessionDep, principal: CollectorDep, now: NowDep, work_id: Id, completion: CompletionIn
) -> CompletionOut:
    """Close work in words: what a difference or a signal was, or that a call or a look at the meters settled it.

    Work whose `closes_by` is `record` is refused: a reading, a keying, a collection or an answer takes it off the list.
    Only an owner says what a difference or a signal was.
    """
    return service.complete_work(session, work_id, completion, by=principal, now=now)
