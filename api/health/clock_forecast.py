"""The offset of a table's clock when it matters: at the next price change and at the next recurring event.

- K3 The newest offset goes on with the drift's range. A clock without a drift on record is taken to run within 100 ppm,
  which no crystal exceeds.
- K3 At a clock change between, a table that changes by itself keeps its offset, and another is off by the shift. Where
  the operator states neither, the range covers both; if only one of them is off, the verdict is ``cannot_tell``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from .clock_changes import utc_offset_s
from .clock_offset import CRYSTAL_PPM, DAY_S, Drift, Offset, elapsed
from .clock_verdict import ClockHealth, ClockSettings, ClockVerdict

WhoChanges = Literal["none", "by_itself", "by_hand", "not_known"]


@dataclass(frozen=True, slots=True)
class PredictedOffset:
    """The offset ``[low_s, high_s)`` at a coming instant; ``clock_change`` says who changes the clock until then."""

    at: datetime
    low_s: int
    high_s: int
    verdict: ClockVerdict
    clock_change: WhoChanges


def predict(
    health: ClockHealth,
    moments: Sequence[datetime],
    *,
    zone: tzinfo,
    changes_for_summer_time: bool | None = None,
    settings: ClockSettings | None = None,
) -> tuple[PredictedOffset, ...]:
    """Return the offset at coming moments, such as the next price change and the next recurring event (K3)."""
    tolerance_s = (settings or ClockSettings()).tolerance_s
    return tuple(_predicted(health, at, zone, changes_for_summer_time, tolerance_s) for at in moments)


def _predicted(
    health: ClockHealth, at: datetime, zone: tzinfo, by_itself: bool | None, tolerance_s: int
) -> PredictedOffset:
    days = elapsed(health.reading.taken_at, at) / DAY_S
    moved_s = [pace * days for pace in _paces(health.drift)]
    low_s = health.offset.low_s + floor(min(moved_s))
    high_s = health.offset.high_s + ceil(max(moved_s))
    shift_s = utc_offset_s(zone, at) - utc_offset_s(zone, health.reading.taken_at)
    shifts = {True: (0,), False: (-shift_s,), None: (0, -shift_s)}[by_itself]
    may_be_right = {Offset(low_s + shift, high_s + shift).touches(tolerance_s) for shift in shifts}
    verdicts: dict[bool, ClockVerdict] = {True: "ok", False: "off"}
    return PredictedOffset(
        at=at,
        low_s=low_s + min(shifts),
        high_s=high_s + max(shifts),
        verdict="cannot_tell" if len(may_be_right) > 1 else verdicts[may_be_right.pop()],
        clock_change="none" if not shift_s else _WHO_CHANGES[by_itself],
    )


def _paces(found: Drift | None) -> tuple[Fraction, Fraction]:
    """Return the least and the most that the clock gains in a day; where no drift is shown, at most a crystal's."""
    crystal = Fraction(CRYSTAL_PPM * DAY_S, 1_000_000)
    if found is None:
        return -crystal, crystal
    low, high = found.range_s_per_day
    return (low, high) if found.least_s_per_day else (max(low, -crystal), min(high, crystal))


_WHO_CHANGES: dict[bool | None, Literal["by_itself", "by_hand", "not_known"]] = {
    True: "by_itself",
    False: "by_hand",
    None: "not_known",
}
