"""Schedules and keyings: rows and messages."""

from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import MISSING
from pydantic import Field as Limits
from sqlalchemy import JSON, CheckConstraint
from sqlmodel import Field, SQLModel

from api.db import Utc
from api.wire import Date, Day, Id, In, Instant, LocalInstant, Name, Out, Text, TimeOfDay, Yes

EntryKind = Literal["base", "weekly", "recurring", "date"]
Basis = Literal["listed", "keyed"]
Owner = Literal["venue", "table"]


class ScheduleRow(SQLModel, table=True):
    """A published schedule of a venue, or of one table during one stay there; ``terms`` are its entries as sent."""

    __tablename__ = "schedule"
    __table_args__ = (
        CheckConstraint("(pool_table_id IS NULL) = (stay_id IS NULL)", name="stay_of_table"),
        CheckConstraint("pool_table_id IS NOT NULL OR NOT follow_venue", name="only_tables_follow"),
    )

    id: UUID = Field(primary_key=True)
    venue_id: UUID = Field(foreign_key="venue.id", index=True)
    pool_table_id: UUID | None = Field(default=None, foreign_key="pool_table.id", index=True)
    stay_id: UUID | None = Field(default=None, foreign_key="stay.id", index=True)
    effective_on: date
    published_at: datetime = Field(sa_type=Utc)
    follow_venue: bool = False
    terms: dict[str, Any] = Field(sa_type=JSON)


class KeyingRow(SQLModel, table=True):
    """A schedule keyed into a table, by whom and when (W8)."""

    __tablename__ = "keying"

    id: UUID = Field(primary_key=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id", index=True)
    stay_id: UUID = Field(foreign_key="stay.id", index=True)
    schedule_id: UUID = Field(foreign_key="schedule.id")
    keyed_at: datetime = Field(sa_type=Utc)
    keyed_by: str
    note: str = ""
    recorded_at: datetime = Field(sa_type=Utc)


DaysOfWeek = Annotated[list[Day], Limits(min_length=1, max_length=7, json_schema_extra={"uniqueItems": True})]


class WeeklyIn(In):
    """A window on days of every week; without ``from`` from the trading day's start, without ``to`` to its end."""

    name: Name
    days: DaysOfWeek
    from_: TimeOfDay | MISSING = Limits(default=MISSING, alias="from")
    to: TimeOfDay | MISSING = MISSING
    tariff: Id | None


class RecurringIn(In):
    """A window on the dates of an RFC 5545 recurrence, but for the excepted ones."""

    name: Name
    starts_on: Date
    rrule: Annotated[str, Limits(min_length=1, max_length=500, pattern=r"^[A-Za-z0-9=;,+-]+$")]
    except_on: Annotated[list[Date], Limits(max_length=1000)] | MISSING = MISSING
    from_: TimeOfDay | MISSING = Limits(default=MISSING, alias="from")
    to: TimeOfDay | MISSING = MISSING
    tariff: Id | None


class OnDateIn(In):
    """A window on one trading date; without times it is that whole day's."""

    name: Name
    on: Date
    from_: TimeOfDay | MISSING = Limits(default=MISSING, alias="from")
    to: TimeOfDay | MISSING = MISSING
    tariff: Id | None


Weekly = Annotated[list[WeeklyIn], Limits(max_length=200)]
Recurring = Annotated[list[RecurringIn], Limits(max_length=50)]
Dates = Annotated[list[OnDateIn], Limits(max_length=1000)]


class ScheduleIn(In):
    """A schedule to publish: what holds when nothing else does (null: closed), and the windows that beat it."""

    effective_on: Date
    base: Id | None
    weekly: Weekly | MISSING = MISSING
    recurring: Recurring | MISSING = MISSING
    dates: Dates | MISSING = MISSING


class TableScheduleIn(In):
    """A schedule of one table's own, or ``follow_venue``: true to end it."""

    effective_on: Date
    follow_venue: Yes | MISSING = MISSING
    base: Id | None | MISSING = MISSING
    weekly: Weekly | MISSING = MISSING
    recurring: Recurring | MISSING = MISSING
    dates: Dates | MISSING = MISSING


class WeeklyOut(Out):
    """A window on days of every week."""

    name: str
    days: list[Day]
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None


class RecurringOut(Out):
    """A window on the dates of a recurrence."""

    name: str
    starts_on: Date
    rrule: str
    except_on: list[Date]
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None


class OnDateOut(Out):
    """A window on one date."""

    name: str
    on: Date
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None


class ScheduleOut(Out):
    """A published schedule, of a venue or of one table."""

    id: Id
    venue_id: Id
    table_id: Id | None
    effective_on: Date
    published_at: Instant
    follow_venue: bool
    base: Id | None
    weekly: list[WeeklyOut]
    recurring: list[RecurringOut]
    dates: list[OnDateOut]


class RolloutIn(In):
    """The tariff that takes another's place from a trading date on, at some venues or at all."""

    replacement: Id
    effective_on: Date
    venue_ids: Annotated[list[Id], Limits(min_length=1, max_length=1000)] | MISSING = MISSING


class RolloutOut(Out):
    """The schedules that a roll-out published, or would publish."""

    tariff: Id
    replacement: Id
    effective_on: Date
    schedules: list[ScheduleOut]


class KeyingIn(In):
    """A schedule that somebody keyed into a table."""

    schedule_id: Id
    keyed_at: Instant
    by: Name
    note: Text | MISSING = MISSING


class KeyingOut(Out):
    """A keying as recorded."""

    id: Id
    table_id: Id
    schedule_id: Id
    keyed_at: Instant
    by: str
    note: str


class TariffRefOut(Out):
    """Which version of which tariff."""

    id: Id
    code: str
    version: int


class SpanOut(Out):
    """A stretch of a trading day in which one entry holds; no tariff is closed."""

    from_at: LocalInstant
    to_at: LocalInstant
    from_local: TimeOfDay
    to_local: TimeOfDay
    name: str
    kind: EntryKind
    of: Owner
    schedule_id: Id
    tariff: TariffRefOut | None


class WeekDayOut(Out):
    """One trading day, resolved."""

    on: Date
    day: Day
    spans: list[SpanOut]


class WeekOut(Out):
    """The trading week of a date, Monday first."""

    venue_id: Id
    table_id: Id | None
    basis: Basis
    days: list[WeekDayOut]
