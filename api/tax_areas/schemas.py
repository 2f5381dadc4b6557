"""Tax areas as sent and received."""

from typing import Annotated

from pydantic import MISSING, BeforeValidator
from pydantic import Field as Limits

from ..web.schema_types import Date, In, Name, Out, not_a_number

TaxAreaCode = Annotated[str, Limits(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$")]


class TaxRateIn(In):
    """A rate of a tax included in the price, from a date on: a percentage, or a published divisor of the gross."""

    from_on: Date
    rate_percent: (
        Annotated[str, Limits(pattern=r"^[0-9]{1,2}(\.[0-9]{1,4})?$"), BeforeValidator(not_a_number)] | MISSING
    ) = MISSING
    divisor: Annotated[str, Limits(pattern=r"^1(\.[0-9]{1,6})?$"), BeforeValidator(not_a_number)] | MISSING = MISSING


class TaxAreaIn(In):
    """A tax area to make, or dated rates to add to one."""

    code: TaxAreaCode
    name: Name
    rates: Annotated[list[TaxRateIn], Limits(min_length=1, max_length=200)]


class TaxRateOut(Out):
    """A dated rate."""

    from_on: Date
    rate_percent: str | None
    divisor: str | None


class TaxAreaOut(Out):
    """A tax area, its rates by date."""

    code: str
    name: str
    rates: list[TaxRateOut]


class TaxAreaPage(Out):
    """A page of the tax areas, by code; ``next`` is the last code on it."""

    items: list[TaxAreaOut]
    next: TaxAreaCode | None
