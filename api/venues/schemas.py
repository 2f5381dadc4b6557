"""Venues as sent and received."""

from typing import Annotated

from pydantic import MISSING, Strict
from pydantic import Field as Limits

from ..web.schema_types import Currency, Date, Id, In, Name, Out, PageOf, Text, TimeOfDay
from .dated_fact import FactName

TaxAreaOf = Annotated[str, Limits(max_length=40, min_length=1)]
_TAX_AREA = "The code of the tax area whose rates are taken out of the takings."
_LEGAL_NAME = "The legal name of the person or firm that runs the venue."
_PAYEE = "The person or firm that payments are made out to, if not the legal name."
_TAX_NUMBER = "The payee's tax number, for the year's tax form. Collectors do not see it."


Latitude = Annotated[float, Strict(), Limits(ge=-90, le=90, allow_inf_nan=False)]
Longitude = Annotated[float, Strict(), Limits(ge=-180, le=180, allow_inf_nan=False)]
_LATITUDE = "Decimal degrees, north above zero, such as 41.25; with a longitude. Trips are put in order by it."
_LONGITUDE = "Decimal degrees, east above zero, such as -73.5."


class VenueIn(In):
    """A venue to make. Its tax area, legal name, payee and tax number hold for all dates until you change them."""

    name: Annotated[Name, Limits(description="What people call the venue. Its first name stays in account names.")]
    time_zone: Annotated[str, Limits(min_length=1, max_length=64, description="A name of the IANA time zone database.")]
    currency: Annotated[Currency, Limits(description="The ISO 4217 code of the currency that its tables take.")]
    day_starts_at: Annotated[
        TimeOfDay | MISSING, Limits(description="When the trading day begins, local time; 06:00 by default.")
    ] = MISSING
    address: Annotated[Text | MISSING, Limits(description="Where the venue is.")] = MISSING
    contact: Annotated[Text | MISSING, Limits(description="Whom to call, and how.")] = MISSING
    legal_name: Annotated[Text | MISSING, Limits(description=_LEGAL_NAME)] = MISSING
    payee: Annotated[Text | MISSING, Limits(description=_PAYEE)] = MISSING
    tax_number: Annotated[Text | MISSING, Limits(description=_TAX_NUMBER)] = MISSING
    tax_area: Annotated[TaxAreaOf | MISSING, Limits(description=_TAX_AREA)] = MISSING
    notes: Annotated[Text | MISSING, Limits(description="Anything worth knowing before a visit.")] = MISSING
    latitude: Annotated[Latitude | MISSING, Limits(description=_LATITUDE)] = MISSING
    longitude: Annotated[Longitude | MISSING, Limits(description=_LONGITUDE)] = MISSING


class VenueChangeIn(In):
    """What to change of a venue: absent fields stay; ``tax_area`` null removes it."""

    name: Annotated[Name | MISSING, Limits(description="What people call the venue. Account names keep the first.")] = (
        MISSING
    )
    time_zone: Annotated[
        Annotated[str, Limits(min_length=1, max_length=64)] | MISSING,
        Limits(description="A name of the IANA time zone database. Fixed once the venue has a schedule."),
    ] = MISSING
    currency: Annotated[
        Currency | MISSING, Limits(description="An ISO 4217 code. Fixed once the venue has tables or a schedule.")
    ] = MISSING
    day_starts_at: Annotated[
        TimeOfDay | MISSING,
        Limits(description="When the trading day begins, local time. Fixed once the venue has a schedule."),
    ] = MISSING
    address: Annotated[Text | MISSING, Limits(description="Where the venue is.")] = MISSING
    contact: Annotated[Text | MISSING, Limits(description="Whom to call, and how.")] = MISSING
    legal_name: Annotated[Text | MISSING, Limits(description=_LEGAL_NAME)] = MISSING
    payee: Annotated[Text | MISSING, Limits(description=_PAYEE)] = MISSING
    tax_number: Annotated[Text | MISSING, Limits(description=_TAX_NUMBER)] = MISSING
    tax_area: Annotated[TaxAreaOf | None | MISSING, Limits(description=_TAX_AREA)] = MISSING
    notes: Annotated[Text | MISSING, Limits(description="Anything worth knowing before a visit.")] = MISSING
    latitude: Annotated[Latitude | None | MISSING, Limits(description=f"{_LATITUDE} Null takes it out.")] = MISSING
    longitude: Annotated[Longitude | None | MISSING, Limits(description=f"{_LONGITUDE} Null takes it out.")] = MISSING
    from_on: Annotated[
        Date | MISSING,
        Limits(
            description="The trading date from which this change's tax_area, legal_name, payee and tax_number hold; "
            "today's by default. Dates before it keep their own, and so do dates from a later change on."
        ),
    ] = MISSING


class VenueFactOut(Out):
    """A dated fact of a venue: it holds from a trading date (null: since ever) until the next of its name."""

    name: FactName
    from_on: Date | None
    value: str | None


class VenueOut(Out):
    """A venue. Tax area, legal name, payee and tax number are those of today; ``dated`` lists all, by date.

    A collector's answer has no tax numbers.
    """

    id: Id
    name: str
    time_zone: str
    currency: str
    day_starts_at: TimeOfDay
    address: str
    contact: str
    legal_name: str
    payee: str
    tax_number: str
    tax_area: str | None
    dated: list[VenueFactOut]
    notes: str
    latitude: float | None
    longitude: float | None
    departed_on: Annotated[Date | None, Limits(description="Its last trading date on the route.")]


class VenuePage(PageOf[VenueOut]):
    """A page of venues."""
