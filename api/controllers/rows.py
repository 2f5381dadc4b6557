"""Keyings as stored."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import BigInteger
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class KeyingRow(SQLModel, table=True):
    """A schedule keyed into a table, by whom and when (W8); ``for_on``: keyed for that trading date alone.

    ``sequence`` gives the order of recording (counter ``keyings``): the sender may have made the id.
    """

    __tablename__ = "keying"

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    stay_id: UUID = Field(foreign_key="stay.id", index=True)
    schedule_id: UUID = Field(foreign_key="schedule.id")
    keyed_at: datetime = Field(sa_type=Utc)
    keyed_by: str
    note: str = ""
    recorded_at: datetime = Field(sa_type=Utc)
    for_on: date | None = None


class KeyingVoidRow(SQLModel, table=True):
    """Why a keying does not count; the keying itself stays on record."""

    __tablename__ = "keying_void"

    keying_id: UUID = Field(primary_key=True, foreign_key="keying.id")
    reason: str
    voided_at: datetime = Field(sa_type=Utc)
    voided_by: str
