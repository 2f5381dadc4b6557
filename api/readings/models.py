"""Readings and strikes: rows and messages.

The items of a batch are read one by one: one that cannot be read becomes an ``Unreadable`` with its own problem, and
hides none of the others (R3). In the contract an item is a ``ReadingIn`` all the same.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import MISSING, ValidationError, WrapValidator
from pydantic import Field as Limits
from sqlalchemy import JSON, BigInteger, CheckConstraint, Column, Index, Integer, text
from sqlmodel import Field, SQLModel

from api.db import Utc
from api.errors import Problem, ProblemOut, from_validation
from api.readings.words import (
    Celsius,
    CelsiusOut,
    Display,
    Flag,
    Minutes,
    Outcome,
    SettingsDay,
    ShownDate,
    Version,
    Volts,
    VoltsOut,
    Work,
)
from api.tariffs.models import Beyond, RungIn, RungOut
from api.venues.models import MeterName
from api.wire import UUID_PATTERN, Count, Day, Id, In, Instant, Name, Out, Text, TimeOfDay, Yes, must_match

BATCH_MAX = 5_000


class ReadingRow(SQLModel, table=True):
    """What somebody or something read at a table at an instant; never changed (R1).

    ``arrival`` numbers the readings in the order in which they were committed. ``sound`` ones may be judged: not from
    the future, not from before the table existed (R4). ``venue_id`` is where the table stood then.
    """

    __tablename__ = "reading"
    __table_args__ = (
        Index("ix_reading_taken", "pool_table_id", "taken_at"),
        Index("ix_reading_arrived", "pool_table_id", "arrival"),
        *(
            Index(
                f"ix_reading_{name}",
                "pool_table_id",
                "taken_at",
                sqlite_where=text(f"{name} IS NOT NULL"),
                postgresql_where=text(f"{name} IS NOT NULL"),
            )
            for name in ("done", "settings")
        ),
        CheckConstraint("battery_mv BETWEEN 1 AND 98999", name="battery"),
        CheckConstraint("temperature_tenths_c BETWEEN -999 AND 1499", name="temperature"),
        CheckConstraint("rested_minutes >= 0", name="rested"),
        CheckConstraint(
            "battery_mv IS NOT NULL OR (temperature_tenths_c IS NULL AND rested_minutes IS NULL)", name="supply"
        ),
        CheckConstraint("clock_minute BETWEEN 0 AND 1439", name="clock_minute"),
        CheckConstraint("clock_weekday BETWEEN 0 AND 6", name="clock_weekday"),
        CheckConstraint("clock_display IN ('24h', '12h')", name="clock_display"),
        CheckConstraint(
            "clock_minute IS NOT NULL OR (clock_weekday IS NULL AND clock_on IS NULL AND clock_display IS NULL)",
            name="clock",
        ),
    )

    arrival: int = Field(
        sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=False)
    )
    id: UUID = Field(unique=True)
    pool_table_id: UUID = Field(foreign_key="pool_table.id")
    venue_id: UUID | None = Field(default=None, foreign_key="venue.id")
    taken_at: datetime = Field(sa_type=Utc)
    received_at: datetime = Field(sa_type=Utc)
    sender: str
    sound: bool
    flags: list[str] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    battery_mv: int | None = None
    temperature_tenths_c: int | None = None
    rested_minutes: int | None = None
    clock_minute: int | None = None
    clock_weekday: int | None = None
    clock_on: date | None = None
    clock_display: str | None = None
    meters: dict[str, int] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    settings: dict[str, Any] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    controller_version: str | None = None
    done: list[str] | None = Field(default=None, sa_type=JSON(none_as_null=True))
    note: str = ""


class StrikeRow(SQLModel, table=True):
    """Why a reading does not count; the reading itself stays (R1)."""

    __tablename__ = "reading_strike"

    reading_id: UUID = Field(primary_key=True, foreign_key="reading.id")
    reason: str
    struck_at: datetime = Field(sa_type=Utc)
    struck_by: str


class SupplyIn(In):
    """The supply voltage, and if known the battery's temperature and for how long it had been at rest."""

    volts: Volts
    temperature_c: Celsius | MISSING = MISSING
    rested_minutes: Minutes | MISSING = MISSING


class ClockIn(In):
    """What the table's clock showed; a ``12h`` display does not tell am from pm, and where none is named it is ``24h``."""

    time: TimeOfDay
    weekday: Day | MISSING = MISSING
    date: ShownDate | MISSING = MISSING
    display: Display | MISSING = MISSING


class FoundLadderIn(In):
    """The rungs found of one kind."""

    rungs: Annotated[list[RungIn], Limits(min_length=1, max_length=50)]
    beyond: Beyond | MISSING = MISSING


class FoundWindowIn(In):
    """What the controller sells from one time of its day to another (equal: all day); a kind that is null is not sold.

    A sheet's own windows can be sent back as they are.
    """

    from_: TimeOfDay = Limits(alias="from")
    to: TimeOfDay
    free: Yes | MISSING = MISSING
    games: FoundLadderIn | None | MISSING = MISSING
    minutes: FoundLadderIn | None | MISSING = MISSING


class FoundDayIn(In):
    """The settings found of one of the controller's days; what its windows leave out is closed."""

    day: SettingsDay
    windows: Annotated[list[FoundWindowIn], Limits(max_length=48)]


class FoundSettingsIn(In):
    """Settings as found in the controller, in the shape of the settings sheet."""

    days: Annotated[list[FoundDayIn], Limits(min_length=1, max_length=400)]


class ReadingIn(In):
    """One reading: which table, when, and what was observed. The sender makes the id."""

    id: Id
    table_id: Id
    taken_at: Instant
    supply: SupplyIn | MISSING = MISSING
    clock: ClockIn | MISSING = MISSING
    meters: Annotated[dict[MeterName, Count], Limits(max_length=20)] | MISSING = MISSING
    settings: FoundSettingsIn | MISSING = MISSING
    controller_version: Version | MISSING = MISSING
    done: Annotated[list[Work], Limits(max_length=6)] | MISSING = MISSING
    note: Text | MISSING = MISSING


@dataclass(frozen=True, slots=True)
class Unreadable:
    """An item that is no reading: why, and its id where it has one."""

    id: UUID | None
    problem: Problem


def _one_by_one(value: Any, read: Callable[[Any], ReadingIn]) -> ReadingIn | Unreadable:
    try:
        return read(value)
    except ValidationError as error:
        return Unreadable(_usable_id(value), from_validation(error.errors(include_url=False)))


def _usable_id(item: Any) -> UUID | None:
    try:
        return UUID(must_match(item["id"], UUID_PATTERN, "a UUID"))
    except (KeyError, TypeError, IndexError, ValueError):
        return None


class ReadingsIn(In):
    """A batch of readings, each judged on its own."""

    readings: Annotated[list[Annotated[ReadingIn, WrapValidator(_one_by_one)]], Limits(max_length=BATCH_MAX)]


class ReadingResultOut(Out):
    """What became of one item. ``id`` is null where it had none that can be read."""

    id: Id | None
    outcome: Outcome
    flags: list[Flag]
    problem: ProblemOut | None


class ReadingResultsOut(Out):
    """One outcome an item, in order; what is ``recorded`` or a ``duplicate`` is stored."""

    results: list[ReadingResultOut]
    recorded: int
    duplicate: int
    refused: int


class SupplyOut(Out):
    """The supply voltage as read."""

    volts: VoltsOut
    temperature_c: CelsiusOut | None
    rested_minutes: int | None


class ClockOut(Out):
    """What the table's clock showed."""

    time: TimeOfDay
    weekday: Day | None
    date: ShownDate | None
    display: Display | None


class FoundLadderOut(Out):
    """The rungs found of one kind."""

    rungs: list[RungOut]
    beyond: Beyond


class FoundWindowOut(Out):
    """What the controller sells from one time of its day to another; a kind that is null is not sold."""

    from_: Annotated[TimeOfDay, Limits(alias="from")]
    to: TimeOfDay
    free: bool
    games: FoundLadderOut | None
    minutes: FoundLadderOut | None


class FoundDayOut(Out):
    """The settings found of one of the controller's days."""

    day: str
    windows: list[FoundWindowOut]


class FoundSettingsOut(Out):
    """Settings as found in the controller."""

    days: list[FoundDayOut]


class StruckOut(Out):
    """Why and when a reading was struck, and by whom."""

    reason: str
    struck_at: Instant
    struck_by: str


class ReadingOut(Out):
    """A reading as recorded, with the venue where the table stood then (null: the workshop)."""

    id: Id
    table_id: Id
    venue_id: Id | None
    taken_at: Instant
    received_at: Instant
    sender: str
    supply: SupplyOut | None
    clock: ClockOut | None
    meters: dict[str, Count]
    settings: FoundSettingsOut | None
    controller_version: str | None
    done: list[Work]
    note: str
    flags: list[Flag]
    struck: StruckOut | None


class StrikeIn(In):
    """Why a reading is wrong."""

    reason: Name
