"""What is wrong with a table's clock, in the words of the trade.

- K2 Named mistakes come before measured ones: an hour off, twelve hours, a wrong weekday or date, a restart after a loss
  of power, drift. ``hour_off`` names the clock change that was not made, where one lies behind that explains it and the
  clock was neither set nor seen right since; else it says only that it is an hour off.
- K2 A clock that walked away step by step is ``drifting`` also while it passes an hour.
- K2 ``restarted``: it shows a date in the first three months of an earlier year and not merely a wrong date; or, without
  a date, it jumped between two readings and has run on truly since.
- K3 Off is what is surely outside the tolerance (2 min by default): nobody is sent to a clock that may be right.
- K1 What looks right but cannot be told from wrong (day, am or pm) is ``cannot_tell``, unless an earlier reading since
  the clock was set has told it.
- R5 Setting the clock starts afresh; a reading that reports the setting shows the clock as it was left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from fractions import Fraction
from typing import Literal

from ..pricing.errors import domain_error
from .clock_changes import ClockChange, last_change
from .clock_offset import (
    CRYSTAL_PPM,
    DAY_S,
    HALF_DAY_S,
    HOUR_S,
    MINUTE_S,
    ClockReading,
    Drift,
    Offset,
    Walk,
    drift,
    elapsed,
    ppm,
    walk,
)

Verdict = Literal["ok", "off", "cannot_tell"]

Cause = Literal[
    "right",
    "hour_off",
    "twelve_hours_off",
    "wrong_weekday",
    "wrong_date",
    "restarted",
    "drifting",
    "unexplained",
]
# A mistake of whole hours or days is still that if the clock is also off by a little.
_NEAR_S = 5 * MINUTE_S
_JUMP_S = 10 * MINUTE_S
# A clock that gains or loses over seven minutes a day was stopped or set, it does not run so: an allowance, from memory.
_MOST_PPM_OF_A_RUNNING_CLOCK = 5_000
_START_OF_YEAR_DAYS = 90


@dataclass(frozen=True, slots=True)
class ClockSettings:
    """The operator's settings: how far off a clock may be, in seconds."""

    tolerance_s: int = 120

    def __post_init__(self) -> None:
        if not 0 <= self.tolerance_s < HOUR_S // 2:
            raise domain_error(
                "bad_tolerance", where="tolerance_s", found=self.tolerance_s, expected="0 to 1799, under half an hour"
            )


@dataclass(frozen=True, slots=True)
class ClockHealth:
    """The newest reading judged. ``change`` is the clock change that was not made, where the cause is that."""

    reading: ClockReading
    offset: Offset
    verdict: Verdict
    cause: Cause
    why: str
    change: ClockChange | None
    drift: Drift | None


def judge_clock(
    readings: Sequence[ClockReading],
    *,
    zone: tzinfo,
    set_at: datetime | None = None,
    settings: ClockSettings | None = None,
) -> ClockHealth | None:
    """Return what the clock's readings say, or None where none was taken since it was last set at ``set_at``.

    ``zone`` is the venue's. Readings may come in any order; those before ``set_at`` do not count.
    """
    tolerance_s = (settings or ClockSettings()).tolerance_s
    whole = walk([reading for reading in readings if set_at is None or reading.taken_at >= set_at], zone)
    if not whole.readings:
        return None
    jumped_at = _jump(whole, tolerance_s)
    walked = whole.since(jumped_at)
    found = _Found(walked, jumped_at > 0, drift(walked), zone, set_at, tolerance_s)
    cause, change = _cause(found)
    return ClockHealth(
        reading=found.reading,
        offset=found.offset,
        verdict=_verdict(cause, walked, tolerance_s),
        cause=cause,
        why=_why(cause, change, found),
        change=change,
        drift=found.drift,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """The walk since the last jump, and what the rules ask about it."""

    walked: Walk
    jumped: bool
    drift: Drift | None
    zone: tzinfo
    set_at: datetime | None
    tolerance_s: int

    @property
    def reading(self) -> ClockReading:
        return self.walked.readings[-1]

    @property
    def offset(self) -> Offset:
        return self.walked.offsets[-1]

    def near(self, around_s: int) -> bool:
        return self.offset.touches(max(self.tolerance_s, _NEAR_S), around_s=around_s)


def _cause(found: _Found) -> tuple[Cause, ClockChange | None]:
    """Name the mistake, the likelier names first."""
    if found.reading.contradicts_itself and (cause := _which_is_wrong(found)):
        return cause, None
    if found.offset.touches(found.tolerance_s):
        return "right", None
    if _walked_away(found):
        return "drifting", None
    change = _change_not_made(found)
    if change or found.near(HOUR_S) or found.near(-HOUR_S):
        return "hour_off", change
    if found.near(HALF_DAY_S) or found.near(-HALF_DAY_S):
        return "twelve_hours_off", None
    days = round(Fraction(found.offset.middle_s, DAY_S))
    if days and found.near(days * DAY_S):
        return ("wrong_weekday" if found.reading.shown_on is None else "wrong_date"), None
    if found.jumped or _shows_a_first_day(found):
        return "restarted", None
    runs = found.drift is not None and abs(found.drift.ppm) <= _MOST_PPM_OF_A_RUNNING_CLOCK
    if runs and found.drift is not None and found.drift.least_s_per_day > 0:
        return "drifting", None
    return "unexplained", None


def _which_is_wrong(found: _Found) -> Cause | None:
    """Of a weekday and a date that contradict each other, return which is wrong; None where that does not say it all."""
    if found.near(0):
        return "wrong_date"
    if found.reading.shown_on == found.reading.taken_at.astimezone(found.zone).date():
        return "wrong_weekday"
    return None


def _walked_away(found: _Found) -> bool:
    """Return whether three or more readings show it leaving the right time by steps, none over two thirds of the way."""
    first, steps_s = found.walked.offsets[0], found.walked.steps_s
    all_its_own = found.walked.moved_s == found.offset.low_s - first.low_s
    return (
        len(steps_s) >= 3
        and first.touches(found.tolerance_s)
        and all_its_own
        and max(map(abs, steps_s)) <= abs(found.offset.middle_s) * 2 // 3
    )


def _change_not_made(found: _Found) -> ClockChange | None:
    """Return the venue's last clock change if the table is off by just that, and was neither set nor seen right since."""
    change = last_change(found.zone, before=found.reading.taken_at)
    if change is None or not found.near(-change.shift_s):
        return None
    seen_right = any(
        reading.taken_at >= change.at and offset.touches(found.tolerance_s)
        for reading, offset in zip(found.walked.readings, found.walked.offsets, strict=True)
    )
    set_since = found.set_at is not None and found.set_at >= change.at
    return None if set_since or seen_right else change


def _shows_a_first_day(found: _Found) -> bool:
    """Return whether it shows a date soon after New Year of an earlier year, as a clock does that began afresh."""
    shown_on = found.reading.shown_on
    if shown_on is None:
        return False
    earlier = shown_on.year < found.reading.taken_at.astimezone(found.zone).year
    return earlier and shown_on.timetuple().tm_yday <= _START_OF_YEAR_DAYS


def _jump(whole: Walk, tolerance_s: int) -> int:
    """Return the index of the reading before which the clock jumped and after which it ran truly; 0 where none did.

    Truly: no faster off than a crystal, but for the minute that a display rounds away. The newest reading alone shows
    that only if it is right: then somebody set the clock and did not report it.
    """
    for i in range(len(whole.steps_s) - 1, 0, -1):
        between_s = elapsed(whole.readings[i - 1].taken_at, whole.readings[i].taken_at)
        if abs(whole.steps_s[i]) > MINUTE_S + between_s * CRYSTAL_PPM / 1_000_000:
            settled = i < len(whole.steps_s) - 1 or whole.offsets[i].touches(tolerance_s)
            return i if settled and abs(whole.steps_s[i]) > _JUMP_S else 0
    return 0


def _verdict(cause: Cause, walked: Walk, tolerance_s: int) -> Verdict:
    if cause != "right":
        return "off"
    told = any(not offset.cannot_tell and offset.touches(tolerance_s) for offset in walked.offsets)
    return "ok" if told else "cannot_tell"


def _why(cause: Cause, change: ClockChange | None, found: _Found) -> str:
    """Say it in a sentence, and what cannot be told."""
    amount, hours = _amount(found.offset.middle_s), _amount(_half_hours(found.offset.middle_s))
    sentences = {
        "right": "As far as its display shows, the clock is right.",
        "hour_off": f"It is {hours}"
        + (f": the clock change of {change.at.astimezone(found.zone).date()} was not made." if change else "."),
        "twelve_hours_off": f"It is {hours}: noon and midnight are mistaken for each other.",
        "wrong_weekday": "The time is right, the weekday is wrong.",
        "wrong_date": "The time is right, the date is wrong.",
        "restarted": f"It is {amount} and began afresh: it has lost power.",
        "drifting": f"It is {amount} and moves away steadily.",
        "unexplained": f"It is {amount}, and no usual mistake explains that.",
    }
    cannot = {"am_or_pm": "am from pm", "day": "which day it keeps"}
    untold = [f"Its display does not tell {cannot[what]}." for what in found.offset.cannot_tell]
    return " ".join([sentences[cause], *_pace(found.drift), *untold])


def _pace(found: Drift | None) -> list[str]:
    if found is None or not found.least_s_per_day:
        return []
    low, high = found.range_s_per_day
    if low <= -DAY_S <= high:
        return ["It shows the same time as before: it stands still."]
    words = f"It {'gains' if found.s_per_day > 0 else 'loses'} {abs(float(found.s_per_day)):.1f} s a day"
    if found.beyond_crystal:
        return [f"{words}, {abs(float(ppm(found.s_per_day))):.0f} ppm: no crystal drifts so."]
    return [f"{words}."]


def _amount(seconds: int) -> str:
    """Say an offset in its two largest units."""
    days, rest = divmod(abs(seconds), DAY_S)
    hours, minutes = rest // HOUR_S, rest % HOUR_S // MINUTE_S
    units = [f"{n} {unit}" for n, unit in ((days, "d"), (hours, "h"), (minutes, "min")) if n]
    return f"{' '.join(units[:2]) or 'under a minute'} {'fast' if seconds > 0 else 'slow'}"


def _half_hours(offset_s: int) -> int:
    """Return the whole half hours nearest to an offset: what a display of minutes leaves open is not said of hours."""
    return (offset_s + 900) // 1800 * 1800
