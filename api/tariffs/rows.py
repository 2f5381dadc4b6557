"""Tariffs as stored."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, UniqueConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class TariffRow(SQLModel, table=True):
    """One published version of a tariff; ``terms`` are its prices as they were sent, ``advice`` what was said of them."""

    __tablename__ = "tariff"
    __table_args__ = (UniqueConstraint("code", "version"), CheckConstraint("version >= 1", name="version"))

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    code: str = Field(index=True)
    version: int
    name: str
    currency: str
    published_at: datetime = Field(sa_type=Utc)
    terms: dict[str, Any] = Field(sa_type=JSON)
    advice: list[dict[str, Any]] = Field(sa_type=JSON)
