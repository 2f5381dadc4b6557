"""Rows of the service itself: tokens and kept answers."""

from datetime import datetime
from typing import Literal
from uuid import UUID

from sqlalchemy import JSON, CheckConstraint, LargeBinary, false
from sqlmodel import Field, SQLModel

from ..store.db import Utc

Role = Literal["owner", "collector", "accountant", "venue", "device", "reader"]

Right = Role | Literal["poster"]
"""What an operation asks for: a role, or an accountant's token that may post (``poster``)."""

ROLES: tuple[Role, ...] = ("owner", "collector", "accountant", "venue", "device", "reader")


class TokenRow(SQLModel, table=True):
    """A bearer token of a person: only its SHA-256 is kept (the token itself has 256 random bits, so no salt is needed).

    ``first_used_at``: when a request first came with it; None of one that was never used.
    """

    __tablename__ = "token"
    __table_args__ = (
        CheckConstraint("role IN ('owner', 'collector', 'accountant', 'venue', 'device', 'reader')", name="role"),
        CheckConstraint("(role = 'venue') = (venue_id IS NOT NULL)", name="venue_bound"),
        CheckConstraint("(role = 'device') = (pool_table_id IS NOT NULL)", name="device_bound"),
    )

    id: UUID = Field(primary_key=True)
    name: str
    person: str
    role: str
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id")
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id")
    may_post: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    token_hash: str = Field(unique=True)
    made_at: datetime = Field(sa_type=Utc)
    first_used_at: datetime | None = Field(default=None, sa_type=Utc)
    expires_at: datetime | None = Field(default=None, sa_type=Utc)
    revoked_at: datetime | None = Field(default=None, sa_type=Utc)


class SheetLinkRow(SQLModel, table=True):
    """A read-only address for a sheet: only the SHA-256 of its secret is kept. ``reports``: those chosen for it."""

    __tablename__ = "sheet_link"

    id: UUID = Field(primary_key=True)
    name: str
    reports: list[str] = Field(sa_type=JSON)
    secret_hash: str = Field(unique=True)
    made_at: datetime = Field(sa_type=Utc)
    revoked_at: datetime | None = Field(default=None, sa_type=Utc)


class SheetLinkVenueRow(SQLModel, table=True):
    """A venue to which a sheet link is bound; a link without any sees all venues."""

    __tablename__ = "sheet_link_venue"

    sheet_link_id: UUID = Field(foreign_key="sheet_link.id", primary_key=True)
    venue_id: UUID = Field(foreign_key="venue.id", primary_key=True)


class SigningKeyRow(SQLModel, table=True):
    """The one key that signs links to pages."""

    __tablename__ = "signing_key"
    __table_args__ = (CheckConstraint("id = 1", name="one"),)

    id: int = Field(primary_key=True)
    key: str = Field(repr=False)


class KeptAnswerRow(SQLModel, table=True):
    """The outcome of a request with an idempotency key, kept for 48 hours; no ``body`` where only that is kept."""

    __tablename__ = "kept_answer"

    principal: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    fingerprint: str
    kept_at: datetime = Field(sa_type=Utc, index=True)
    status: int | None = None
    headers: str | None = None
    body: bytes | None = Field(default=None, sa_type=LargeBinary)
