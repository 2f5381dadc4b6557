"""Jobs as received and sent."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt, WrapValidator
from pydantic import Field as Limits

from ..pool_tables.schemas import MeterName
from ..web.batch import one_by_one
from ..web.feed import ChangeOut, ChangePageOf
from ..web.schema_types import Count, Date, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf, Text, Words, Yes
from .faults import FaultSeen
from .job import State

JOBS_MAX = 100

FaultCode = Annotated[
    FaultSeen,
    Limits(description="What somebody at the table sees. For what the list lacks send other, and say it in words."),
]
Readings = Annotated[dict[MeterName, Count], Limits(max_length=20, description="What each meter showed, by its name.")]
Person = Annotated[Name, Limits(description="Who is to mend it.")]


class JobIn(In):
    """A report of a fault at a table."""

    id: Annotated[Id, Limits(description="An id that you make, once: the same report sent again changes nothing.")]
    table_id: Annotated[Id, Limits(description="The table that has the fault.")]
    reported_at: Annotated[Instant, Limits(description="When the fault was noticed.")]
    fault: FaultCode
    words: Annotated[Text, Limits(description="The fault in your own words.")] | MISSING = MISSING
    playable: Annotated[Yes, Limits(description="False: the table is out of order until the job is done.")]


class JobsIn(In):
    """A batch of reports of faults, each judged on its own."""

    jobs: Annotated[
        list[Annotated[JobIn, WrapValidator(one_by_one)]],
        Limits(max_length=JOBS_MAX, description="At most 100 reports, in any order."),
    ]


class AssignmentIn(In):
    """Who is to mend it."""

    person: Person


class WaitingIn(In):
    """What a job waits for."""

    words: Annotated[Text, Limits(description="The parts that are on order.")] | MISSING = MISSING


class PartIn(In):
    """A part that was used."""

    name: Annotated[Name, Limits(description="The name of the part; use the same name each time.")]
    cost: Annotated[Money, Limits(description="What it cost, in the currency of the table's venue; 0 if nothing.")]


class JobDoneIn(In):
    """How a job ended."""

    at: Annotated[Instant, Limits(description="When the table was in order again; not before the report.")]
    found: Annotated[Words, Limits(description="What was wrong, and what was done.")]
    parts: Annotated[list[PartIn], Limits(max_length=50, description="The parts that were used.")] | MISSING = MISSING
    minutes: Annotated[StrictInt, Limits(ge=0, le=100_000, description="How long the work took.")] | MISSING = MISSING
    meters_before: Readings | MISSING = MISSING
    meters_after: Readings | MISSING = MISSING
    test_money: Annotated[Money, Limits(description="Your own money, put in to try; it is in the box.")] | MISSING = (
        MISSING
    )


class JobStepOut(Out):
    """A step on the way of a job."""

    state: Literal["assigned", "waiting_for_parts"]
    person: str
    words: str
    at: Instant
    by: str


class PartOut(Out):
    """A part that was used; its cost is null for a venue's token."""

    name: str
    cost: MoneyOut | None


class JobDoneOut(Out):
    """How a job ended; costs, minutes and test money are null for a venue's token."""

    at: Instant
    found: str
    parts: list[PartOut]
    cost: Annotated[MoneyOut | None, Limits(description="The cost of all parts together.")]
    minutes: int | None
    meters_before: dict[str, int]
    meters_after: dict[str, int]
    test_money: MoneyOut | None
    recorded_at: Instant
    by: str


class JobOut(Out):
    """A job: the report, its state, and how it ended."""

    id: Id
    table_id: Id
    venue_id: Annotated[Id | None, Limits(description="Where the table was at the time of the report.")]
    currency: str
    reported_at: Instant
    reported_by: str
    received_at: Instant
    fault: FaultSeen
    words: str
    playable: bool
    state: State
    person: Annotated[str | None, Limits(description="Whom it was assigned to last.")]
    steps: list[JobStepOut]
    done: JobDoneOut | None


class JobPage(PageOf[JobOut]):
    """A page of jobs."""


class JobChangeOut(ChangeOut):
    """A job that was reported, assigned, put to wait or done, as it is now."""

    job: JobOut


class JobChangePage(ChangePageOf[JobChangeOut]):
    """A page of the jobs that have changed."""


class FaultCountOut(Out):
    """How often a fault was reported."""

    fault: FaultSeen
    reported: int


class TableFaultsOut(Out):
    """The faults of a table in a period."""

    table_id: Id
    label: str
    reported: int
    open: Annotated[int, Limits(description="Reported by the end of the period and not done by then.")]
    days_out_of_order: Annotated[str, Limits(description="Days of 24 hours, with two decimals.")]
    minutes: int
    cost: Annotated[MoneyOut, Limits(description="The cost of the parts of the jobs done in the period.")]
    currency: str
    faults: list[FaultCountOut]


class PartUseOut(Out):
    """How often a part was used in a period, and what that cost."""

    name: str
    currency: str
    used: int
    cost: MoneyOut


class FaultReportOut(Out):
    """The faults of a period by table, the most days out of order first, and the parts that mended them."""

    from_: Annotated[Date, Limits(alias="from")]
    to: Date
    tables: list[TableFaultsOut]
    parts: list[PartUseOut]
