"""Which tables were touched since they were last looked at: a note for each, written with what touched them.

- Whoever records something notes what it touched, in the same transaction and at the price of one insert.
- A note names a table, or a venue and so every table that stands there, or neither and so every table.
- Whoever assesses a table takes away the notes that its snapshot saw, when it saves: later notes stay. A note's id is
  never given again.
"""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import BigInteger, Column, Integer
from sqlmodel import Field, Session, SQLModel


class TouchedRow(SQLModel, table=True):
    """A table, the tables of a venue, or (neither) all tables of which something was recorded."""

    __tablename__ = "touched"
    __table_args__ = {"sqlite_autoincrement": True}

    id: int | None = Field(
        default=None, sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True)
    )
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id", index=True)
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id", index=True)


class ToReckonRow(SQLModel, table=True):
    """The same, for whoever works out again what tables earned: its notes are its own, for it takes them away."""

    __tablename__ = "to_reckon"
    __table_args__ = {"sqlite_autoincrement": True}

    id: int | None = Field(
        default=None, sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True)
    )
    pool_table_id: UUID | None = Field(default=None, index=True)
    venue_id: UUID | None = None


_TO_RECKON = SQLModel.metadata.tables["to_reckon"].insert()
_NOTE = SQLModel.metadata.tables["touched"].insert()


def note_tables(session: Session, table_ids: Collection[UUID]) -> None:
    """Note that something was recorded of some tables."""
    if table_ids:
        for note in (_NOTE, _TO_RECKON):
            session.connection().execute(note, [{"pool_table_id": table_id} for table_id in table_ids])


def note_for_assessment(session: Session, table_ids: Collection[UUID]) -> None:
    """Note that some tables are to be assessed although nothing was recorded of them."""
    if table_ids:
        session.connection().execute(_NOTE, [{"pool_table_id": table_id} for table_id in table_ids])


def note_venues(session: Session, venue_ids: Collection[UUID]) -> None:
    """Note that something was recorded that concerns every table at some venues."""
    if venue_ids:
        for note in (_NOTE, _TO_RECKON):
            session.connection().execute(note, [{"venue_id": venue_id} for venue_id in venue_ids])


def note_all(session: Session) -> None:
    """Note that something was recorded that concerns every table."""
    for note in (_NOTE, _TO_RECKON):
        session.connection().execute(note, [{}])
