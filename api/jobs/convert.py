"""Between jobs as stored, as judged and as sent."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from ..pricing import format_money
from .fault_report import FaultReport, TableFaults
from .job import state_of
from .out_of_order import two_decimals
from .rows import JobDoneRow, JobPartRow, JobRow, JobStepRow
from .schemas import (
    FaultCountOut,
    FaultReportOut,
    JobDoneOut,
    JobIn,
    JobOut,
    JobStepOut,
    PartOut,
    PartUseOut,
    TableFaultsOut,
)


def content_of(message: JobIn) -> dict[str, Any]:
    """Return what a report says, by the names of its message; words that were not sent are empty."""
    return {"words": "", **message.model_dump(exclude={"id"})}


def stored_content(row: JobRow) -> dict[str, Any]:
    """Return what a stored report says, by the names of its message."""
    return {
        "table_id": row.pool_table_id,
        "reported_at": row.reported_at,
        "fault": row.fault,
        "words": row.words,
        "playable": row.playable,
    }


def job_out(
    row: JobRow,
    steps: Sequence[JobStepRow],
    done: JobDoneRow | None,
    parts: Sequence[JobPartRow],
    *,
    venue_id: UUID | None,
    with_costs: bool,
) -> JobOut:
    """Write a job, with the venue where its table was; without costs for whom they do not concern."""
    assigned = [step.person for step in steps if step.state == "assigned"]
    return JobOut(
        id=row.id,
        table_id=row.pool_table_id,
        venue_id=venue_id,
        currency=row.currency,
        reported_at=row.reported_at,
        reported_by=row.reported_by,
        received_at=row.received_at,
        fault=row.fault,
        words=row.words,
        playable=row.playable,
        state=state_of(last_step=steps[-1].state if steps else None, is_done=done is not None),
        person=assigned[-1] if assigned else None,
        steps=[_step_out(step) for step in steps],
        done=done and _done_out(done, parts, row.currency, with_costs=with_costs),
    )


def _step_out(step: JobStepRow) -> JobStepOut:
    return JobStepOut(
        state=step.state,
        person=step.person,
        words=step.words,
        at=step.made_at,
        by=step.made_by,
    )


def _done_out(done: JobDoneRow, parts: Sequence[JobPartRow], currency: str, *, with_costs: bool) -> JobDoneOut:
    def money(minor: int) -> str | None:
        return format_money(minor, currency) if with_costs else None

    return JobDoneOut(
        at=done.done_at,
        found=done.found,
        parts=[PartOut(name=part.name, cost=money(part.cost_minor)) for part in parts],
        cost=money(sum(part.cost_minor for part in parts)),
        minutes=done.minutes if with_costs else None,
        meters_before=done.meters_before,
        meters_after=done.meters_after,
        test_money=money(done.test_money_minor),
        recorded_at=done.recorded_at,
        by=done.recorded_by,
    )


def fault_report_out(report: FaultReport) -> FaultReportOut:
    """Write a report of faults."""
    return FaultReportOut(
        from_=report.from_on,
        to=report.to_on,
        tables=[_table_out(table) for table in report.tables],
        parts=[
            PartUseOut(
                name=part.name,
                currency=part.currency,
                used=part.used,
                cost=format_money(part.cost_minor, part.currency),
            )
            for part in report.parts
        ],
    )


def _table_out(table: TableFaults) -> TableFaultsOut:
    return TableFaultsOut(
        table_id=table.table.id,
        label=table.table.label,
        reported=table.reported,
        open=table.open,
        days_out_of_order=two_decimals(table.days_out_of_order),
        minutes=table.minutes,
        cost=format_money(table.cost_minor, table.table.currency),
        currency=table.table.currency,
        faults=[FaultCountOut(fault=fault, reported=count) for fault, count in table.faults.items()],
    )
