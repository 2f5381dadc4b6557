"""Order of recording: numbers that a counter gives under its own lock, never an id's time or the wall clock.

- A counter's row stays locked until the transaction ends, so numbers follow the order of commits on PostgreSQL too: who
  has seen a number has seen all below it. A transaction that fails leaves no gap.
- A counter's instants never run backwards: where the clock has gone back, or another host's clock is behind, the last
  recorded instant is given again.
- Take the counter after the locks of what is decided upon, and before the ledger's.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import bindparam, func, text
from sqlalchemy import select as select_columns
from sqlmodel import BigInteger, Field, Session, SQLModel

from .db import Utc

CLOCKS_AGREE_WITHIN = timedelta(seconds=2)
"""Two processes that take turns differ by this much at most; a clock further behind is wrong."""


class CounterRow(SQLModel, table=True):
    """A counter, the last number that it gave, and the instant of it."""

    __tablename__ = "counter"

    name: str = Field(primary_key=True)
    last: int = Field(sa_type=BigInteger)
    at: datetime = Field(sa_type=Utc)


class Recorded(NamedTuple):
    """The place of a record in the order of its kind, and the instant at which it is recorded."""

    number: int
    at: datetime


_COUNTER = SQLModel.metadata.tables["counter"]
_NEXT = (
    text(
        "INSERT INTO counter (name, last, at) VALUES (:name, :count, :now) "
        "ON CONFLICT (name) DO UPDATE SET last = counter.last + excluded.last, "
        "at = CASE WHEN counter.at > excluded.at THEN counter.at ELSE excluded.at END RETURNING last, at"
    )
    .bindparams(bindparam("now", type_=Utc()))
    .columns(_COUNTER.c.last, _COUNTER.c.at)
)
_LAST_AT = select_columns(func.max(_COUNTER.c.at))


def next_number(session: Session, name: str, *, now: datetime) -> Recorded:
    """Return the next number of a counter, from 1, and the later of now and its last instant.

    Whoever else asks waits until this transaction ends.
    """
    numbers, at = next_numbers(session, name, 1, now=now)
    return Recorded(numbers[0], at)


def next_numbers(session: Session, name: str, count: int, *, now: datetime) -> tuple[range, datetime]:
    """Return the next numbers of a counter, as ``next_number`` does one after the other; ``count`` is at least 1."""
    last, at = session.connection().execute(_NEXT, {"name": name, "count": count, "now": now}).one()
    return range(int(last) - count + 1, int(last) + 1), at


def last_recorded_at(session: Session) -> datetime | None:
    """Return the last instant at which anything was recorded, None in an empty database."""
    return session.connection().execute(_LAST_AT).scalar()
