"""Tables that fail again and again: so many faults reported within so many days (J2).

- The number and the days are the operator's settings. Every report counts, whether the table could be played or not.
- The work stays until somebody says what becomes of the table, or until so many faults no longer lie in so many days.
  Another fault brings it back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from uuid import UUID

from ..health.levels import FaultLimits
from ..venues.dates_in_words import day_at
from .work import Work


@dataclass(frozen=True, slots=True)
class ReportedFault:
    """A fault that was reported of a table: its job, when, and its code."""

    job_id: UUID
    reported_at: datetime
    fault: str


def fault_reviews(
    reported: Sequence[ReportedFault], *, limits: FaultLimits, zone: tzinfo, now: datetime
) -> tuple[Work, ...]:
    """Return the review of a table that fails too often now; empty where it does not."""
    within = timedelta(days=limits.within_days)
    recent = sorted(
        (one for one in reported if one.reported_at > now - within),
        key=lambda one: (one.reported_at, one.job_id),
    )
    if len(recent) < limits.again:
        return ()
    newest = recent[-1]
    counts = Counter(one.fault.replace("_", " ") for one in recent).most_common()
    faults = ", ".join(fault if times == 1 else f"{fault} {times} times" for fault, times in counts)
    return (
        Work(
            kind="review",
            code="fails_again",
            subject=f"fails_again:{newest.job_id}",
            due_at=newest.reported_at,
            ends_at=recent[-limits.again].reported_at + within,
            reason=f"{len(recent)} faults in {limits.within_days} days, the last on {day_at(newest.reported_at, zone)}: "
            f"{faults}. Overhaul the table, or replace it.",
            refers_to=newest.job_id,
        ),
    )
