"""Schedules as sent and received."""

from typing import Annotated

from pydantic import MISSING
from pydantic import Field as Limits

from ..pricing.week import Weekday
from ..web.schema_types import (
    TEXT_PATTERN,
    AskedDay,
    AskedTime,
    Date,
    Id,
    In,
    Instant,
    Name,
    Out,
    PageOf,
    TimeOfDay,
    Yes,
)

CalendarName = Annotated[str, Limits(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}$")]
CalendarUid = Annotated[str, Limits(min_length=1, max_length=255, pattern=TEXT_PATTERN)]

DaysOfWeek = Annotated[list[AskedDay], Limits(min_length=1, max_length=7, json_schema_extra={"uniqueItems": True})]


class WeeklyIn(In):
    """A window on days of every week; without ``from`` from the trading day's start, without ``to`` to its end."""

    name: Name
    days: DaysOfWeek
    from_: AskedTime | MISSING = Limits(default=MISSING, alias="from")
    to: AskedTime | MISSING = MISSING
    tariff: Id | None


class RecurringIn(In):
    """A window on the dates of an RFC 5545 recurrence, but for the excepted ones."""

    name: Name
    starts_on: Date
    rrule: Annotated[str, Limits(min_length=1, max_length=500, pattern=r"^[A-Za-z0-9=;,+-]+$")]
    except_on: Annotated[list[Date], Limits(max_length=1000)] | MISSING = MISSING
    from_: AskedTime | MISSING = Limits(default=MISSING, alias="from")
    to: AskedTime | MISSING = MISSING
    tariff: Id | None
    calendar: CalendarName | MISSING = MISSING
    uid: CalendarUid | MISSING = MISSING


class OnDateIn(In):
    """A window on one trading date; without times it is that whole day's."""

    name: Name
    on: Date
    from_: AskedTime | MISSING = Limits(default=MISSING, alias="from")
    to: AskedTime | MISSING = MISSING
    tariff: Id | None
    calendar: CalendarName | MISSING = MISSING
    uid: CalendarUid | MISSING = MISSING


WeeklyEntries = Annotated[list[WeeklyIn], Limits(max_length=200)]


ENTRIES_MAX_BY_KIND = {"weekly": 200, "recurring": 50, "dates": 1000}
"""How many entries of each kind a schedule holds."""

RecurringEntries = Annotated[list[RecurringIn], Limits(max_length=ENTRIES_MAX_BY_KIND["recurring"])]
DateEntries = Annotated[list[OnDateIn], Limits(max_length=ENTRIES_MAX_BY_KIND["dates"])]


class ScheduleIn(In):
    """A schedule to publish: what holds when nothing else does (null: closed), and the windows that beat it."""

    effective_on: Date
    base: Id | None
    weekly: WeeklyEntries | MISSING = MISSING
    recurring: RecurringEntries | MISSING = MISSING
    dates: DateEntries | MISSING = MISSING


class TableScheduleIn(In):
    """A schedule of one table's own, or ``follow_venue``: true to end it."""

    effective_on: Date
    follow_venue: Yes | MISSING = MISSING
    base: Id | None | MISSING = MISSING
    weekly: WeeklyEntries | MISSING = MISSING
    recurring: RecurringEntries | MISSING = MISSING
    dates: DateEntries | MISSING = MISSING


class WeeklyOut(Out):
    """A window on days of every week."""

    name: str
    days: list[Weekday]
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None


class RecurringOut(Out):
    """A window on the dates of a recurrence; ``calendar`` and ``uid`` say which event of which calendar brought it."""

    name: str
    starts_on: Date
    rrule: str
    except_on: list[Date]
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None
    calendar: str | None
    uid: str | None


class OnDateOut(Out):
    """A window on one date; ``calendar`` and ``uid`` say which event of which calendar brought it."""

    name: str
    on: Date
    from_: Annotated[TimeOfDay | None, Limits(alias="from")]
    to: TimeOfDay | None
    tariff: Id | None
    calendar: str | None
    uid: str | None


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


class TariffRefOut(Out):
    """Which version of which tariff; without an id, prices of a table that no tariff has: ``code`` has them in words."""

    id: Id | None
    code: str
    version: int


class SchedulePage(PageOf[ScheduleOut]):
    """A page of schedules."""
