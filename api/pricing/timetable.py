"""What a place sells over time: its schedules laid end to end, and the answers to "what holds then".

- W6: a schedule holds from the start of the trading day ``effective_on``, or from its publication if that is later, until
  the next one does: the past is never repriced. Only a venue's first schedule is dated back. Of two that start together
  the later published holds. A table's own schedules beat the venue's until ``follow_venue`` (a listing without a
  schedule); those from before its present stay at the venue do not count. Before the first: ``no_schedule_yet``.
- W7: an answer says which entry won, its name and kind, of which schedule, venue's or table's, and the contiguous span
  around the instant in which it wins.
- W8: what is *listed* is what the schedules say; what is *keyed*, and so sold, is the schedule last keyed into the table,
  whatever date it is meant for; before the first keying what is listed.
- P9: where nothing is sold, ``opens_at`` says when something next is.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from .errors import PricingError, refuse
from .tariff import Tariff
from .trading_day import Calendar, from_us, to_us, trading_ordinal
from .week import EntryKind, Schedule, Window, plan_day

Owner = Literal["venue", "table"]


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in which one entry of one schedule wins (W7). Instants are UTC; ``to_at`` is exclusive.

    Only ``Timetable.at`` leaves a bound open (None): the entry holds for more than seven further trading days.
    ``trading_on`` is the trading date of the instant asked for, or of the span's start.
    """

    from_at: datetime | None
    to_at: datetime | None
    trading_on: date
    name: str
    kind: EntryKind
    tariff: Tariff | None
    schedule_id: str
    of: Owner


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A schedule as published for a venue or a table (W6); without a schedule the table follows its venue again."""

    schedule: Schedule | None
    effective_on: date
    published_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Keying:
    """A schedule, venue's or table's, as keyed into a table (W8)."""

    schedule: Schedule
    keyed_at: datetime
    of: Owner = "venue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The schedule that holds from an instant until the next stretch; None: none yet."""

    from_at: datetime
    schedule: Schedule | None
    of: Owner = "venue"
