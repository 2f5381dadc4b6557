"""Collections as stored."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class CollectionRow(SQLModel, table=True):
    """One collection: ``content`` is what was sent in its normal form, ``corrects_id`` the reversed one whose place it takes.

    ``expected`` and ``difference`` are those of the tables that have an expectation, ``settling`` that of the whole
    box. ``record_id`` gives the order of recording.
    """

    __tablename__ = "collection"
    __table_args__ = (
        UniqueConstraint("record_id"),
        UniqueConstraint("corrects_id"),
        CheckConstraint("length(currency) = 3", name="currency"),
        CheckConstraint("counted_minor >= 0", name="counted"),
        CheckConstraint(
            "refunds_by_venue_minor >= 0 AND house_money_minor >= 0 AND test_money_minor >= 0", name="returns"
        ),
        CheckConstraint("expected_least_minor BETWEEN 0 AND expected_most_minor", name="expected"),
        CheckConstraint("(expected_least_minor IS NULL) = (difference_minor IS NULL)", name="difference"),
    )

    id: UUID = Field(primary_key=True)
    record_id: UUID
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    currency: str
    collected_at: datetime = Field(sa_type=Utc, index=True)
    trading_on: date
    received_at: datetime = Field(sa_type=Utc)
    recorded_by: str
    collector: str = Field(index=True)
    corrects_id: UUID | None = Field(default=None, foreign_key="collection.id")
    content: dict[str, Any] = Field(sa_type=JSON)
    counted_minor: int = Field(sa_type=BigInteger)
    expected_least_minor: int | None = Field(sa_type=BigInteger)
    expected_most_minor: int | None = Field(sa_type=BigInteger)
    difference_minor: int | None = Field(sa_type=BigInteger)
    settling_least_minor: int | None = Field(sa_type=BigInteger)
    settling_most_minor: int | None = Field(sa_type=BigInteger)
    refunds_by_venue_minor: int = Field(sa_type=BigInteger)
    house_money_minor: int = Field(sa_type=BigInteger)
    test_money_minor: int = Field(sa_type=BigInteger)
    cautions: list[str] = Field(sa_type=JSON)
    advice: list[dict[str, Any]] = Field(sa_type=JSON)


class CollectedTableRow(SQLModel, table=True):
    """One table of a collection; ``meters`` are what the next one goes on from, ``told`` is its part of the answer.

    ``is_figure`` says that a money meter gave the expectation: only such make points of a chart (X1).
    """

    __tablename__ = "collected_table"
    __table_args__ = (
        CheckConstraint("place >= 0", name="place"),
        CheckConstraint("counted_minor >= 0", name="counted"),
        CheckConstraint("expected_least_minor BETWEEN 0 AND expected_most_minor", name="expected"),
    )

    collection_id: UUID = Field(primary_key=True, foreign_key="collection.id")
    pool_table_id: UUID = Field(primary_key=True, foreign_key="pool_table.id", index=True)
    place: int
    meters: dict[str, int] = Field(sa_type=JSON)
    counted_minor: int = Field(sa_type=BigInteger)
    expected_least_minor: int | None = Field(sa_type=BigInteger)
    expected_most_minor: int | None = Field(sa_type=BigInteger)
    is_figure: bool
    told: dict[str, Any] = Field(sa_type=JSON)


class DisputeRow(SQLModel, table=True):
    """Who disputes a collection, what they claim, and why (C8)."""

    __tablename__ = "dispute"
    __table_args__ = (CheckConstraint("claims <> '' AND reason <> ''", name="said"),)

    id: UUID = Field(primary_key=True)
    collection_id: UUID = Field(foreign_key="collection.id", index=True)
    raised_by: str
    claims: str
    reason: str
    raised_at: datetime = Field(sa_type=Utc)


class DisputeAnswerRow(SQLModel, table=True):
    """What was answered to a dispute, which closes it (C8)."""

    __tablename__ = "dispute_answer"
    __table_args__ = (CheckConstraint("answer <> ''", name="said"),)

    dispute_id: UUID = Field(primary_key=True, foreign_key="dispute.id")
    answered_by: str
    answer: str
    answered_at: datetime = Field(sa_type=Utc)
