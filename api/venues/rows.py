"""Venues as stored."""

from datetime import date, datetime, time
from uuid import UUID

from sqlalchemy import BigInteger, CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class VenueRow(SQLModel, table=True):
    """A venue. Its zone, day start and currency are fixed once it has a schedule (W6), its name in the books at once."""

    __tablename__ = "venue"
    __table_args__ = (
        UniqueConstraint("books_name"),
        CheckConstraint("length(currency) = 3", name="currency"),
        CheckConstraint("latitude BETWEEN -90 AND 90", name="latitude"),
        CheckConstraint(
            "longitude BETWEEN -180 AND 180 AND (latitude IS NULL) = (longitude IS NULL)", name="longitude"
        ),
    )

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    name: str
    books_name: str
    time_zone: str
    currency: str
    day_starts_at: time
    address: str = ""
    contact: str = ""
    notes: str = ""
    has_tables: bool = False
    has_money: bool = False
    has_schedule: bool = False
    departed_on: date | None = None
    latitude: float | None = None
    longitude: float | None = None
    revision: int = 1
    made_at: datetime = Field(sa_type=Utc)


class VenueFactRow(SQLModel, table=True):
    """A fact of a venue from a trading date on (None: since ever); ``sequence`` counts from 1 under the venue's lock."""

    __tablename__ = "venue_fact"
    __table_args__ = (
        CheckConstraint("name IN ('tax_area', 'legal_name', 'payee', 'tax_number')", name="name"),
        CheckConstraint("sequence >= 1", name="sequence"),
    )

    venue_id: UUID = Field(primary_key=True, foreign_key="venue.id")
    sequence: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    name: str
    from_on: date | None
    value: str | None
    recorded_at: datetime = Field(sa_type=Utc)
