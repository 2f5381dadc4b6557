"""Trips as stored; never changed: how a trip ended is a row of its own."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class TripRow(SQLModel, table=True):
    """A trip of a person on a date; ``ordered`` says how its stops came to their order, from the start if one is named."""

    __tablename__ = "trip"
    __table_args__ = (
        CheckConstraint("ordered IN ('given', 'shortest')", name="ordered"),
        CheckConstraint("(start_latitude IS NULL) = (start_longitude IS NULL)", name="start"),
    )

    id: UUID = Field(primary_key=True)
    trip_on: date = Field(index=True)
    person: str = Field(index=True)
    ordered: str
    start_latitude: float | None = None
    start_longitude: float | None = None
    made_at: datetime = Field(sa_type=Utc)
    made_by: str


class TripStopRow(SQLModel, table=True):
    """A stop in its place, from 0; ``empties_all``: every box there is emptied, else those whose work says so."""

    __tablename__ = "trip_stop"
    __table_args__ = (CheckConstraint("place >= 0", name="place"), UniqueConstraint("trip_id", "venue_id"))

    trip_id: UUID = Field(primary_key=True, foreign_key="trip.id")
    place: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    empties_all: bool


class TripWorkRow(SQLModel, table=True):
    """Work that a trip was made for, and its line of the list as it was then."""

    __tablename__ = "trip_work"

    trip_id: UUID = Field(primary_key=True, foreign_key="trip.id")
    work_id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    line: str


class TripEndRow(SQLModel, table=True):
    """How a trip ended: done or cancelled, with words."""

    __tablename__ = "trip_end"
    __table_args__ = (CheckConstraint("state IN ('done', 'cancelled')", name="state"),)

    trip_id: UUID = Field(primary_key=True, foreign_key="trip.id")
    state: str
    words: str
    ended_at: datetime = Field(sa_type=Utc)
    ended_by: str
