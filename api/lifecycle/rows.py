"""How tables left the route, as stored."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import BigInteger, CheckConstraint
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class RetirementRow(SQLModel, table=True):
    """How a table left the route, with the stay that begins then; the price is in minor units of its currency."""

    __tablename__ = "retirement"
    __table_args__ = (
        CheckConstraint("how IN ('retired', 'sold', 'lost')", name="how"),
        CheckConstraint("how = 'sold' OR (price_minor IS NULL AND buyer = '')", name="sale"),
        CheckConstraint("price_minor >= 0", name="price"),
        CheckConstraint("length(currency) = 3", name="currency"),
    )

    stay_id: UUID = Field(primary_key=True, foreign_key="stay.id")
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    how: str
    retired_at: datetime = Field(sa_type=Utc)
    buyer: str = ""
    price_minor: int | None = Field(default=None, sa_type=BigInteger)
    currency: str
    entry_id: UUID | None = Field(default=None, foreign_key="ledger_entry.id")
    recorded_at: datetime = Field(sa_type=Utc)
    recorded_by: str
