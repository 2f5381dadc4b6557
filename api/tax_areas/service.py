"""Tax areas: dated rates are added, never changed."""

from datetime import datetime

from sqlmodel import Session, col, select

from ..store.db import lock
from ..web.errors import http_problem
from ..web.pagination import Page, page
from .rows import TaxAreaRow
from .schemas import TaxAreaIn


def put_tax_area(session: Session, area: TaxAreaIn, *, now: datetime) -> TaxAreaRow:
    """Store a tax area, or add dated rates to one; a stored rate is never changed."""
    lock(session, f"tax area:{area.code}")
    rates = [rate.model_dump(mode="json") for rate in area.rates]
    for i, rate in enumerate(rates):
        if ("rate_percent" in rate) == ("divisor" in rate):
            found = "both" if "divisor" in rate else "neither"
            raise http_problem("invalid", where=f"rates[{i}]", found=found, expected="one of rate_percent and divisor")
    row = session.get(TaxAreaRow, area.code) or TaxAreaRow(code=area.code, name=area.name, rates=[], made_at=now)
    known = {rate["from_on"]: rate for rate in row.rates}
    for i, rate in enumerate(rates):
        stored = known.setdefault(rate["from_on"], rate)
        if stored != rate:
            found, expected = _rate_in_words(rate), f"{_rate_in_words(stored)}, which holds from that date on"
            raise http_problem("conflict", where=f"rates[{i}]", found=found, expected=expected)
    row.name = area.name
    row.rates = sorted(known.values(), key=lambda rate: str(rate["from_on"]))
    session.add(row)
    session.flush()
    return row


def _rate_in_words(rate: dict[str, str]) -> str:
    return f"{rate['rate_percent']} %" if "rate_percent" in rate else f"divisor {rate['divisor']}"


def page_tax_areas(session: Session, *, limit: int, after: str | None) -> Page[TaxAreaRow]:
    """Return the tax areas by code."""
    return page(session, select(TaxAreaRow), key=col(TaxAreaRow.code), limit=limit, after=after)
