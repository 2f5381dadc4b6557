"""Schedules as stored."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class ScheduleRow(SQLModel, table=True):
    """A published schedule of a venue, or of one table during one stay there; ``terms`` are its entries as sent,
    ``sequence`` the order of publication."""

    __tablename__ = "schedule"
    __table_args__ = (
        CheckConstraint("(pool_table_id IS NULL) = (stay_id IS NULL)", name="stay_of_table"),
        CheckConstraint("pool_table_id IS NOT NULL OR NOT follow_venue", name="only_tables_follow"),
    )

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id", index=True)
    stay_id: UUID | None = Field(default=None, foreign_key="stay.id", index=True)
    effective_on: date
    published_at: datetime = Field(sa_type=Utc)
    follow_venue: bool = False
    terms: dict[str, Any] = Field(sa_type=JSON)
