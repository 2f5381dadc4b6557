"""Two weeks of prices side by side: the times of the week at which each sells what (N4, W3).

- A list of prices holds all week; a schedule has its base and its weekly windows. Events and dates are left out.
- Times with the same two tariffs are one pair; its hours add up with those of the other pairs to the whole week.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from ..controllers.week_settings import listed_week
from ..pool_tables.controller_days import A_DAY
from ..pricing import Schedule, Tariff
from ..pricing.week import WEEKDAY_NAMES, WEEKDAYS

ALL_WEEK = "all week"


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedSide:
    """One side of the comparison: a tariff that holds all week, or a schedule."""

    name: str
    tariff: Tariff | None = None
    schedule: Schedule | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedWindow:
    """What both sides sell at some times of the week; a tariff None is closed. ``minutes`` of the week are theirs."""

    when: str
    minutes: int
    current: Tariff | None
    other: Tariff | None


MinuteSpan = tuple[int, int, Tariff | None]


def paired_windows(current: PricedSide, other: PricedSide) -> list[PairedWindow]:
    """Return the pairs of what both sides sell, the one with most hours first."""
    opens = max(_opens(side) for side in (current, other))
    weeks = [_week(side, opens) for side in (current, other)]
    times: dict[tuple[Tariff | None, Tariff | None], list[tuple[int, int, int]]] = defaultdict(list)
    for day in range(7):
        cuts = sorted({cut for week in weeks for start, end, _ in week[day] for cut in (start, end)})
        for start, end in pairwise(cuts):
            pair = tuple(next(tariff for from_, to, tariff in week[day] if from_ <= start < to) for week in weeks)
            times[pair[0], pair[1]].append((day, start, end))
    pairs = [
        PairedWindow(
            when=_in_words(spans, opens),
            minutes=sum(end - start for _, start, end in spans),
            current=mine,
            other=theirs,
        )
        for (mine, theirs), spans in times.items()
    ]
    return sorted(pairs, key=lambda pair: -pair.minutes)


def _opens(side: PricedSide) -> int:
    return 0 if side.schedule is None else side.schedule.day_starts_at.hour * 60 + side.schedule.day_starts_at.minute


def _week(side: PricedSide, opens: int) -> list[list[MinuteSpan]]:
    """Return what a side sells on each day, in minutes after the day starts."""
    if side.schedule is None:
        return [[(0, A_DAY, side.tariff)] for _ in range(7)]
    return [[(w.starts, w.ends, w.tariff) for w in day] for day in listed_week(side.schedule, turns_at=opens)]


def _in_words(spans: Sequence[tuple[int, int, int]], opens: int) -> str:
    """Write times of the week: ``mon-thu 15:00-18:00``; days with the same times together."""
    of_day: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for day, start, end in sorted(spans):
        if of_day[day] and of_day[day][-1][1] == start:
            of_day[day][-1] = of_day[day][-1][0], end
        else:
            of_day[day].append((start, end))
    if len(of_day) == 7 and all(day == [(0, A_DAY)] for day in of_day.values()):
        return ALL_WEEK
    words = []
    for _, group in groupby(_runs(of_day), key=lambda run: run[0]):
        for times, first, last in group:
            days = WEEKDAYS[first] if first == last else f"{WEEKDAYS[first]}-{WEEKDAYS[last]}"
            words.append(" ".join([days, *(_span(start, end, opens) for start, end in times)]).removesuffix(" "))
    return ", ".join(words)


def spoken(when: str) -> str:
    """Return times of the week as they are read aloud: ``Monday to Thursday 15:00 to 18:00``."""
    return "; ".join(_spoken(*group.split(" ")) for group in when.split(", "))


def _spoken(days: str, *times: str) -> str:
    first, _, last = days.partition("-")
    names = [WEEKDAY_NAMES[first]]
    if last:
        names += ["to" if WEEKDAYS.index(last) - WEEKDAYS.index(first) > 1 else "and", WEEKDAY_NAMES[last]]
    return " ".join([*names, *([" and ".join(time.replace("-", " to ") for time in times)] if times else [])])


def _runs(of_day: dict[int, list[tuple[int, int]]]) -> list[tuple[list[tuple[int, int]], int, int]]:
    """Return runs of neighbouring days with the same times, each with its first and last day."""
    runs: list[tuple[list[tuple[int, int]], int, int]] = []
    for day, times in of_day.items():
        if runs and runs[-1][0] == times and runs[-1][2] == day - 1:
            runs[-1] = (times, runs[-1][1], day)
        else:
            runs.append((times, day, day))
    return runs


def _span(start: int, end: int, opens: int) -> str:
    if (start, end) == (0, A_DAY):
        return ""
    return f"{_clock(opens + start)}-{_clock(opens + end)}"


def _clock(minute: int) -> str:
    hour, minute = divmod(minute % A_DAY, 60)
    return f"{hour:02}:{minute:02}"
