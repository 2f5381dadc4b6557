"""Venues as stored."""

from datetime import datetime, time
from uuid import UUID

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class VenueRow(SQLModel, table=True):
    """A venue. Its zone, day start and currency are fixed once it has a schedule (W6), its name in the books at once."""

    __tablename__ = "venue"
    __table_args__ = (UniqueConstraint("books_name"), CheckConstraint("length(currency) = 3", name="currency"))

    id: UUID = Field(primary_key=True)
    name: str
    books_name: str
    time_zone: str
    currency: str
    day_starts_at: time
    address: str = ""
    contact: str = ""
    legal_name: str = ""
    tax_area: str | None = Field(default=None, foreign_key="tax_area.code")
    notes: str = ""
    has_tables: bool = False
    has_schedule: bool = False
    revision: int = 1
    made_at: datetime = Field(sa_type=Utc)
