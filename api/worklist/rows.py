"""Work as stored."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import JSON, CheckConstraint, Index
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class WorkRow(SQLModel, table=True):
    """A piece of work at a table, from ``lead_days`` before ``due_at`` until it is done, or ends of itself.

    ``person`` is whom it was given to, ``deferred_until_on`` (a trading date, which begins at ``deferred_until_at``) and
    ``deferred_reason`` how it was put off: by the newest steps of this occasion. They last as long as the row; a deferral ends when the code changes.
    ``announced_code`` is the code under which webhooks were last told that it is due.

    The indexes stand in the order in which what is shown is read: a range of each lead, by what is due first.
    """

    __tablename__ = "work"
    __table_args__ = (
        Index("ix_work_due", "lead_days", "due_at", "id"),
        Index("ix_work_kind", "kind", "lead_days", "due_at", "id"),
        Index("ix_work_due_at_venue", "venue_id", "lead_days", "due_at", "id"),
        CheckConstraint("lead_days IN (0, 7, 14, 60, 36500)", name="lead"),
        CheckConstraint(
            "kind IN ('charge_battery', 'set_clock', 'key_settings', 'ask_venue', 'collect', 'visit', 'review', "
            "'licence')",
            name="kind",
        ),
    )

    id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id")
    kind: str
    code: str
    due_at: datetime = Field(sa_type=Utc)
    lead_days: int
    ends_at: datetime | None = Field(default=None, sa_type=Utc)
    reason: str
    bring: list[str] = Field(sa_type=JSON)
    needs_key: bool
    dangers: list[str] = Field(sa_type=JSON)
    words: str
    refers_to: UUID | None = None
    assessed_at: datetime = Field(sa_type=Utc)
    person: str | None = Field(default=None, index=True)
    deferred_until_on: date | None = None
    deferred_until_at: datetime | None = Field(default=None, sa_type=Utc)
    deferred_reason: str = ""
    announced_code: str | None = None


class WorkStepRow(SQLModel, table=True):
    """Work that was given to a person (``person``), or put off until a date for a reason; never changed.

    ``code`` and ``line`` are the line of the list as it was then.
    """

    __tablename__ = "work_step"
    __table_args__ = (
        CheckConstraint("(step = 'assigned') = (person IS NOT NULL)", name="person"),
        CheckConstraint("(step = 'deferred') = (until_on IS NOT NULL)", name="until_on"),
        CheckConstraint("(step = 'deferred') = (reason <> '')", name="reason"),
    )

    id: UUID = Field(primary_key=True)
    work_id: UUID = Field(index=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    code: str
    line: str
    step: str
    person: str | None = None
    until_on: date | None = None
    reason: str = ""
    made_at: datetime = Field(sa_type=Utc)
    made_by: str


class CompletionRow(SQLModel, table=True):
    """The words by which somebody closed work, with the line that they closed; never changed (C11)."""

    __tablename__ = "work_completion"
    __table_args__ = (
        CheckConstraint("outcome IN ('found', 'miscounted', 'accepted')", name="outcome"),
        CheckConstraint("words <> ''", name="words"),
    )

    work_id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    code: str
    reason: str
    refers_to: UUID | None = None
    outcome: str
    words: str
    completed_at: datetime = Field(sa_type=Utc)
    completed_by: str
