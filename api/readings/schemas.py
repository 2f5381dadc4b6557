"""Readings as sent and received.

What nothing near a table can show is refused; what is merely odd is kept (and flagged elsewhere).
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import (
    MISSING,
    BeforeValidator,
    Field,
    PlainSerializer,
    StrictInt,
    WithJsonSchema,
    WrapValidator,
)
from pydantic import Field as Limits

from ..pool_tables.schemas import MeterName
from ..pricing.ladder import Counting
from ..pricing.week import Weekday
from ..tariffs.schemas import PriceIn, PriceOut
from ..web.batch import WHY_REFUSED, ItemOutcome, one_by_one
from ..web.errors import ProblemOut
from ..web.schema_types import (
    Count,
    Id,
    In,
    Instant,
    Out,
    PageOf,
    Text,
    TimeOfDay,
    VoidedOut,
    Yes,
    must_be_date,
    must_match,
)

VOLTS_PATTERN = r"^(([1-9]|[1-8][0-9]|9[0-8])(\.[0-9]{1,3})?|0\.(00[1-9]|0[1-9][0-9]?|[1-9][0-9]{0,2}))$"

CELSIUS_PATTERN = r"^(-?[1-9]?[0-9]|1[0-4][0-9])(\.[0-9])?$"
SHOWN_DATE_PATTERN = r"^(19[7-9][0-9]|20[0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
SETTINGS_DAY_PATTERN = r"^(mon|tue|wed|thu|fri|sat|sun|20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]))$"
Flag = Literal["from_future", "before_the_table", "in_the_workshop", "on_mains", "odd_voltage"]

WorkDoneCode = Literal[
    "clock_set", "battery_charged", "battery_replaced", "board_replaced", "meters_reset", "settings_keyed"
]
Display = Annotated[Literal["24h", "12h"], WithJsonSchema({"type": "string", "pattern": "^(24|12)h$"})]
"""As an enum its values would have no names in a generated client, for a name begins with no digit."""


def _read_volts(value: object) -> str:
    return must_match(value, VOLTS_PATTERN, "volts as a decimal string above 0 and below 99, such as 12.40")


def _read_celsius(value: object) -> str:
    expected = "degrees Celsius as a decimal string from -99.9 to 149.9, such as 10 or -4.5"
    return must_match(value, CELSIUS_PATTERN, expected)


def _read_shown_date(value: object) -> date:
    return must_be_date(value, SHOWN_DATE_PATTERN, "a date such as 2026-12-07, of the years 1970 to 2099")


def _read_settings_day(value: object) -> str:
    expected = "mon to sun, or a date that exists, such as 2026-12-24"
    day = must_match(value, SETTINGS_DAY_PATTERN, expected)
    return day if len(day) == 3 else must_be_date(day, SETTINGS_DAY_PATTERN, expected).isoformat()


Volts = Annotated[str, BeforeValidator(_read_volts), WithJsonSchema({"type": "string", "pattern": VOLTS_PATTERN})]


VoltsOut = Annotated[str, WithJsonSchema({"type": "string", "pattern": r"^[0-9]{1,2}\.[0-9]{2,3}$"})]
Celsius = Annotated[str, BeforeValidator(_read_celsius), WithJsonSchema({"type": "string", "pattern": CELSIUS_PATTERN})]
CelsiusOut = Annotated[str, WithJsonSchema({"type": "string", "pattern": r"^-?[0-9]{1,3}\.[0-9]$"})]


ShownDate = Annotated[
    date,
    BeforeValidator(_read_shown_date),
    PlainSerializer(date.isoformat, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date", "pattern": SHOWN_DATE_PATTERN}),
]
"""A date as a table's clock shows it: one that has lost power may show years long past."""


SettingsDay = Annotated[
    str,
    BeforeValidator(_read_settings_day),
    WithJsonSchema({"type": "string", "pattern": SETTINGS_DAY_PATTERN}),
]
"""A day of a controller: mon to sun, or a date where it knows dates."""
Minutes = Annotated[StrictInt, Field(ge=0, le=525_600)]
Version = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[ -~]+$")]


BATCH_MAX = 5_000


class SupplyIn(In):
    """The supply voltage, and if known the battery's temperature and for how long it had been at rest."""

    volts: Volts
    temperature_c: Celsius | MISSING = MISSING
    rested_minutes: Minutes | MISSING = MISSING


class ClockIn(In):
    """What the table's clock showed; a ``12h`` display does not tell am from pm; without ``display`` it is a ``24h`` one."""

    time: TimeOfDay
    weekday: Weekday | MISSING = MISSING
    date: ShownDate | MISSING = MISSING
    display: Display | MISSING = MISSING


class FoundLadderIn(In):
    """The rungs found of one kind."""

    prices: Annotated[list[PriceIn], Limits(min_length=1, max_length=50)]
    counting: Counting | MISSING = MISSING


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
    done: Annotated[list[WorkDoneCode], Limits(max_length=6)] | MISSING = MISSING
    note: Text | MISSING = MISSING


class ReadingsIn(In):
    """A batch of readings, each judged on its own."""

    readings: Annotated[list[Annotated[ReadingIn, WrapValidator(one_by_one)]], Limits(max_length=BATCH_MAX)]


class ReadingResultOut(Out):
    """The outcome of one item; ``id`` is null where the item had no readable one."""

    id: Id | None
    outcome: ItemOutcome
    flags: list[Flag]
    problem: Annotated[ProblemOut | None, Limits(description=WHY_REFUSED)]


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
    weekday: Weekday | None
    date: ShownDate | None
    display: Display | None


class FoundLadderOut(Out):
    """The rungs found of one kind."""

    prices: list[PriceOut]
    counting: Counting


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


class ReadingOut(Out):
    """A reading as recorded, with the table's venue at that time (null: the workshop)."""

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
    done: list[WorkDoneCode]
    note: str
    flags: list[Flag]
    voided: VoidedOut | None


class ReadingPage(PageOf[ReadingOut]):
    """A page of readings."""
