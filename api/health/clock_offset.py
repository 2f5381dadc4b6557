"""How far a table's clock is from its venue's time, and how fast it moves away.

- K1 Offset = what the table shows − the venue's local time at ``taken_at``; a table that is ahead has a positive one. A
  display of whole minutes gives a range of a minute, ``[low_s, high_s)``.
- K1 Without a weekday or a date the offset is known within a day (give or take whole days); on a 12-hour display
  without am or pm, within half a day. The answer is the possible offset nearest to zero, and names what stays open.
- K1 Where a weekday and a date contradict each other, the weekday counts, for it sets the price.
- K2 Drift needs two or more readings since the clock was set; it is in seconds a day and parts per million, and its range
  covers what the minutes shown allow. Clock changes between the readings, made at the table or not, are no drift.
- K2 More than 100 ppm is not a crystal's drift (20 ppm, a usual crystal's, is about a minute a month).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from fractions import Fraction
from itertools import accumulate
from typing import Literal

from ..pricing.errors import DomainError, Fault
from ..pricing.trading_day import to_us
from .clock_changes import utc_offset_s
from .theil_sen import evenly, median_slope

MINUTE_S, HOUR_S, HALF_DAY_S, DAY_S, WEEK_S = 60, 3_600, 43_200, 86_400, 604_800
SECOND_US = 1_000_000

CRYSTAL_PPM = 100
CannotTell = Literal["am_or_pm", "day"]


@dataclass(frozen=True, slots=True)
class ClockReading:
    """What a table's clock showed at an instant: whole minutes of the day; weekday (0 Monday … 6) and date if shown.

    ``display`` "12h" is one that does not tell am from pm; then 07:52 and 19:52 are the same. Unsaid, it is "24h".
    """

    taken_at: datetime
    minute_of_day: int
    weekday: int | None = None
    shown_on: date | None = None
    display: Literal["24h", "12h"] | None = None

    def __post_init__(self) -> None:
        faults = []
        if self.taken_at.tzinfo is None:
            faults.append(Fault("naive_instant", "taken_at", str(self.taken_at), "an instant with an offset"))
        if not 0 <= self.minute_of_day < 1440:
            faults.append(Fault("bad_time", "minute_of_day", str(self.minute_of_day), "0 to 1439"))
        if self.weekday is not None and not 0 <= self.weekday <= 6:
            faults.append(Fault("bad_weekday", "weekday", str(self.weekday), "0 (Monday) to 6"))
        if self.display not in ("24h", "12h", None):
            faults.append(Fault("bad_display", "display", repr(self.display), "24h or 12h"))
        if faults:
            raise DomainError(*faults)

    @property
    def contradicts_itself(self) -> bool:
        return self.weekday is not None and self.shown_on is not None and self.shown_on.weekday() != self.weekday


@dataclass(frozen=True, slots=True)
class Offset:
    """A range of seconds, the low end included. The true offset may differ by multiples of ``known_within_s`` (None: no)."""

    low_s: int
    high_s: int
    known_within_s: int | None = None
    cannot_tell: tuple[CannotTell, ...] = ()

    @property
    def middle_s(self) -> int:
        """The one figure to reckon with where a range will not do, as for wrong prices (K4)."""
        return (self.low_s + self.high_s) // 2

    def touches(self, tolerance_s: int, *, around_s: int = 0) -> bool:
        """Return whether the offset may be within the tolerance of ``around_s``."""
        return self.low_s - around_s <= tolerance_s and self.high_s - 1 - around_s >= -tolerance_s


@dataclass(frozen=True, slots=True)
class Drift:
    """How fast the clock gains (loses: negative) by ``n`` readings; ``range_s_per_day`` is what the minutes shown allow."""

    s_per_day: Fraction
    range_s_per_day: tuple[Fraction, Fraction]
    n: int

    @property
    def ppm(self) -> Fraction:
        """1 s a day is 11.574 ppm."""
        return ppm(self.s_per_day)

    @property
    def least_s_per_day(self) -> Fraction:
        """The least pace, either way, that the readings allow; 0 if the clock may well run true."""
        low, high = self.range_s_per_day
        return Fraction(0) if low <= 0 <= high else min(abs(low), abs(high))

    @property
    def beyond_crystal(self) -> bool:
        """Whether even the least pace is more than a crystal's."""
        return ppm(self.least_s_per_day) > CRYSTAL_PPM


@dataclass(frozen=True, slots=True)
class Walk:
    """The readings of one clock in time order: each one's offset, and by how much the clock itself moved before it."""

    readings: tuple[ClockReading, ...]
    offsets: tuple[Offset, ...]
    steps_s: tuple[int, ...]

    def since(self, index: int) -> Walk:
        return Walk(self.readings[index:], self.offsets[index:], (0, *self.steps_s[index + 1 :]))

    @property
    def moved_s(self) -> int:
        return sum(self.steps_s)


def elapsed_us(start: datetime, end: datetime) -> int:
    """Return the microseconds from one instant to another, true also for two wall times of one zone (- would mislead)."""
    return to_us(end) - to_us(start)


def elapsed(start: datetime, end: datetime) -> Fraction:
    """Return the seconds from one instant to another."""
    return Fraction(elapsed_us(start, end), SECOND_US)


def ppm(s_per_day: Fraction) -> Fraction:
    """Return seconds a day as parts per million."""
    return s_per_day * 1_000_000 / DAY_S


def measure(reading: ClockReading, zone: tzinfo) -> Offset:
    """Return how far the table is ahead of the wall clock of ``zone`` (K1)."""
    local = reading.taken_at.astimezone(zone)
    low_s = reading.minute_of_day * MINUTE_S - (local.hour * HOUR_S + local.minute * MINUTE_S + local.second)
    known_within_s: int | None = None
    cannot_tell: list[CannotTell] = []
    if reading.shown_on is not None and not reading.contradicts_itself:
        low_s += (reading.shown_on - local.date()).days * DAY_S
    elif reading.weekday is not None:
        low_s += (reading.weekday - local.weekday()) * DAY_S
        known_within_s = WEEK_S
    else:
        known_within_s = DAY_S
        cannot_tell.append("day")
    if reading.display == "12h":
        morning_s = low_s - (HALF_DAY_S if reading.minute_of_day >= 720 else 0)
        known_within_s = HALF_DAY_S if known_within_s == DAY_S else known_within_s
        cannot_tell.insert(0, "am_or_pm")
        nearest_s = min(
            (_nearest(possible_s, known_within_s) for possible_s in (morning_s, morning_s + HALF_DAY_S)),
            key=lambda possible_s: abs(possible_s + MINUTE_S // 2),
        )
    else:
        nearest_s = _nearest(low_s, known_within_s)
    return Offset(nearest_s, nearest_s + MINUTE_S, known_within_s, tuple(cannot_tell))


def walk(readings: Sequence[ClockReading], zone: tzinfo) -> Walk:
    """Measure readings in time order, telling the clock's own movement from clock changes and from what repeats.

    Between two readings the least movement that fits is taken: with or without the place's clock change, and modulo what
    the displays leave open.
    """
    ordered = tuple(sorted(readings, key=lambda reading: reading.taken_at))
    offsets = tuple(measure(reading, zone) for reading in ordered)
    ahead_s = [utc_offset_s(zone, reading.taken_at) for reading in ordered]
    steps_s = [0] * min(1, len(ordered))
    for i in range(1, len(ordered)):
        steps_s.append(_step(offsets[i - 1], offsets[i], shift_s=ahead_s[i] - ahead_s[i - 1]))
    return Walk(ordered, offsets, tuple(steps_s))


def _step(before: Offset, after: Offset, *, shift_s: int) -> int:
    """Return by how much a clock moved itself between two readings, where the wall clock was moved by ``shift_s``."""
    raw_s = after.low_s - before.low_s
    moduli = [offset.known_within_s for offset in (before, after) if offset.known_within_s is not None]
    modulus = min(moduli) if moduli else None
    step_s = _nearest(raw_s, modulus)
    return min(step_s, _nearest(raw_s + shift_s, modulus), key=abs) if shift_s else step_s


def drift(walked: Walk) -> Drift | None:
    """Return how fast the clock gains, by the robust line through its readings; None without two instants."""
    taken_us = [to_us(reading.taken_at) for reading in walked.readings]
    elapsed_s = [(us - taken_us[0]) // SECOND_US for us in taken_us]
    if elapsed_s[-1] == 0:
        return None
    moved_s = list(accumulate(walked.steps_s))
    slope = median_slope(evenly(list(zip(elapsed_s, moved_s, strict=True)))) * DAY_S
    ends = [Fraction((moved_s[-1] + doubt_s) * DAY_S, elapsed_s[-1]) for doubt_s in (-MINUTE_S, MINUTE_S)]
    return Drift(slope, (min(*ends, slope), max(*ends, slope)), len(elapsed_s))


def _nearest(seconds: int, known_within_s: int | None) -> int:
    """Return the same offset nearest to zero, where it repeats."""
    return seconds if known_within_s is None else (seconds + known_within_s // 2) % known_within_s - known_within_s // 2
