"""The operator's levels and tolerances as stored."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class SettingsRow(SQLModel, table=True):
    """The operator's levels and tolerances: one row, or no row while all are the defaults; ``terms`` are as sent."""

    __tablename__ = "operator_settings"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: int = Field(default=1, primary_key=True)
    terms: dict[str, Any] = Field(sa_type=JSON)
    revision: int = 1
    changed_at: datetime = Field(sa_type=Utc)
