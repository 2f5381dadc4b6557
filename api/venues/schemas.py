"""Venues as sent and received."""

from typing import Annotated

from pydantic import MISSING
from pydantic import Field as Limits

from ..web.schema_types import Currency, Id, In, Name, Out, PageOf, Text, TimeOfDay


class VenueIn(In):
    """A venue to make. ``day_starts_at`` is when its trading day begins."""

    name: Name
    time_zone: Annotated[str, Limits(min_length=1, max_length=64, description="A name of the IANA time zone database.")]
    currency: Currency
    day_starts_at: Annotated[TimeOfDay | MISSING, Limits(description="06:00 if it is not said.")] = MISSING
    address: Text | MISSING = MISSING
    contact: Text | MISSING = MISSING
    legal_name: Text | MISSING = MISSING
    tax_area: Annotated[str, Limits(max_length=40, min_length=1)] | MISSING = MISSING
    notes: Text | MISSING = MISSING


class VenueChangeIn(In):
    """What to change of a venue; what is absent stays. A ``tax_area`` of null takes it out."""

    name: Name | MISSING = MISSING
    time_zone: Annotated[str, Limits(min_length=1, max_length=64)] | MISSING = MISSING
    currency: Currency | MISSING = MISSING
    day_starts_at: TimeOfDay | MISSING = MISSING
    address: Text | MISSING = MISSING
    contact: Text | MISSING = MISSING
    legal_name: Text | MISSING = MISSING
    tax_area: Annotated[str, Limits(max_length=40, min_length=1)] | None | MISSING = MISSING
    notes: Text | MISSING = MISSING


class VenueOut(Out):
    """A venue."""

    id: Id
    name: str
    time_zone: str
    currency: str
    day_starts_at: TimeOfDay
    address: str
    contact: str
    legal_name: str
    tax_area: str | None
    notes: str


class VenuePage(PageOf[VenueOut]):
    """A page of venues."""
