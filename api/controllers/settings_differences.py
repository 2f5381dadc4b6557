"""Settings found on a table, against what was keyed and what is listed (S4).

- Each difference is named by day, stretch of the day, kind and value, with what is wanted and what was found.
- With it goes what it gives away or takes: the units wanted and found for each denomination that the table accepts and
  at each rung of either ladder.
- Windows are compared by the time they cover: a window that starts at the wrong time differs from that time to the right
  one, however many windows there are.
- A date without settings of its own is compared with those of its weekday. A day that was not reported is not compared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ..pool_tables.controller_days import weekday_of
from ..pricing.ladder import Ladder
from ..pricing.lines import Kind
from ..pricing.money import format_money
from .week_settings import Day, Prices, WeekSettings
from .wrong_purchases import WrongPurchase, effects

Against = Literal["keyed", "listed"]

_KINDS: tuple[Kind, ...] = ("games", "minutes")


@dataclass(frozen=True, slots=True)
class ValueFound:
    """One value: its name (``prices[1].price``), what is wanted there and what was found."""

    name: str
    wanted: str
    found: str


@dataclass(frozen=True, slots=True)
class SettingsDifference:
    """What is wrong with one kind from ``starts`` to ``ends`` of a day (minutes after it turns); ``sells`` None: free play."""

    against: Against
    day: str
    starts: int
    ends: int
    sells: Kind | None
    values: tuple[ValueFound, ...]
    effects: tuple[WrongPurchase, ...]


def differences(
    found: Sequence[Day], wanted: WeekSettings, *, against: Against, accepts: Sequence[int], currency: str
) -> tuple[SettingsDifference, ...]:
    """Return where ``found`` differs from ``wanted``; ``accepts`` are the table's denominations in minor units."""
    rows = []
    for day in found:
        right = wanted.day(day.day) or wanted.day(weekday_of(day.day))
        for starts, ends, want, have in _stretches(right, day) if right else ():
            if want.free or have.free:
                free = ValueFound("free", _yes(want.free), _yes(have.free))
                rows += (
                    []
                    if want.free == have.free
                    else [SettingsDifference(against, day.day, starts, ends, None, (free,), ())]
                )
                continue
            for kind in _KINDS:
                values = _values(want.ladder(kind), have.ladder(kind), currency)
                lost = effects(kind, wanted=want.ladder(kind), found=have.ladder(kind), amounts=accepts)
                rows += [SettingsDifference(against, day.day, starts, ends, kind, values, lost)] if values else []
    return tuple(rows)


def _stretches(right: Day, found: Day) -> list[tuple[int, int, Prices, Prices]]:
    """Return the longest stretches in which both days sell the same all along, where they differ."""
    stretches = []
    for want in right.windows:
        for have in found.windows:
            starts, ends = max(want.starts, have.starts), min(want.ends, have.ends)
            if starts < ends and want.prices != have.prices:
                stretches.append((starts, ends, want.prices, have.prices))
    return stretches


def _values(want: Ladder | None, have: Ladder | None, currency: str) -> tuple[ValueFound, ...]:
    if want is None or have is None:
        return () if want is have else (ValueFound("sold", _yes(want is not None), _yes(have is not None)),)
    rows: list[tuple[str, str, str]] = [("prices", str(len(want.rungs)), str(len(have.rungs)))]
    if want.counts_as != have.counts_as and min(len(want.rungs), len(have.rungs)) > 1:
        rows.append(("counting", want.counting, have.counting))
    for index, (right, found) in enumerate(zip(want.rungs, have.rungs, strict=False)):
        rows.append(
            (f"prices[{index}].price", format_money(right.price, currency), format_money(found.price, currency))
        )
        rows.append((f"prices[{index}].units", str(right.units), str(found.units)))
    return tuple(ValueFound(name, right, found) for name, right, found in rows if right != found)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
