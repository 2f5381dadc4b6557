"""HTTP for jobs and the report of faults."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response

from ..venues.service import get_venue
from ..web.auth import AccountantDep, CollectorDep, CollectorOrVenueDep, Principal, StaffDep, StaffOrVenueDep
from ..web.batch import BatchResultsOut
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.feed import page_changes
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import FeedDep, PageDep
from ..web.schema_types import Date, Id, value_or
from . import queries, service
from .convert import fault_report_out
from .fault_csv import faults_by_table_csv, parts_csv
from .job import State
from .schemas import AssignmentIn, FaultReportOut, JobChangePage, JobDoneIn, JobIn, JobOut, JobPage, JobsIn, WaitingIn

router = APIRouter(prefix="/v1", tags=["jobs"], route_class=Route)


@router.post("/jobs", status_code=201, responses=problems(409))
def report_job(
    session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, job: JobIn, response: Response
) -> JobOut:
    """Report a fault at a table: it is a job until somebody closes it.

    The same report sent again changes nothing and is answered with the job as it is now. A table that cannot be played
    is out of order until its job is done.
    """
    row, _ = service.report_job(session, job, by=service.Reporter(principal.name, principal.venue_id), now=now)
    response.headers["Location"] = f"/v1/jobs/{row.id}"
    return queries.jobs_out(session, [row], with_costs=_sees_costs(principal))[0]


@router.post("/jobs/batch", responses=problems())
def report_jobs(session: SessionDep, principal: CollectorOrVenueDep, now: NowDep, batch: JobsIn) -> BatchResultsOut:
    """Report a batch of faults, each judged on its own: one outcome an item, in order.

    Sent again, they are duplicates and change nothing.
    """
    return service.report_jobs(session, batch.jobs, by=service.Reporter(principal.name, principal.venue_id), now=now)


@router.get("/jobs", responses=problems())
def list_jobs(
    asked: PageDep,
    session: SessionDep,
    principal: StaffOrVenueDep,
    table_id: Annotated[Id | None, Query(description="Only jobs at this table.")] = None,
    venue_id: Annotated[Id | None, Query(description="Only jobs at tables that were at this venue then.")] = None,
    state: Annotated[State | None, Query(description="Only jobs in this state.")] = None,
) -> JobPage:
    """List jobs in the order in which they were recorded; a venue's token sees those of its own tables."""
    if venue_id is not None:
        principal.must_see_venue(venue_id)
        get_venue(session, venue_id)
    if table_id is not None:
        service.must_see_table(session, table_id, venue_id=principal.venue_id)
    found = queries.page_jobs(
        session,
        table_id=table_id,
        venue_id=principal.venue_id or venue_id,
        state=state,
        limit=asked.limit,
        after=asked.after,
    )
    return asked.write(JobPage, found, lambda rows: queries.jobs_out(session, rows, with_costs=_sees_costs(principal)))


@router.get("/jobs/changes", responses=problems())
def list_job_changes(asked: FeedDep, session: SessionDep, principal: StaffDep) -> JobChangePage:
    """List the jobs that were reported, assigned, put to wait or done since, each once, as it is now.

    Ask again after the number of the last one that you have: none is skipped, also while others write.
    """
    found = page_changes(session, "jobs", limit=asked.limit, after=asked.after)
    return asked.write(JobChangePage, found, lambda rows: queries.changes_out(session, rows))


@router.get("/jobs/{job_id}", responses=problems())
def get_job(session: SessionDep, principal: StaffOrVenueDep, job_id: Id) -> JobOut:
    """Return a job: the report, its state, and how it ended."""
    row = queries.get_job(session, job_id, venue_id=principal.venue_id)
    return queries.jobs_out(session, [row], with_costs=_sees_costs(principal))[0]


@router.post("/jobs/{job_id}/assignment", status_code=201, responses=problems(409))
def assign_job(
    session: SessionDep, principal: CollectorDep, now: NowDep, job_id: Id, assignment: AssignmentIn
) -> JobOut:
    """Assign a job to a person, also in place of another."""
    row = service.assign_job(session, job_id, person=assignment.person, by=principal.name, now=now)
    return queries.jobs_out(session, [row], with_costs=True)[0]


@router.post("/jobs/{job_id}/waiting", status_code=201, responses=problems(409))
def wait_for_parts(session: SessionDep, principal: CollectorDep, now: NowDep, job_id: Id, waiting: WaitingIn) -> JobOut:
    """Note that a job waits for parts. Assign it again when they have come, or close it."""
    row = service.wait_for_parts(session, job_id, words=value_or(waiting.words, ""), by=principal.name, now=now)
    return queries.jobs_out(session, [row], with_costs=True)[0]


@router.post("/jobs/{job_id}/done", status_code=201, responses=problems(409))
def close_job(session: SessionDep, principal: CollectorDep, now: NowDep, job_id: Id, done: JobDoneIn) -> JobOut:
    """Close a job with what was found, the parts used and their cost. A phone call can close one too.

    The same closing sent again is answered as before and changes nothing.
    """
    row = service.close_job(session, job_id, done, by=principal.name, now=now)
    return queries.jobs_out(session, [row], with_costs=True)[0]


@router.get("/reports/faults", responses={**problems(), 200: {"model": FaultReportOut, "content": CSV}})
def get_fault_report(
    session: SessionDep,
    principal: AccountantDep,
    now: NowDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The last trading date.")],
    format: Annotated[Literal["json", "csv"], Query(description="A csv has one line a table, or a part.")] = "json",
    of: Annotated[Literal["tables", "parts"], Query(description="The lines of a csv.")] = "tables",
) -> Response:
    """Report the faults of a period by table, with days out of order and cost, and the parts that mended them."""
    report = queries.read_fault_report(session, from_on=from_, to_on=to, now=now)
    if format == "json":
        return Response(fault_report_out(report).model_dump_json(by_alias=True), media_type="application/json")
    text = faults_by_table_csv(report) if of == "tables" else parts_csv(report)
    return CsvAnswer(text, name=f"faults-{of}-{from_}-{to}")


def _sees_costs(principal: Principal) -> bool:
    return principal.role != "venue"
