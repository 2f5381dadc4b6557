"""Tokens and kept answers, as stored and as sent."""

from datetime import datetime
from typing import Annotated, Literal
from uuid import UUID

from pydantic import MISSING
from sqlalchemy import CheckConstraint, LargeBinary
from sqlmodel import Field, SQLModel

from api.db import Utc
from api.wire import Id, In, Instant, Name, Out

Role = Literal["owner", "collector", "accountant", "venue", "device"]
ROLES: tuple[Role, ...] = ("owner", "collector", "accountant", "venue", "device")


class TokenRow(SQLModel, table=True):
    """A bearer token: only its SHA-256 is kept (the token itself has 256 random bits, so no salt is needed)."""

    __tablename__ = "token"
    __table_args__ = (
        CheckConstraint("role IN ('owner', 'collector', 'accountant', 'venue', 'device')", name="role"),
        CheckConstraint("(role = 'venue') = (venue_id IS NOT NULL)", name="venue_bound"),
        CheckConstraint("(role = 'device') = (pool_table_id IS NOT NULL)", name="device_bound"),
    )

    id: UUID = Field(primary_key=True)
    name: str
    role: str
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id")
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id")
    token_hash: str = Field(unique=True)
    made_at: datetime = Field(sa_type=Utc)
    expires_at: datetime | None = Field(default=None, sa_type=Utc)
    revoked_at: datetime | None = Field(default=None, sa_type=Utc)


class KeptAnswerRow(SQLModel, table=True):
    """The answer to a request with an idempotency key, kept to be replayed."""

    __tablename__ = "kept_answer"

    asker: str = Field(primary_key=True)
    key: str = Field(primary_key=True)
    fingerprint: str
    kept_at: datetime = Field(sa_type=Utc)
    status: int | None = None
    headers: str | None = None
    body: bytes | None = Field(default=None, sa_type=LargeBinary)


class TokenIn(In):
    """A token to make: a venue's names its venue, a device's its table, the others neither."""

    name: Name
    role: Role
    venue_id: Annotated[Id | MISSING, Field(description="Of role venue: the venue.")] = MISSING
    table_id: Annotated[Id | MISSING, Field(description="Of role device: the table.")] = MISSING
    expires_at: Instant | MISSING = MISSING


class NewTokenOut(Out):
    """A token just made: it is shown this once."""

    id: Id
    token: str


class TokenOut(Out):
    """A token as listed: never the token itself."""

    id: Id
    name: str
    role: Role
    venue_id: Id | None
    table_id: Id | None
    made_at: Instant
    expires_at: Instant | None
    revoked_at: Instant | None
