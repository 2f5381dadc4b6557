"""Sets of dates, and their publication, as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING
from pydantic import Field as Limits

from ..publications.schemas import PublishedOut
from ..schedules.schemas import OnDateOut, RecurringOut
from ..web.schema_types import AskedTime, Date, Id, In, Name, Out
from .public_holidays import Days

SetName = Annotated[str, Limits(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}$")]
Country = Annotated[str, Limits(pattern=r"^[A-Z]{2}$")]
Region = Annotated[str, Limits(pattern=r"^[A-Za-z0-9]{1,6}$")]
Language = Annotated[str, Limits(pattern=r"^[A-Za-z_]{2,10}$")]


class NamedDateIn(In):
    """A date and what people call it."""

    on: Annotated[Date, Limits(description="The trading date.")]
    name: Annotated[Name, Limits(description="What people call it, such as Town fair.")]


class DateSetIn(In):
    """A set of dates, each once."""

    name: Annotated[SetName, Limits(description="The name of the set; a set of this name is replaced.")]
    dates: Annotated[list[NamedDateIn], Limits(min_length=1, max_length=500, description="The dates, each once.")]


class DatesPublicationIn(In):
    """Dates to publish: of a ``date_set``, or the public holidays of a ``country`` from one date to another."""

    effective_on: Annotated[Date, Limits(description="The trading date from which the new schedules hold.")]
    venue_ids: Annotated[list[Id], Limits(min_length=1, max_length=500, description="The venues, all of one currency.")]
    tariff: Annotated[Id | None, Limits(description="The tariff that holds on these dates; null: closed.")]
    from_: Annotated[
        AskedTime | MISSING,
        Limits(alias="from", description="From this time on; absent: from the trading day's start."),
    ] = MISSING
    to: Annotated[AskedTime | MISSING, Limits(description="Up to this time; absent: to the trading day's end.")] = (
        MISSING
    )
    date_set: Annotated[SetName | MISSING, Limits(description="The name of a set of your own.")] = MISSING
    country: Annotated[
        Country | MISSING,
        Limits(description="The country whose public holidays to publish, by its ISO 3166-1 code, such as US."),
    ] = MISSING
    region: Annotated[
        Region | MISSING, Limits(description="Its region: the part after the hyphen of an ISO 3166-2 code, such as TX.")
    ] = MISSING
    from_on: Annotated[Date | MISSING, Limits(description="The first date; absent: effective_on.")] = MISSING
    to_on: Annotated[Date | MISSING, Limits(description="The last date; absent: a year after the first.")] = MISSING
    days: Annotated[
        Days | MISSING,
        Limits(
            description="`actual`: public holidays on their own dates (the default). `observed`: where the law moves the day off to a weekday, that day instead."
        ),
    ] = MISSING
    language: Annotated[
        Language | MISSING, Limits(description="Of the public holidays' names, such as de; English where there is any.")
    ] = MISSING


class NamedDateOut(Out):
    """A date and what people call it."""

    on: Date
    name: str


class DateSetOut(Out):
    """A set of dates."""

    name: str
    dates: list[NamedDateOut]


class DateSetsOut(Out):
    """All sets of dates, by name."""

    items: list[DateSetOut]


class PublicHolidaysOut(Out):
    """The public holidays of a country or region."""

    country: str
    region: str | None
    dates: list[NamedDateOut]


class DatedScheduleOut(Out):
    """A schedule that the dates were added to: the new one, the dates that it adds, and those that stay as they were."""

    schedule: PublishedOut
    added: list[NamedDateOut]
    kept: list[NamedDateOut]


class VenueDatesOut(Out):
    """What became of one venue: its schedules that changed, those of its tables included.

    ``unchanged``: every date is stated already; ``no_schedule``: the venue has none on that date, so nothing is published.
    """

    venue_id: Id
    name: str
    outcome: Literal["published", "unchanged", "no_schedule"]
    schedules: list[DatedScheduleOut]
    kept: Annotated[list[NamedDateOut], Limits(description="Dates that some schedule states already: its entry stays.")]


class DatesPublicationOut(Out):
    """The dates, and venue by venue what changes and what the controllers cannot hold."""

    effective_on: Date
    tariff: Id | None
    dates: list[NamedDateOut]
    venues: list[VenueDatesOut]


CalendarMode = Literal["all", "lines"]
EventOutcome = Literal["new", "same", "changed", "gone", "stated", "passed", "cancelled", "refused"]


class CalendarEventOut(Out):
    """What became of one event of a calendar, by the venue's own schedule, and the entries that it makes.

    ``new``, ``same`` and ``changed`` are on the schedule; ``gone``: it brought entries before and brings none now;
    ``stated``: the schedule states its dates already; ``passed``: it is over before ``effective_on``; ``cancelled``: the calendar
    says so; ``refused``: an entry cannot say it, ``why`` says what was found, and what it brought before stays.
    """

    line: Annotated[int | None, Limits(description="Where it begins in the file; null: it is no longer in it.")]
    uid: str
    name: str
    outcome: EventOutcome
    why: Annotated[str, Limits(description="Why it is refused; empty otherwise.")]
    recurring: list[RecurringOut]
    dates: list[OnDateOut]


class CalendarImportOut(Out):
    """An import of a calendar, or its preview: what became of each event, and the schedules as published."""

    calendar: str
    venue_id: Id
    effective_on: Date
    tariff: Id
    mode: CalendarMode
    stored: Annotated[bool, Limits(description="Whether the schedules were published.")]
    events: list[CalendarEventOut]
    schedules: Annotated[list[PublishedOut], Limits(description="The new schedules; none where nothing changes.")]
