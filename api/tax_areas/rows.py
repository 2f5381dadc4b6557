"""Tax areas as stored."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class TaxAreaRow(SQLModel, table=True):
    """A tax area and its dated rates; rates are added, never changed."""

    __tablename__ = "tax_area"

    code: str = Field(primary_key=True)
    name: str
    rates: list[dict[str, Any]] = Field(sa_type=JSON)
    made_at: datetime = Field(sa_type=Utc)
