"""Readings as stored."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, Column, Index, Integer, text
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class ReadingRow(SQLModel, table=True):
    """What somebody or something read at a table at an instant; never changed (R1).

    ``arrival`` numbers the readings in the order in which they were committed. ``valid`` ones may be judged: not from
    the future, not from before the table existed (R4). ``venue_id`` is the table's venue at that time
    by the moves on record when the reading came; answers ask the moves again.
    """

    __tablename__ = "reading"
    __table_args__ = (
        Index("ix_reading_taken", "pool_table_id", "taken_at"),
        Index("ix_reading_arrived", "pool_table_id", "arrival"),
        *(
            Index(
                f"ix_reading_{name}",
                "pool_table_id",
                "taken_at",
                sqlite_where=text(f"{name} IS NOT NULL"),
                postgresql_where=text(f"{name} IS NOT NULL"),
            )
            for name in ("done", "settings", "controller_version")
        ),
        CheckConstraint("battery_mv BETWEEN 1 AND 98999", name="battery"),
        CheckConstraint("temperature_tenths_c BETWEEN -999 AND 1499", name="temperature"),
        CheckConstraint("rested_minutes >= 0", name="rested"),
        CheckConstraint(
            "battery_mv IS NOT NULL OR (temperature_tenths_c IS NULL AND rested_minutes IS NULL)", name="supply"
        ),
        CheckConstraint("clock_minute BETWEEN 0 AND 1439", name="clock_minute"),
        CheckConstraint("clock_weekday BETWEEN 0 AND 6", name="clock_weekday"),
        CheckConstraint("clock_display IN ('24h', '12h')", name="clock_display"),
        CheckConstraint(
            "clock_minute IS NOT NULL OR (clock_weekday IS NULL AND clock_on IS NULL AND clock_display IS NULL)",
            name="clock",
        ),
    )

    arrival: int = Field(
        sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=False)
    )
    id: UUID = Field(unique=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id")
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id")
    taken_at: datetime = Field(sa_type=Utc)
    received_at: datetime = Field(sa_type=Utc)
    sender: str
    valid: bool
    flags: list[str] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    battery_mv: int | None = None
    temperature_tenths_c: int | None = None
    rested_minutes: int | None = None
    clock_minute: int | None = None
    clock_weekday: int | None = None
    clock_on: date | None = None
    clock_display: str | None = None
    meters: dict[str, int] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    settings: dict[str, Any] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    controller_version: str | None = None
    done: list[str] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    note: str = ""


class VoidRow(SQLModel, table=True):
    """Why a reading does not count; the reading itself stays (R1)."""

    __tablename__ = "reading_void"

    reading_id: UUID = Field(primary_key=True, foreign_key="reading.id")
    reason: str
    voided_at: datetime = Field(sa_type=Utc)
    voided_by: str


READING = SQLModel.metadata.tables[ReadingRow.__tablename__]
