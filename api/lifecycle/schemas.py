"""How tables and venues leave the route, as received and sent."""

from typing import Annotated, Literal

from pydantic import MISSING
from pydantic import Field as Limits

from ..pool_tables.place import Gone
from ..web.schema_types import Date, Id, In, Instant, Money, MoneyOut, Name, Out


class RetirementIn(In):
    """How a table leaves the route."""

    how: Annotated[Gone, Limits(description="retired: it is scrapped or kept for parts; lost: stolen or destroyed.")]
    at: Annotated[Instant, Limits(description="When it left.")]
    buyer: Annotated[Name, Limits(description="To whom it was sold.")] | MISSING = MISSING
    price: Annotated[Money, Limits(description="What it was sold for, in its currency; it is posted.")] | MISSING = (
        MISSING
    )
    box: (
        Annotated[Literal["empty"], Limits(description="You looked: there is no money to collect in its box.")]
        | MISSING
    ) = MISSING


class RetirementOut(Out):
    """How a table left the route; void the move to take it back."""

    table_id: Id
    move_id: Id
    how: Gone
    at: Instant
    buyer: str
    price: MoneyOut | None
    currency: str
    entry_id: Annotated[Id | None, Limits(description="The entry of the sale.")]
    recorded_at: Instant
    by: str


class DepartureIn(In):
    """When a venue leaves the route."""

    on: Annotated[Date, Limits(description="Its last trading date.")]


class DepartureOut(Out):
    """A venue that has left the route, and what is still owed either way."""

    venue_id: Id
    on: Date
    currency: str
    owed_to_venue: Annotated[MoneyOut, Limits(description="Payable to the venue; below zero, it owes you.")]
    venue_loan: Annotated[MoneyOut, Limits(description="What the venue still owes of its loan.")]
