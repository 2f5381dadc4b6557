"""Collections as stored: what was counted, and what was expected when it was recorded."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import JSON, BigInteger, CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from ..store.db import Utc

FACTS_VERSION = 1
"""How the lists of a collected table are written: counts and weights as pairs of minor units and number or grams,
other things as pairs of name and number."""


class CollectionRow(SQLModel, table=True):
    """One collection; ``corrects_id`` is the reversed one whose place it takes.

    ``expected`` and ``difference`` are those of the tables that had an expectation, as judged when it was recorded: the
    answer judges again. ``sequence`` gives the order of recording, of settlements and reversals
    too (counter ``cash``); ``record_id`` is what a page ends with; ``is_late`` tells that a later collection was there
    already. ``facts_digest`` covers this row, its tables and the digest of the collection recorded before it.
    """

    __tablename__ = "collection"
    __table_args__ = (
        UniqueConstraint("record_id"),
        UniqueConstraint("corrects_id"),
        Index(None, "venue_id", "collected_at"),
        Index(None, "id", "collected_at"),
        CheckConstraint("length(currency) = 3", name="currency"),
        CheckConstraint("counted_minor >= 0", name="counted"),
        CheckConstraint(
            "refunds_by_venue_minor >= 0 AND house_money_minor >= 0 AND test_money_minor >= 0", name="returns"
        ),
        CheckConstraint("expected_least_minor BETWEEN 0 AND expected_most_minor", name="expected"),
        CheckConstraint("(expected_least_minor IS NULL) = (difference_minor IS NULL)", name="difference"),
    )

    id: UUID = Field(primary_key=True)
    record_id: UUID
    facts_digest: str = ""
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    venue_id: UUID = Field(foreign_key="venue.id")
    currency: str
    collected_at: datetime = Field(sa_type=Utc, index=True)
    trading_on: date
    received_at: datetime = Field(sa_type=Utc)
    recorded_by: str
    collector: str = Field(index=True)
    witness: str = ""
    bag: str = Field(default="", index=True)
    seal: str = ""
    corrects_id: UUID | None = Field(default=None, foreign_key="collection.id")
    is_late: bool = False
    counted_minor: int = Field(sa_type=BigInteger)
    expected_least_minor: int | None = Field(sa_type=BigInteger)
    expected_most_minor: int | None = Field(sa_type=BigInteger)
    difference_minor: int | None = Field(sa_type=BigInteger)
    refunds_by_venue_minor: int = Field(sa_type=BigInteger)
    house_money_minor: int = Field(sa_type=BigInteger)
    test_money_minor: int = Field(sa_type=BigInteger)


_EMPTIED_BEFORE = "emptied_before_at IS NOT NULL"
"""The condition that a collection states an emptying before it: few do."""


class CollectedTableRow(SQLModel, table=True):
    """One table of a collection: facts of the count, and (``since_at``, ``meters_before``, ``expected``,
    ``difference``, ``is_figure``, ``cautions``) its judgement when it was recorded.

    ``meters`` are what the next one goes on from. ``facts_version`` says how ``counts``, ``weighed_g`` and ``other`` are
    written. ``is_figure`` tells that a money meter gave the expectation.
    """

    __tablename__ = "collected_table"
    __table_args__ = (
        Index(None, "pool_table_id", "collection_id"),
        Index(
            "ix_collected_table_emptied_before",
            "pool_table_id",
            sqlite_where=text(_EMPTIED_BEFORE),
            postgresql_where=text(_EMPTIED_BEFORE),
        ),
        CheckConstraint("place >= 0", name="place"),
        CheckConstraint("counted_minor >= 0", name="counted"),
        CheckConstraint("expected_least_minor BETWEEN 0 AND expected_most_minor", name="expected"),
        CheckConstraint(
            "refunds_from_box_minor >= 0 AND refunds_by_venue_minor >= 0 AND test_games >= 0 AND test_money_minor >= 0 "
            "AND house_money_minor >= 0",
            name="returns",
        ),
    )

    collection_id: UUID = Field(primary_key=True, foreign_key="collection.id")
    pool_table_id: UUID = Field(primary_key=True, foreign_key="pool_table.id")
    place: int
    facts_version: int = FACTS_VERSION
    meters: dict[str, int] = Field(sa_type=JSON)
    counts: list[tuple[int, int]] = Field(sa_type=JSON)
    weighed_g: list[tuple[int, str]] = Field(sa_type=JSON)
    other: list[tuple[str, int]] = Field(sa_type=JSON)
    refunds_from_box_minor: int = Field(sa_type=BigInteger)
    refunds_by_venue_minor: int = Field(sa_type=BigInteger)
    test_games: int = Field(sa_type=BigInteger)
    test_money_minor: int = Field(sa_type=BigInteger)
    house_money_minor: int = Field(sa_type=BigInteger)
    emptied_before_at: datetime | None = Field(default=None, sa_type=Utc)
    emptied_before_meters: dict[str, int] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    counted_minor: int = Field(sa_type=BigInteger)
    since_at: datetime | None = Field(default=None, sa_type=Utc)
    meters_before: dict[str, int] = Field(sa_type=JSON)
    expected_least_minor: int | None = Field(sa_type=BigInteger)
    expected_most_minor: int | None = Field(sa_type=BigInteger)
    difference_minor: int | None = Field(default=None, sa_type=BigInteger)
    is_figure: bool
    cautions: list[str] = Field(sa_type=JSON)


class DisputeRow(SQLModel, table=True):
    """Who disputes a collection, what they claim, and why (C8)."""

    __tablename__ = "dispute"
    __table_args__ = (CheckConstraint("claims <> '' AND reason <> ''", name="said"),)

    id: UUID = Field(primary_key=True)
    sequence: int = Field(sa_type=BigInteger, index=True, unique=True)
    collection_id: UUID = Field(foreign_key="collection.id", index=True)
    raised_by: str
    claims: str
    reason: str
    raised_at: datetime = Field(sa_type=Utc)


class DisputeAnswerRow(SQLModel, table=True):
    """The answer to a dispute, which closes it (C8)."""

    __tablename__ = "dispute_answer"
    __table_args__ = (CheckConstraint("answer <> ''", name="said"),)

    dispute_id: UUID = Field(primary_key=True, foreign_key="dispute.id")
    answered_by: str
    answer: str
    answered_at: datetime = Field(sa_type=Utc)
