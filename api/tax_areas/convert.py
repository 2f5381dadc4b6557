"""Between tax areas as stored, as values and as sent."""

from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import Any

from .percents import parse_divisor, parse_percent
from .rows import TaxAreaRow
from .schemas import TaxAreaOut, TaxRateOut
from .tax_area import TaxArea, TaxRate


def read_tax_area(code: str, name: str, rates: Sequence[dict[str, Any]]) -> TaxArea:
    """Return a tax area from its rates as they are sent and stored; refuse what ``TaxArea`` and ``TaxRate`` refuse."""
    return TaxArea(code, name, tuple(_tax_rate(rate, f"rates[{i}]") for i, rate in enumerate(rates)))


def _tax_rate(rate: dict[str, Any], where: str) -> TaxRate:
    percent: Fraction | None = None
    divisor: Fraction | None = None
    if "rate_percent" in rate:
        percent = parse_percent(rate["rate_percent"], where=f"{where}.rate_percent")
    if "divisor" in rate:
        divisor = parse_divisor(rate["divisor"], where=f"{where}.divisor")
    return TaxRate(date.fromisoformat(rate["from_on"]), percent, divisor)


def tax_area_out(row: TaxAreaRow) -> TaxAreaOut:
    """Write a tax area as its message."""
    rates = [TaxRateOut(**{"rate_percent": None, "divisor": None, **rate}) for rate in row.rates]
    return TaxAreaOut(code=row.code, name=row.name, rates=rates)
