"""Feeds of what has changed: the last change of each collection, job, keying and piece of work, in order.

- A feed has each thing once, at the number of its last change; a change moves it to the end. Who has read up to a number
  has seen the newest state of everything that changed no later, and asks again after it.
- A feed's numbers come from its counter (``feed:…``, L4): it stays locked until the transaction ends, so a number that
  is read has no number below it still to come.
- Who changes something notes it last in the transaction, after every other lock.
"""

from collections.abc import Collection
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from sqlalchemy import BigInteger, Executable, Index
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Field, Session, SQLModel

from .db import Utc
from .sequence import next_numbers

Feed = Literal["collections", "jobs", "keyings", "work"]


class LastChangeRow(SQLModel, table=True):
    """The last change of a thing: its number in the feed, and when; there is no row of what never changed."""

    __tablename__ = "last_change"
    __table_args__ = (Index("ix_last_change_number", "feed", "number", unique=True),)

    feed: str = Field(primary_key=True)
    subject_id: UUID = Field(primary_key=True)
    number: int = Field(sa_type=BigInteger)
    changed_at: datetime = Field(sa_type=Utc)


def _new_change(statement: Any) -> Executable:
    """Return the insert of a change, which takes the place of an earlier one of the same thing."""
    changed = {name: statement.excluded[name] for name in ("number", "changed_at")}
    made: Executable = statement.on_conflict_do_update(index_elements=["feed", "subject_id"], set_=changed)
    return made


_NEW_CHANGE = _new_change(sqlite.insert(LastChangeRow))
_NEW_CHANGE_ON_POSTGRESQL = _new_change(postgresql.insert(LastChangeRow))


def note_changes(session: Session, feed: Feed, ids: Collection[UUID], *, now: datetime) -> None:
    """Note that things of a feed were recorded, have changed, or are gone; they come last in the feed, in this order."""
    ordered = list(dict.fromkeys(ids))
    if not ordered:
        return
    numbers, changed_at = next_numbers(session, f"feed:{feed}", len(ordered), now=now)
    rows = [
        {"feed": feed, "subject_id": id_, "number": number, "changed_at": changed_at}
        for id_, number in zip(ordered, numbers, strict=True)
    ]
    connection = session.connection()
    connection.execute(_NEW_CHANGE if connection.dialect.name == "sqlite" else _NEW_CHANGE_ON_POSTGRESQL, rows)
