"""The price grid: what each of some amounts buys in each window of a trading day at a place, one line each.

- The windows of a day are its spans, in time order: an entry that another one interrupts is there twice. Every amount
  is quoted at the start of the window (P9, P10), for one player.
- A place without prices on that day has one line for each amount, ``no_prices``.
- An amount may be written with more decimals than the currency has, where they are all 0: 5.00 is 5 yen.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from ..pricing.effort import Effort
from ..pricing.money import exponent, parse_money
from ..pricing.quote import Offer, quote
from ..pricing.timetable import Span, Timetable

GridStatus = Literal["open", "closed", "free", "no_prices"]
GRID_LINES_MAX = 4_000
"""About 2 MB of answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridLine:
    """What an amount of minor units buys in a window; without one, nothing is known of that day.

    Units are None where their kind is not sold. ``opens_at`` is that of a closed window.
    """

    amount_minor: int
    status: GridStatus
    window: Span | None = None
    opens_at: datetime | None = None
    games: Offer | None = None
    minutes: Offer | None = None
    metered: Offer | None = None


def grid_lines(timetable: Timetable, on: date, amounts: Sequence[int], *, work: Effort) -> Iterator[GridLine]:
    """Yield the lines of a trading day, window by window, each with its amounts in the order given.

    Refuses ``too_much_work``.
    """
    spans = timetable.day(on)
    if not spans:
        yield from (GridLine(amount_minor=amount, status="no_prices") for amount in amounts)
    for span in spans:
        for amount in amounts:
            assert span.from_at is not None
            answer = quote(timetable, at=span.from_at, money=amount, work=work)
            offers = {offer.kind: offer for offer in answer.offers}
            yield GridLine(
                amount_minor=amount,
                status=answer.status,
                window=span,
                opens_at=answer.opens_at,
                games=offers.get("games"),
                minutes=offers.get("minutes"),
                metered=offers.get("metered"),
            )


def read_amounts(texts: Sequence[str], currency: str) -> list[int]:
    """Return amounts of a currency in minor units, smallest first, each once; refuse (``bad_money``) what is none."""
    decimals = exponent(currency)
    found = set()
    for text in texts:
        whole, _, part = text.partition(".")
        kept = part[:decimals] + part[decimals:].rstrip("0")
        found.add(parse_money(f"{whole}.{kept}" if kept else whole, currency, where="amounts"))
    return sorted(found)
