"""Weekly windows that overlap: which of them wins (W4)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time

from ..pricing.week import WEEKDAY_NAMES, Schedule, Weekly

_A_DAY = 1440


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two weekly windows with time in common on some days (0 = Monday); the later one in the list wins there."""

    loser: Weekly
    winner: Weekly
    places: tuple[int, int]
    days: tuple[int, ...]

    @property
    def detail(self) -> str:
        """Say which window wins, and when."""
        when = ", ".join(list(WEEKDAY_NAMES.values())[day] for day in self.days)
        return (
            f"{self.loser.name} and {self.winner.name} overlap on {when}. "
            f"{self.winner.name} wins, because it is later in the list."
        )


def overlaps(schedule: Schedule) -> tuple[Overlap, ...]:
    """Return the pairs of weekly windows that overlap, in the list's order; at most the first hundred."""
    spans = [_span(window, schedule.day_starts_at) for window in schedule.weekly]
    found: list[Overlap] = []
    for later, winner in enumerate(schedule.weekly):
        for earlier, loser in enumerate(schedule.weekly[:later]):
            days = tuple(sorted(loser.days & winner.days))
            (starts, ends), (other_starts, other_ends) = spans[earlier], spans[later]
            if days and starts < other_ends and other_starts < ends:
                found.append(Overlap(loser, winner, (earlier, later), days))
            if len(found) == _OVERLAPS_MAX:
                return tuple(found)
    return tuple(found)


_OVERLAPS_MAX = 100


def _span(window: Weekly, day_starts_at: time) -> tuple[int, int]:
    """Return a window's start and end (W3) in minutes after its trading day starts."""
    opens = _minutes(day_starts_at)
    starts = 0 if window.start is None else (_minutes(window.start) - opens) % _A_DAY
    ends = 0 if window.end is None else (_minutes(window.end) - opens) % _A_DAY
    return starts, ends or _A_DAY


def _minutes(wall: time) -> int:
    return wall.hour * 60 + wall.minute
