"""What an import remembers: the lines that it stored, and how a shape of file was read."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, CheckConstraint, String
from sqlmodel import Field, SQLModel

from ..store.db import Utc


class ImportLineRow(SQLModel, table=True):
    """What was stored of a line, or of the lines that belong together.

    ``id`` comes from the kind and the line's key, ``digest`` from all that it said; ``subject_id`` is what was made of
    it: a venue, a table, a reading, … ``revision`` counts from 1; a corrected line has the next.
    """

    __tablename__ = "import_line"
    __table_args__ = (CheckConstraint("revision >= 1", name="revision"),)

    id: UUID = Field(primary_key=True)
    kind: str = Field(sa_type=String)
    digest: str
    subject_id: UUID
    revision: int = 1
    imported_at: datetime = Field(sa_type=Utc)


class ImportShapeRow(SQLModel, table=True):
    """How the columns of a shape of file were read: each header's field (``-``: left out), and the rules stated."""

    __tablename__ = "import_shape"

    shape: str = Field(primary_key=True)
    columns: dict[str, Any] = Field(sa_type=JSON)
    dates: str | None = None
    decimals: str | None = None
    imported_at: datetime = Field(sa_type=Utc)


IMPORT_LINE = SQLModel.metadata.tables[ImportLineRow.__tablename__]
