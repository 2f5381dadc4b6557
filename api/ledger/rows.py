"""The books as stored."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import BigInteger, CheckConstraint, ForeignKeyConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class EntryRow(SQLModel, table=True):
    """One entry of the journal, sealed by its hash (L3); ``number`` counts from 1 in the order of commits (L4)."""

    __tablename__ = "ledger_entry"
    __table_args__ = (
        UniqueConstraint("id"),
        UniqueConstraint("kind", "source_id"),
        Index(
            "ix_ledger_entry_bags",
            "number",
            sqlite_where=text("bags IS NOT NULL"),
            postgresql_where=text("bags IS NOT NULL"),
        ),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("length(currency) = 3", name="currency"),
        CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name="hashes"),
    )

    number: int = Field(primary_key=True, sa_type=BigInteger, sa_column_kwargs={"autoincrement": False})
    id: UUID
    kind: str
    booked_on: date = Field(index=True)
    recorded_at: datetime = Field(sa_type=Utc)
    currency: str
    reference: str
    source_id: UUID | None = Field(index=True)
    previous_hash: str
    hash: str
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id", index=True)
    source_digest: str | None = None
    bags: str | None = None


class PostingRow(SQLModel, table=True):
    """One line of an entry, in its place; minor units of the entry's currency, debit positive."""

    __tablename__ = "ledger_posting"
    __table_args__ = (
        ForeignKeyConstraint(["entry_number"], ["ledger_entry.number"], deferrable=True, initially="DEFERRED"),
        Index(None, "venue_id", "account"),
        CheckConstraint("place >= 0", name="place"),
        CheckConstraint("amount_minor <> 0", name="amount"),
    )

    entry_number: int = Field(primary_key=True, sa_type=BigInteger, sa_column_kwargs={"autoincrement": False})
    place: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    account: str
    venue_id: UUID | None = Field(foreign_key="venue.id")
    amount_minor: int = Field(sa_type=BigInteger)


class RecordDigestRow(SQLModel, table=True):
    """The digest of a record that bears money and that no entry need book: kept when it is recorded, never changed.

    ``kind`` names the record's table, ``subject_id`` its key there; ``digest`` also covers the digest with the number before.
    """

    __tablename__ = "record_digest"
    __table_args__ = (
        UniqueConstraint("kind", "subject_id"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("kind IN ('agreement', 'job_done', 'retirement', 'reversal')", name="kind"),
    )

    number: int = Field(primary_key=True, sa_type=BigInteger, sa_column_kwargs={"autoincrement": False})
    kind: str
    subject_id: UUID
    digest: str


class AccountNameRow(SQLModel, table=True):
    """What the operator's own chart calls an account, or one venue's leaf of it (``owed_to_venues:<venue id>``)."""

    __tablename__ = "ledger_account_name"

    code: str = Field(primary_key=True)
    name: str
