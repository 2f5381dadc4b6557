"""The faults of a period: by table, and by the parts that mended them.

- A fault counts where it was reported in the period; minutes and parts count where the job was done in it.
- A day out of order counts as far as it lies in the period, and no later than now.
- The dates are trading days of the venue where the table is, or was last.
- A table of which there is nothing to say is left out; the most days out of order come first, then the most reports.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from uuid import UUID

from .faults import FAULTS, FaultSeen
from .out_of_order import OutOfOrder, days_out_of_order


@dataclass(frozen=True, slots=True)
class ReportedTable:
    """A table, its currency, and the period's first instant and the first after it, at its venue."""

    id: UUID
    label: str
    currency: str
    from_at: datetime
    to_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """What counts of a job; a part is its name and its cost in minor units."""

    fault: FaultSeen
    reported_at: datetime
    playable: bool
    done_at: datetime | None = None
    minutes: int = 0
    parts: Sequence[tuple[str, int]] = ()

    @property
    def out_of_order(self) -> tuple[OutOfOrder, ...]:
        """The time in which nobody could play for this fault."""
        return () if self.playable else (OutOfOrder(self.reported_at, self.done_at),)


@dataclass(frozen=True, slots=True)
class TableFaults:
    """The faults of one table; ``faults`` counts them by code, in the order of the list of codes."""

    table: ReportedTable
    reported: int
    open: int
    days_out_of_order: Fraction
    minutes: int
    cost_minor: int
    faults: Mapping[FaultSeen, int]


@dataclass(frozen=True, slots=True)
class PartUse:
    """How often a part was used, and what that cost in minor units."""

    name: str
    currency: str
    used: int
    cost_minor: int


@dataclass(frozen=True, slots=True)
class FaultReport:
    """The faults of a period, both dates included."""

    from_on: date
    to_on: date
    tables: Sequence[TableFaults]
    parts: Sequence[PartUse]


def fault_report(
    jobs: Mapping[ReportedTable, Sequence[JobFacts]], *, from_on: date, to_on: date, now: datetime
) -> FaultReport:
    """Return the faults of a period, from the jobs of each table that were not done before it."""
    tables = [found for table, of in jobs.items() if (found := _table_faults(table, of, now=now)) is not None]
    tables.sort(key=lambda found: (-found.days_out_of_order, -found.reported, found.table.label, found.table.id))
    return FaultReport(from_on, to_on, tables, _part_uses(jobs))


def _table_faults(table: ReportedTable, jobs: Sequence[JobFacts], *, now: datetime) -> TableFaults | None:
    reported = Counter(job.fault for job in jobs if table.from_at <= job.reported_at < table.to_at)
    done = list(_done_in(table, jobs))
    found = TableFaults(
        table=table,
        reported=reported.total(),
        open=sum(job.reported_at < table.to_at and (job.done_at is None or job.done_at >= table.to_at) for job in jobs),
        days_out_of_order=days_out_of_order(
            [span for job in jobs for span in job.out_of_order], from_at=table.from_at, to_at=min(table.to_at, now)
        ),
        minutes=sum(job.minutes for job in done),
        cost_minor=sum(cost for job in done for _, cost in job.parts),
        faults={fault: reported[fault] for fault in FAULTS if reported[fault]},
    )
    return found if reported or found.open or done or found.days_out_of_order else None


def _done_in(table: ReportedTable, jobs: Iterable[JobFacts]) -> Iterable[JobFacts]:
    return (job for job in jobs if job.done_at is not None and table.from_at <= job.done_at < table.to_at)


def _part_uses(jobs: Mapping[ReportedTable, Sequence[JobFacts]]) -> list[PartUse]:
    costs: dict[tuple[str, str], list[int]] = defaultdict(list)
    for table, of in jobs.items():
        for job in _done_in(table, of):
            for name, cost in job.parts:
                costs[name, table.currency].append(cost)
    uses = [PartUse(name, currency, len(each), sum(each)) for (name, currency), each in costs.items()]
    return sorted(uses, key=lambda use: (-use.used, use.name, use.currency))
