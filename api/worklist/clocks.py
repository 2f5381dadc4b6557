"""Clocks to set, from their health (K2, K3): those off, those that will be, and those without summer time.

- A clock that is off is due from the reading that showed it.
- A clock that surely drifts comes up two weeks before it leaves the tolerance, without a new reading.
- A controller that does not change for summer time is due at the venue's next clock change; it comes up a week before,
  and stays until somebody sets or reads the clock.
- Where the display leaves open whether the clock is right, the venue is asked: a phone call is the cheapest visit.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, tzinfo
from fractions import Fraction

from ..health.clock_changes import ClockChange, last_change, next_change
from ..health.clock_verdict import ClockHealth
from ..health.table_health import TableHealth
from ..venues.dates_in_words import day_at, duration_in_words
from .work import Danger, Work, WorkCode

_BRING = ("an accurate watch or phone",)


def clock_work(
    health: TableHealth, *, came_at: datetime, tolerance_s: int, dangers: tuple[Danger, ...], now: datetime
) -> tuple[Work, ...]:
    """Return the work on a table's clock at the venue where the table has been since ``came_at``."""
    found = health.clock.health if health.clock else None
    changes = _by_hand(health, came_at=came_at, dangers=dangers, now=now)
    if found is None:
        return changes
    if found.verdict == "off":
        return (
            _set("clock_off", "off", found.reading.taken_at, f"{found.why}{_wrong(health)}", dangers=dangers),
            *changes,
        )
    return (*_drifting(found, tolerance_s, health.facts.zone, dangers), *_asked(found), *changes)


def _set(subject: str, code: WorkCode, due_at: datetime, reason: str, *, dangers: tuple[Danger, ...]) -> Work:
    return Work(
        kind="set_clock",
        code=code,
        subject=subject,
        due_at=due_at,
        reason=reason,
        bring=_BRING,
        needs_key=True,
        dangers=dangers,
    )


def _wrong(health: TableHealth) -> str:
    """Say how long a week the table charges the wrong price (K4)."""
    wrong = health.clock.wrong if health.clock else None
    minutes = sum(pair.seconds for pair in wrong.pairs) // 60 if wrong else 0
    return f" Charges the wrong price {duration_in_words(minutes * 60)} a week." if minutes else ""


def _drifting(found: ClockHealth, tolerance_s: int, zone: tzinfo, dangers: tuple[Danger, ...]) -> tuple[Work, ...]:
    pace = found.drift.least_s_per_day if found.drift else Fraction(0)
    if not pace or found.drift is None:
        return ()
    ahead = found.drift.s_per_day > 0
    left_s = tolerance_s - found.offset.low_s if ahead else tolerance_s + found.offset.high_s
    if left_s <= 0:
        return ()
    days = min(Fraction(left_s) / pace, Fraction(3650))
    leaves_at = found.reading.taken_at + timedelta(days=float(days))
    reason = (
        f"{'Gains' if ahead else 'Loses'} {float(pace):.1f} s a day: "
        f"{_tolerance(tolerance_s)} off about {day_at(leaves_at, zone)}."
    )
    work = _set("clock_off", "drifting", leaves_at.replace(microsecond=0), reason, dangers=dangers)
    return (replace(work, lead_days=14),)


def _tolerance(tolerance_s: int) -> str:
    return duration_in_words(tolerance_s) if tolerance_s >= 60 else f"{tolerance_s} s"


def _asked(found: ClockHealth) -> tuple[Work, ...]:
    if found.verdict != "cannot_tell":
        return ()
    return (
        Work(
            kind="ask_venue",
            code="clock_not_told",
            subject="clock",
            due_at=found.reading.taken_at,
            reason=found.why,
            words="Please tell me what the table's clock shows: the day of the week, the time, and am or pm.",
        ),
    )


def _by_hand(health: TableHealth, *, came_at: datetime, dangers: tuple[Danger, ...], now: datetime) -> tuple[Work, ...]:
    facts = health.facts
    if facts.changes_for_summer_time is not False:
        return ()
    zone: tzinfo = facts.zone
    seen_at = max([reading.taken_at for reading in facts.clock] + facts.done_at("clock"), default=came_at)
    changes = (last_change(zone, before=now), next_change(zone, after=now))
    return tuple(_change(change, zone, dangers) for change in changes if change and change.at > max(seen_at, came_at))


def _change(change: ClockChange, zone: tzinfo, dangers: tuple[Danger, ...]) -> Work:
    way = f"{'forward' if change.shift_s > 0 else 'back'} {duration_in_words(change.shift_s)}"
    reason = f"Clocks at the venue go {way} on {day_at(change.at, zone)}; the table does not change by itself: set it."
    subject = f"clocks_change:{change.at:%Y-%m-%d}"
    return replace(_set(subject, "clocks_change", change.at, reason, dangers=dangers), lead_days=7)
