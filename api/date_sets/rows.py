"""Sets of dates as stored."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class DateSetRow(SQLModel, table=True):
    """An owner's own set of dates by its name; ``dates`` are ``{on, name}``, by date."""

    __tablename__ = "date_set"

    name: str = Field(primary_key=True)
    dates: list[dict[str, Any]] = Field(sa_type=JSON)
    changed_at: datetime = Field(sa_type=Utc)
