"""What boxes earned, kept as it was worked out from all that is on record: it can be thrown away and worked out again.

A table that something was recorded of since has a note in ``to_reckon``; its rows do not count until it is worked out
again.
"""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, Index
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class _EarnedAmounts(SQLModel):
    """What a box, or a part of one, brought; by which agreement it was divided, and the entry that books it."""

    gross: int = Field(sa_type=BigInteger)
    refunds: int = Field(sa_type=BigInteger)
    tax: int = Field(sa_type=BigInteger)
    venue_share: int = Field(sa_type=BigInteger)
    unsettled: int = Field(sa_type=BigInteger)
    games: int = Field(sa_type=BigInteger)
    minutes: int = Field(sa_type=BigInteger)
    agreement_id: UUID | None
    entry_id: UUID | None


class EarnedBoxRow(_EarnedAmounts, table=True):
    """One box: the trading days that its money belongs to, its amounts in minor units, and what its meters counted.

    ``denominations`` are pairs of denomination and amount, ``points`` and ``out_of_order`` pairs of date and
    share (a fraction as text). ``is_spread``: it has no parts, for the table was out of order on some of its days; it is
    spread whenever it is asked about.
    """

    __tablename__ = "earned_box"
    __table_args__ = (
        Index(None, "venue_id", "first_on"),
        Index(None, "pool_table_id", "collected_at", "collection_id"),
    )

    collection_id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(primary_key=True)
    venue_id: UUID
    currency: str
    collected_at: datetime = Field(sa_type=Utc)
    emptied_before_on: date | None
    first_on: date = Field(index=True)
    last_on: date = Field(index=True)
    denominations: list[Any] = Field(sa_type=JSON)
    points: list[Any] = Field(sa_type=JSON)
    out_of_order: list[Any] = Field(sa_type=JSON)
    is_spread: bool


class EarnedPartRow(_EarnedAmounts, table=True):
    """The part of a box that belongs to one week of one month, from ``first_on``; ``days`` are its table days."""

    __tablename__ = "earned_part"
    __table_args__ = (Index(None, "venue_id", "box_first_on"),)

    collection_id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(primary_key=True, index=True)
    first_on: date = Field(primary_key=True)
    venue_id: UUID
    currency: str
    week_on: date
    month: str
    box_first_on: date = Field(index=True)
    box_last_on: date
    days: int
