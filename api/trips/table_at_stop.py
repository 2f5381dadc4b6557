"""What is to be done at a table on a trip: which work, and the coins to try it with (O2).

- Of reviews only meters are looked at there; disputes, differences, signals, bags and licences are work of the office.
- Work is on the sheet if it shows by the end of the trip's day, unless it was put off beyond it.
- Whoever keys or mends a table tries it with one game, or the least time that its prices sell.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Protocol

from ..pricing.tariff import Tariff

_OF_THE_OFFICE = ("review", "licence")
_METERS = ("meter_went_down", "meters_disagree")


class Listed(Protocol):
    """Work as it is stored: what it is, when it shows and ends, until when it is put off."""

    kind: str
    code: str
    due_at: datetime
    lead_days: int
    ends_at: datetime | None
    deferred_until_at: datetime | None


def is_done_there(work: Listed) -> bool:
    """Tell whether work is done at the table."""
    return work.kind not in _OF_THE_OFFICE or work.code in _METERS


def shows_by(work: Listed, by: datetime, *, now: datetime) -> bool:
    """Tell whether work is on the list at an instant to come, as far as is known now."""
    begun = work.due_at - timedelta(days=work.lead_days) <= by
    put_off = work.deferred_until_at is not None and work.deferred_until_at > by
    return begun and not put_off and (work.ends_at is None or work.ends_at > now)


def first_price(tariff: Tariff | None) -> int:
    """Return the least that buys something, in minor units; 0 where nothing is sold in advance."""
    ladders = [] if tariff is None else [ladder for ladder in (tariff.games, tariff.minutes) if ladder is not None]
    return min((ladder.rungs[0].price for ladder in ladders), default=0)
