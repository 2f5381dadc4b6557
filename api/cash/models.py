"""Rows of cash: agreements, collections and their tables, settlements, reversals, disputes and their answers.

- All are only ever added: triggers of the database refuse every change (C5, D3).
- A collection has the sender's id, so that it is stored once; one settlement and one reversal at most.
- What a collection found and what a settlement said is kept as it was told, with the sums in columns of their own.
"""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from api.db import Utc


class AgreementRow(SQLModel, table=True):
    """One published version of a venue's agreement; ``terms`` are as they were sent (D3)."""

    __tablename__ = "agreement"
    __table_args__ = (UniqueConstraint("venue_id", "version"), CheckConstraint("version >= 1", name="version"))

    id: UUID = Field(primary_key=True)
    venue_id: UUID = Field(foreign_key="venue.id")
    version: int
    currency: str
    effective_on: date
    published_at: datetime = Field(sa_type=Utc)
    terms: dict[str, Any] = Field(sa_type=JSON)


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


class SettlementRow(SQLModel, table=True):
    """How a collection was divided, by which version of the agreement, and the ledger's entry for it (none: all zero).

    ``carried_in`` and ``carried_forward`` are lists of claims, ``reckoned`` the periods whose first money it claimed,
    ``loan_before_minor`` what the venue owed.
    """

    __tablename__ = "settlement"
    __table_args__ = (
        UniqueConstraint("collection_id"),
        CheckConstraint("gross_minor >= 0 AND taxed_minor >= 0 AND tax_minor >= 0", name="amounts"),
        CheckConstraint(
            "venue_share_minor = loan_repaid_minor + to_venue_now_minor + to_venue_balance_minor", name="venue_share"
        ),
    )

    id: UUID = Field(primary_key=True)
    collection_id: UUID = Field(foreign_key="collection.id")
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    trading_on: date = Field(index=True)
    settled_at: datetime = Field(sa_type=Utc)
    agreement_id: UUID = Field(foreign_key="agreement.id")
    agreement_version: int
    entry_id: UUID | None = Field(default=None, foreign_key="ledger_entry.id")
    gross_minor: int = Field(sa_type=BigInteger)
    tax_area: str | None
    tax_rate: str | None
    taxed_minor: int = Field(sa_type=BigInteger)
    tax_minor: int = Field(sa_type=BigInteger)
    venue_share_minor: int = Field(sa_type=BigInteger)
    operator_share_minor: int = Field(sa_type=BigInteger)
    loan_before_minor: int = Field(sa_type=BigInteger)
    loan_repaid_minor: int = Field(sa_type=BigInteger)
    to_venue_now_minor: int = Field(sa_type=BigInteger)
    to_venue_balance_minor: int = Field(sa_type=BigInteger)
    to_bag_minor: int = Field(sa_type=BigInteger)
    lines: list[dict[str, Any]] = Field(sa_type=JSON)
    carried_in: list[dict[str, Any]] = Field(sa_type=JSON)
    carried_forward: list[dict[str, Any]] = Field(sa_type=JSON)
    reckoned: list[dict[str, Any]] = Field(sa_type=JSON)
    advice: list[dict[str, Any]] = Field(sa_type=JSON)


class ReversalRow(SQLModel, table=True):
    """Why and by whom a collection was taken back, and the mirror image of its entry."""

    __tablename__ = "reversal"
    __table_args__ = (UniqueConstraint("collection_id"), CheckConstraint("reason <> ''", name="reason"))

    id: UUID = Field(primary_key=True)
    collection_id: UUID = Field(foreign_key="collection.id")
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    reason: str
    reversed_at: datetime = Field(sa_type=Utc)
    reversed_by: str
    entry_id: UUID | None = Field(default=None, foreign_key="ledger_entry.id")


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
