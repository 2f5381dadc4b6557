"""Pool tables, and where each was when."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, Index, text
from sqlmodel import Field, SQLModel

from ..store.db import Utc
from .place import PLACES


class PoolTableRow(SQLModel, table=True):
    """A pool table; ``profile`` is the rest of its message: what it accepts, its power, meters, controller, box."""

    __tablename__ = "pool_table"

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    label: str
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id", index=True)
    profile: dict[str, Any] = Field(sa_type=JSON)
    revision: int = 1
    made_at: datetime = Field(sa_type=Utc)


class StayRow(SQLModel, table=True):
    """Where a table was from when to when, at a venue or in another ``place``. One stay of a table is open.

    A void stay did not happen: it counts for nothing, and is kept to be shown. Of a first stay whose ``placed_at`` was
    voided, ``void_placed_at`` is what was stated; it begins when the table was made, as one without ``placed_at`` does.
    """

    __tablename__ = "stay"
    __table_args__ = (
        Index(
            "uq_stay_open",
            "pool_table_id",
            unique=True,
            sqlite_where=text("to_at IS NULL"),
            postgresql_where=text("to_at IS NULL"),
        ),
        Index(
            "ix_stay_void_placed_at",
            "pool_table_id",
            sqlite_where=text("void_placed_at IS NOT NULL"),
            postgresql_where=text("void_placed_at IS NOT NULL"),
        ),
        CheckConstraint("to_at IS NULL OR to_at >= from_at", name="forward"),
        CheckConstraint(f"place IN ({', '.join(map(repr, PLACES))})", name="place"),
    )

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id", index=True)
    place: str
    from_at: datetime = Field(sa_type=Utc)
    to_at: datetime | None = Field(default=None, sa_type=Utc)
    meters: dict[str, int] = Field(sa_type=JSON)
    box: str = "emptied"
    voided_at: datetime | None = Field(default=None, sa_type=Utc)
    voided_by: str = ""
    void_reason: str = ""
    void_placed_at: datetime | None = Field(default=None, sa_type=Utc)
    placed_at_voided_at: datetime | None = Field(default=None, sa_type=Utc)
    placed_at_voided_by: str = ""
    placed_at_void_reason: str = ""
