"""The words in which a reading travels: voltages, temperatures, what a clock shows, work done.

What nothing near a table can show is refused; what is merely odd is kept (and flagged elsewhere).
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, PlainSerializer, StrictInt, WithJsonSchema

from api.wire import must_be_date, must_match

VOLTS_PATTERN = r"^(([1-9]|[1-8][0-9]|9[0-8])(\.[0-9]{1,3})?|0\.(00[1-9]|0[1-9][0-9]?|[1-9][0-9]{0,2}))$"
CELSIUS_PATTERN = r"^(-?[1-9]?[0-9]|1[0-4][0-9])(\.[0-9])?$"
SHOWN_DATE_PATTERN = r"^(19[7-9][0-9]|20[0-9]{2})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"
SETTINGS_DAY_PATTERN = r"^(mon|tue|wed|thu|fri|sat|sun|20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]))$"

Flag = Literal["from_future", "before_the_table", "in_the_workshop", "on_mains", "odd_voltage"]
Work = Literal["clock_set", "battery_charged", "battery_replaced", "board_replaced", "meters_reset", "settings_keyed"]
Display = Literal["24h", "12h"]
Outcome = Literal["recorded", "duplicate", "refused"]


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
