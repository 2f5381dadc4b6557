"""Agreements, settlements and reversals as stored."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from ..store.db import Utc


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


CARRYING = " OR ".join(f"CAST({name} AS TEXT) <> '[]'" for name in ("carried_in", "carried_forward", "reckoned"))
"""The condition that a settlement has a claim or a reckoned period, as far as the next goes on from it."""


class SettlementRow(SQLModel, table=True):
    """How a collection was divided, by which version of the agreement, and the ledger's entry for it (null: all zero).

    ``carried_in`` and ``carried_forward`` are lists of claims, ``reckoned`` the periods whose first money it claimed,
    ``loan_before_minor`` what the venue owed, ``sequence`` the order of recording (counter ``cash``).
    """

    __tablename__ = "settlement"
    __table_args__ = (
        UniqueConstraint("collection_id"),
        Index(
            "ix_settlement_carrying",
            "venue_id",
            "sequence",
            sqlite_where=text(CARRYING),
            postgresql_where=text(CARRYING),
        ),
        CheckConstraint("gross_minor >= 0 AND taxed_minor >= 0 AND tax_minor >= 0", name="amounts"),
        CheckConstraint(
            "venue_share_minor = loan_repaid_minor + to_venue_now_minor + to_venue_balance_minor", name="venue_share"
        ),
    )

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
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
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    collection_id: UUID = Field(foreign_key="collection.id")
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    reason: str
    reversed_at: datetime = Field(sa_type=Utc)
    reversed_by: str
    entry_id: UUID | None = Field(default=None, foreign_key="ledger_entry.id")
