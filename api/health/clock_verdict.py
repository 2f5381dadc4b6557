"""The verdict on a table's clock, and the cause in the words of the trade.

- K2 Named mistakes come before measured ones: an hour off, twelve hours, a wrong weekday or date, a restart after a loss
  of power, drift. ``hour_off`` names the clock change that nobody made, where one explains it and the clock was neither
  set nor seen right since; else it is only an hour off.
- K2 A clock that moves away step by step is ``drifting`` also while it passes an hour.
- K2 ``restarted``: the display shows a date in the first three months of an earlier year and not merely a wrong date;
  or, without a date, the clock jumped between two readings and has run on truly since.
- K3 A clock is off when it is surely outside the tolerance (2 min by default): a clock that may be right needs no visit.
- K1 A clock that looks right, on a display that leaves open the day or am and pm, is ``cannot_tell``, unless an earlier
  reading since the clock was set showed it.
- R5 Setting the clock starts a new series; a reading that reports the setting shows the clock as it was left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from fractions import Fraction
from typing import Literal

from ..pricing.errors import domain_error
from ..venues.dates_in_words import day_at, duration_in_words
from .clock_changes import ClockChange, last_change
from .clock_offset import (
    CRYSTAL_PPM,
    DAY_S,
    HALF_DAY_S,
    HOUR_S,
    MINUTE_S,
    SECOND_US,
    ClockReading,
    Drift,
    Offset,
    Walk,
    drift,
    elapsed_us,
    walk,
)

ClockVerdict = Literal["ok", "off", "cannot_tell"]

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
# A clock that gains or loses over seven minutes a day was stopped or set: an allowance, from memory.
_MAX_PPM_OF_A_RUNNING_CLOCK = 5_000
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
    verdict: ClockVerdict
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
    """Return the verdict on a clock; None without a reading since it was last set at ``set_at``.

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
    runs = found.drift is not None and abs(found.drift.ppm) <= _MAX_PPM_OF_A_RUNNING_CLOCK
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
    """Return whether it shows a date soon after New Year of an earlier year, as a clock does after a reset."""
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
        beyond_s = abs(whole.steps_s[i]) - MINUTE_S
        if beyond_s <= 0:
            continue
        between_us = elapsed_us(whole.readings[i - 1].taken_at, whole.readings[i].taken_at)
        if beyond_s * SECOND_US * 1_000_000 > between_us * CRYSTAL_PPM:
            settled = i < len(whole.steps_s) - 1 or whole.offsets[i].touches(tolerance_s)
            return i if settled and abs(whole.steps_s[i]) > _JUMP_S else 0
    return 0


def _verdict(cause: Cause, walked: Walk, tolerance_s: int) -> ClockVerdict:
    if cause != "right":
        return "off"
    told = any(not offset.cannot_tell and offset.touches(tolerance_s) for offset in walked.offsets)
    return "ok" if told else "cannot_tell"


def _why(cause: Cause, change: ClockChange | None, found: _Found) -> str:
    """Say the cause in a sentence, the pace, and what the display leaves open."""
    amount, hours = _amount(found.offset.middle_s), _amount(_half_hours(found.offset.middle_s))
    sentences = {
        "right": "Right, as far as the display shows.",
        "hour_off": hours
        + (f": still on the time before the clock change of {day_at(change.at, found.zone)}." if change else "."),
        "twelve_hours_off": f"{hours}: noon and midnight are swapped.",
        "wrong_weekday": "Right time, wrong weekday.",
        "wrong_date": "Right time, wrong date.",
        "restarted": f"{amount}: restarted after a loss of power.",
        "drifting": f"{amount} and getting worse.",
        "unexplained": f"{amount}, without a usual cause.",
    }
    cannot = {"am_or_pm": "am or pm", "day": "the day"}
    untold = [f"The display does not show {cannot[what]}." for what in found.offset.cannot_tell]
    pace = _pace(found.drift)
    if cause == "drifting" and pace.startswith(("gaining", "losing")):
        return " ".join([f"{amount} and {pace}.", *untold])
    return " ".join([sentences[cause], *([f"{pace[0].upper()}{pace[1:]}."] if pace else []), *untold])


def _pace(found: Drift | None) -> str:
    """Say how fast the clock gains or loses, without a full stop; nothing where it may run true."""
    if found is None or not found.least_s_per_day:
        return ""
    low, high = found.range_s_per_day
    if low <= -DAY_S <= high:
        return "stopped: it shows the same time as at the reading before"
    pace = f"{'gaining' if found.s_per_day > 0 else 'losing'} {abs(float(found.s_per_day)):.1f} s a day"
    return f"{pace}, too much for a healthy clock: suspect the board" if found.beyond_crystal else pace


def _amount(seconds: int) -> str:
    """Say an offset in its two largest units, such as ``8 min slow``; the first letter is never a letter."""
    return f"{duration_in_words(seconds)} {'fast' if seconds > 0 else 'slow'}"


def _half_hours(offset_s: int) -> int:
    """Return the whole half hours nearest to an offset: a display of minutes leaves less than that open."""
    return (offset_s + 900) // 1800 * 1800
