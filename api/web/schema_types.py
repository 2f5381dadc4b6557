"""The words that messages are made of: money, instants, dates, days, texts and numbers as they travel.

- ``…In`` models refuse unknown fields; ``…Out`` models always carry every field.
- Money is a decimal string, never a JSON number; whether it has too many decimals is for its currency to say.
- Instants are RFC 3339 with an offset or Z, years 2000 to 2099; dates YYYY-MM-DD; times HH:MM; days mon to sun.
- An optional input is ``Annotated[T, …] | MISSING``: it may be absent, and null only where that means something.
"""

import re
from datetime import UTC, date, datetime, time
from functools import cache, lru_cache
from typing import Annotated, Any, Generic, TypeVar
from uuid import UUID

from pydantic import (
    MISSING,
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StrictBool,
    StrictInt,
    StringConstraints,
    WithJsonSchema,
)

from ..pricing.week import WEEKDAYS, Weekday

T = TypeVar("T")
INSTANT_PATTERN = (
    r"^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])[Tt]([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
    r"(\.[0-9]{1,6})?([Zz]|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$"
)
DATE_PATTERN = r"^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
TIME_PATTERN = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
UUID_PATTERN = r"^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$"
TEXT_PATTERN = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"
NOT_BLANK_PATTERN = (
    r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*[^\s\u0000-\u001f\u007f]"
    r"[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f]*$"
)
AT_PATTERN = (
    r"^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])[Tt]([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9](\.[0-9]{1,6})?)?"
    r"([Zz]|[+-]([01][0-9]|2[0-3]):[0-5][0-9])?$"
)
MONEY_PATTERN = r"^[0-9]{1,12}(\.[0-9]{1,4})?$"
CURRENCY_PATTERN = r"^[A-Z]{3}$"
METER_NAME_PATTERN = r"^[a-z][a-z0-9_]{0,39}$"
PRINTABLE_PATTERN = r"^[ -~]+$"
PERCENT_PATTERN = r"^[0-9]{1,3}(\.[0-9]{1,6})?$"


PATTERNS_IN_WORDS = {
    AT_PATTERN: "a date and time such as 2026-12-01T21:00, with or without an offset (in an address + is written %2B)",
    MONEY_PATTERN: 'an amount of money of at least 0, as a decimal string such as "10.00"',
    CURRENCY_PATTERN: "an ISO 4217 code such as USD",
    PERCENT_PATTERN: 'a percentage as a decimal string such as "50" or "6.25"',
    METER_NAME_PATTERN: "a short name such as cash: small letters, digits and _, a letter first, at most 40",
    PRINTABLE_PATTERN: "printable ASCII characters, at least one",
    TEXT_PATTERN: "text without control characters",
    NOT_BLANK_PATTERN: "text without control characters, of more than spaces",
}
"""What a pattern asks for, in words."""
INT64_MAX = 2**63 - 1


class In(BaseModel):
    """A received message: an unknown field is a mistake, not a guess."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Out(BaseModel):
    """A sent message: every field is always there, null where empty is a fact."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        validate_by_name=True,
        validate_by_alias=True,
        json_schema_serialization_defaults_required=True,
    )


def value_or(value: T | Any, otherwise: T) -> T:
    """Return an optional input, or ``otherwise`` where it was not sent."""
    return otherwise if value is MISSING else value


@cache
def _whole(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern.strip("^$"), re.ASCII)


def must_match(value: object, pattern: str, expected: str) -> str:
    """Return a text that matches a pattern as a whole; else say what is expected (ValueError)."""
    if not isinstance(value, str) or not _whole(pattern).fullmatch(value):
        raise ValueError(expected)
    return value


def must_be_date(value: object, pattern: str, expected: str) -> date:
    """Return the date that a text of this pattern writes; else say what is expected (ValueError)."""
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(must_match(value, pattern, expected))
    except ValueError:
        raise ValueError(expected) from None


def _read_instant(value: object) -> datetime:
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    expected = "an instant such as 2026-12-01T21:00:00-05:00, with an offset or Z, of the years 2000 to 2099"
    try:
        return datetime.fromisoformat(must_match(value, INSTANT_PATTERN, expected).upper()).astimezone(UTC)
    except ValueError:
        raise ValueError(expected) from None


def _read_date(value: object) -> date:
    return must_be_date(value, DATE_PATTERN, "a date such as 2026-12-01, of the years 2000 to 2099")


def _read_time(value: object) -> time:
    return (
        value
        if isinstance(value, time)
        else time.fromisoformat(must_match(value, TIME_PATTERN, "a time such as 21:00"))
    )


def _read_uuid(value: object) -> UUID:
    if isinstance(value, str):
        return _uuid_of(value)
    if isinstance(value, UUID):
        return value
    raise ValueError("a UUID")


@lru_cache(maxsize=4096)  # a batch names the same few venues and tables a thousand times
def _uuid_of(text: str) -> UUID:
    return UUID(int=int(must_match(text, UUID_PATTERN, "a UUID").replace("-", ""), 16))


def write_instant(value: datetime) -> str:
    """Write an instant with the offset it carries; Z for UTC; fractions of a second only where there are any."""
    return value.isoformat().replace("+00:00", "Z")


Instant = Annotated[
    datetime,
    BeforeValidator(_read_instant),
    PlainSerializer(write_instant, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date-time", "pattern": INSTANT_PATTERN}),
]


LocalInstant = Annotated[
    datetime,
    PlainSerializer(write_instant, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""An instant that is sent with the venue's own offset."""
Date = Annotated[
    date,
    BeforeValidator(_read_date),
    PlainSerializer(date.isoformat, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date", "pattern": DATE_PATTERN}),
]
TimeOfDay = Annotated[
    time,
    BeforeValidator(_read_time),
    PlainSerializer(lambda value: value.isoformat("minutes"), return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "pattern": TIME_PATTERN}),
]
Id = Annotated[
    UUID,
    BeforeValidator(_read_uuid),
    PlainSerializer(str, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "uuid", "pattern": UUID_PATTERN}),
]
WrittenId = Annotated[str, WithJsonSchema({"type": "string", "format": "uuid", "pattern": UUID_PATTERN})]
"""An id of ours that is sent as it is written already: an answer with fifty thousand of them reads none as a UUID."""
_TYPED_DAYS = (
    "mon", "monday", "tue", "tues", "tuesday", "wed", "weds", "wednesday", "thu", "thur", "thurs", "thursday",
    "fri", "friday", "sat", "saturday", "sun", "sunday",
)  # fmt: skip
ASKED_DAY_PATTERN = (
    "^(" + "|".join("".join(f"[{letter.upper()}{letter}]" for letter in day) for day in _TYPED_DAYS) + ")$"
)
ASKED_TIME_PATTERN = r"^(([01]?[0-9]|2[0-3])[:.][0-5][0-9]|(0?[1-9]|1[0-2])([:.][0-5][0-9])? ?[AaPp][Mm])$"
ASKED_DAY_IN_WORDS = "a weekday such as tue or Tuesday"
ASKED_TIME_IN_WORDS = "a time such as 21:00 or 9pm"


def _read_asked_day(value: object) -> Weekday:
    return WEEKDAYS[WEEKDAYS.index(must_match(value, ASKED_DAY_PATTERN, ASKED_DAY_IN_WORDS)[:3].lower())]


def _read_asked_time(value: object) -> time:
    if isinstance(value, time):
        return value
    text = must_match(value, ASKED_TIME_PATTERN, ASKED_TIME_IN_WORDS).lower()
    hour, minute = (int(part) for part in f"{text.rstrip('apm ')}:0".replace(".", ":").split(":")[:2])
    if text.endswith("m"):
        hour = hour % 12 + (12 if text.endswith("pm") else 0)
    return time(hour, minute)


AskedDay = Annotated[
    Weekday,
    BeforeValidator(_read_asked_day),
    WithJsonSchema({"type": "string", "pattern": ASKED_DAY_PATTERN, "examples": ["tuesday", "Tue"]}),
]
"""A weekday as somebody types it: in full or short, in any case."""
AskedTime = Annotated[
    time,
    BeforeValidator(_read_asked_time),
    PlainSerializer(lambda value: value.isoformat("minutes"), return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "pattern": ASKED_TIME_PATTERN, "examples": ["21:00", "9pm"]}),
]
"""A time as somebody types it: 21:00, 21.00, 9:30, 9pm or 9:30 pm."""


def not_a_number(value: object) -> object:
    """Say which string to send for an amount that was sent as a JSON number (ValueError)."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        text = str(value) if isinstance(value, int) or len(str(value).partition(".")[2]) > 1 else f"{value:.2f}"
        raise ValueError(f'the string "{text}": amounts are text, never a JSON number')
    return value


Money = Annotated[str, StringConstraints(pattern=MONEY_PATTERN), BeforeValidator(not_a_number)]
"""An amount of at least 0, in the currency's own unit."""
MoneyOut = Annotated[str, WithJsonSchema({"type": "string", "pattern": r"^-?[0-9]{1,16}(\.[0-9]{1,4})?$"})]
Currency = Annotated[str, StringConstraints(pattern=CURRENCY_PATTERN)]
Percent = Annotated[str, StringConstraints(pattern=PERCENT_PATTERN), BeforeValidator(not_a_number)]


def _whole_unicode(value: str) -> str:
    try:
        value.encode()
    except UnicodeEncodeError:
        raise ValueError("text without half surrogates") from None
    return value


Name = Annotated[
    str,
    StringConstraints(min_length=1, max_length=120, pattern=NOT_BLANK_PATTERN),
    AfterValidator(_whole_unicode),
]
Text = Annotated[str, StringConstraints(max_length=2000, pattern=TEXT_PATTERN), AfterValidator(_whole_unicode)]
Words = Annotated[
    str,
    StringConstraints(min_length=1, max_length=2000, pattern=NOT_BLANK_PATTERN),
    AfterValidator(_whole_unicode),
]
"""A text that says something: a reason, what was found."""


Count = Annotated[StrictInt, Field(ge=0, le=INT64_MAX, json_schema_extra={"format": "int64"})]
"""A count or a meter: a whole number from 0, which a generated client must hold in 64 bits."""
Yes = StrictBool


class VoidIn(In):
    """Why a record does not count."""

    reason: Annotated[Words, Field(max_length=500, description="The reason; it stays on record.")]


class VoidedOut(Out):
    """Why and when a record was voided, and by whom."""

    reason: str
    voided_at: Instant
    voided_by: str


O_ = TypeVar("O_", bound=BaseModel)


class PageOf(BaseModel, Generic[O_]):
    """A page of a list."""

    model_config = ConfigDict(extra="forbid")

    items: list[O_]
    next: Id | None
