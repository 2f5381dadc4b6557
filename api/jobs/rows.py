"""Jobs as stored: what was reported, each step, and how it ended. None of it is ever changed."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class JobRow(SQLModel, table=True):
    """A report of a fault; ``arrival`` counts from 1 in the order of recording.

    ``venue_id`` is where the table was then by the moves on record when the report came; answers ask the moves again.
    ``currency`` is that of the venue where the table was, or was last, at the time of the report.
    """

    __tablename__ = "job"
    __table_args__ = (
        CheckConstraint("arrival >= 1", name="arrival"),
        CheckConstraint("length(currency) = 3", name="currency"),
    )

    id: UUID = Field(primary_key=True)
    arrival: int = Field(sa_type=BigInteger, unique=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id", index=True)
    currency: str
    reported_at: datetime = Field(sa_type=Utc, index=True)
    fault: str
    words: str
    playable: bool
    reported_by: str
    received_at: datetime = Field(sa_type=Utc)


class JobStepRow(SQLModel, table=True):
    """A step on the way: the job was assigned to a person, or waits for parts; ``number`` counts a job's steps from 1."""

    __tablename__ = "job_step"
    __table_args__ = (
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("state IN ('assigned', 'waiting_for_parts')", name="state"),
        CheckConstraint("(state = 'assigned') = (person <> '')", name="person"),
    )

    job_id: UUID = Field(primary_key=True, foreign_key="job.id")
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    state: str
    person: str = ""
    words: str = ""
    made_at: datetime = Field(sa_type=Utc)
    made_by: str


class JobDoneRow(SQLModel, table=True):
    """How a job ended: what was found, how long it took, the meters before and after, money put in to try (minor units)."""

    __tablename__ = "job_done"
    __table_args__ = (
        CheckConstraint("found <> ''", name="found"),
        CheckConstraint("minutes >= 0", name="minutes"),
        CheckConstraint("test_money_minor >= 0", name="test_money"),
    )

    job_id: UUID = Field(primary_key=True, foreign_key="job.id")
    done_at: datetime = Field(sa_type=Utc, index=True)
    found: str
    minutes: int | None = None
    meters_before: dict[str, int] = Field(sa_type=JSON)
    meters_after: dict[str, int] = Field(sa_type=JSON)
    test_money_minor: int = Field(sa_type=BigInteger)
    recorded_at: datetime = Field(sa_type=Utc)
    recorded_by: str


class JobPartRow(SQLModel, table=True):
    """A part that was used up in a job, and what it cost, in minor units of the job's currency."""

    __tablename__ = "job_part"
    __table_args__ = (
        CheckConstraint("place >= 0", name="place"),
        CheckConstraint("name <> ''", name="name"),
        CheckConstraint("cost_minor >= 0", name="cost"),
    )

    job_id: UUID = Field(primary_key=True, foreign_key="job.id")
    place: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    name: str
    cost_minor: int = Field(sa_type=BigInteger)
