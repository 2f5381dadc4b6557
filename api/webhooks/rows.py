"""Endpoints and the outbox as stored."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import JSON, CheckConstraint, Index
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class WebhookEndpointRow(SQLModel, table=True):
    """An address that receives events of some types, at some venues (None: all).

    The secret is kept as it is, for it signs every message; the one before it signs too until ``previous_until``.
    ``failures`` are those in a row since ``failing_since``; nothing is sent before ``rests_until``.
    """

    __tablename__ = "webhook_endpoint"
    __table_args__ = (
        CheckConstraint("off_because IN ('owner', 'gone', 'failing')", name="off_because"),
        CheckConstraint("(off_because IS NULL) = (off_since IS NULL)", name="off"),
    )

    id: UUID = Field(primary_key=True)
    name: str
    url: str
    event_types: list[str] = Field(sa_type=JSON)
    venue_ids: list[str] | None = Field(default=None, sa_type=JSON)
    secret: str = Field(repr=False)
    previous_secret: str | None = Field(default=None, repr=False)
    previous_until: datetime | None = Field(default=None, sa_type=Utc)
    made_at: datetime = Field(sa_type=Utc)
    off_since: datetime | None = Field(default=None, sa_type=Utc)
    off_because: str | None = None
    failures: int = 0
    failing_since: datetime | None = Field(default=None, sa_type=Utc)
    rests_until: datetime | None = Field(default=None, sa_type=Utc)


class WebhookDeliveryRow(SQLModel, table=True):
    """An event on its way to an endpoint: written with what happened, sent afterwards, purged when it is old.

    ``event_id`` is the same at every endpoint and every try. No foreign keys: what is recorded at a table never fails or
    waits because of a webhook, and what an event is about may be gone.
    """

    __tablename__ = "webhook_delivery"
    __table_args__ = (
        Index("ix_webhook_delivery_due", "endpoint_id", "state", "next_at"),
        CheckConstraint("state IN ('waiting', 'delivered', 'gave_up')", name="state"),
        CheckConstraint("(state = 'waiting') = (next_at IS NOT NULL)", name="next"),
    )

    id: UUID = Field(primary_key=True)
    event_id: UUID
    endpoint_id: UUID
    type: str
    subject_id: UUID
    venue_id: UUID | None = None
    table_id: UUID | None = None
    happened_at: datetime = Field(sa_type=Utc)
    queued_at: datetime = Field(sa_type=Utc)
    state: str = "waiting"
    tries: int = 0
    next_at: datetime | None = Field(default=None, sa_type=Utc)
    give_up_at: datetime = Field(sa_type=Utc)
    tried_at: datetime | None = Field(default=None, sa_type=Utc)
    status: int | None = None
    says: str = ""


DELIVERY = SQLModel.metadata.tables["webhook_delivery"]
ENDPOINT = SQLModel.metadata.tables["webhook_endpoint"]
