"""Order of recording: numbers that a counter gives under its own lock, never an id's time or the wall clock.

- A counter's row stays locked until the transaction ends, so numbers follow the order of commits on PostgreSQL too: who
  has seen a number has seen all below it. A transaction that fails leaves no gap.
- Take the counter after the locks of what is decided upon, and before the ledger's.
"""

from sqlalchemy import text
from sqlmodel import BigInteger, Field, Session, SQLModel


class CounterRow(SQLModel, table=True):
    """A counter and the last number that it gave."""

    __tablename__ = "counter"

    name: str = Field(primary_key=True)
    last: int = Field(sa_type=BigInteger)


_NEXT = text(
    "INSERT INTO counter (name, last) VALUES (:name, :count) "
    "ON CONFLICT (name) DO UPDATE SET last = counter.last + :count RETURNING last"
)


def next_number(session: Session, name: str) -> int:
    """Return the next number of a counter, from 1; whoever else asks waits until this transaction ends."""
    return next_numbers(session, name, 1)[0]


def next_numbers(session: Session, name: str, count: int) -> range:
    """Return the next numbers of a counter, as ``next_number`` does one after the other; ``count`` is at least 1."""
    last = int(session.execute(_NEXT, {"name": name, "count": count}).scalar_one())
    return range(last - count + 1, last + 1)
