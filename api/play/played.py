"""How one table was played by one of its meters: counts, money a unit, what was bought at each price, and by window.

- Only steps between two readings inside the period count: nothing is spread over days.
- Money a unit is the money of some steps over the units of the same steps, where nothing but that kind was sold.
- Prices are told of steps in which every price is known and the money buys one kind. Steps that follow one another
  without a gap and sold by the same prices are looked at as one. Where nothing was sold for part of the time, money may have been put in for
  nothing (T2): then only the most that was spent is known.
- A window gets the steps that lie in it as a whole. Everything else is ``cannot_tell``, with why and how much.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from ..pricing.ladder import Ladder, Rung
from ..pricing.lines import PrepaidKind
from ..pricing.timetable import Span
from .meter_steps import MeterStep, PaidStep
from .prices_bought import Bought, Paid, spent_on, times_bought

WhyPrices = Literal[
    "money_not_counted",
    "test_games",
    "prices_unknown",
    "free_play",
    "metered_time",
    "other_kinds_sold",
    "nothing_sold",
    "contradiction",
]
WhyWindow = Literal["several_windows", "prices_unknown"]


@dataclass(frozen=True, slots=True)
class SoldMeanwhile:
    """What was sold during a step: the names of the windows, the ladders of the kind, and what else there was."""

    windows: frozenset[str]
    ladders: tuple[Ladder, ...]
    known: bool
    free: bool = False
    metered: bool = False
    others: bool = False
    closed: bool = False


@dataclass(slots=True)
class InWindow:
    """What was counted in a window, and the money and units of the steps in it whose money was counted."""

    counted: int = 0
    money_units: int = 0
    money: int = 0


@dataclass(slots=True, kw_only=True)
class Played:
    """The figures of one meter, or of several added up; money in minor units.

    ``prices`` has the least and the most times of each price; ``told`` are the units that they share.
    ``counted`` = the units of all windows + those of ``window_unknown``.
    """

    counted: int = 0
    money: int = 0
    money_units: int = 0
    told: int = 0
    prices: dict[Rung, tuple[int, int]] = field(default_factory=dict)
    price_unknown: Counter[WhyPrices] = field(default_factory=Counter)
    windows: dict[str, InWindow] = field(default_factory=lambda: defaultdict(InWindow))
    window_unknown: Counter[WhyWindow] = field(default_factory=Counter)


def played(
    steps: Sequence[MeterStep],
    paid: Sequence[PaidStep],
    spans: Sequence[Span],
    kind: PrepaidKind,
    *,
    accepts: Sequence[int] = (),
    counted_in: int = 1,
) -> Played:
    """Return how a table was played: its meter's ``steps``, those ``paid`` for, and the ``spans`` that it sold by.

    All in time order. ``accepts`` are denominations, ``counted_in`` the money of one count of the money meter.
    """
    found = Played(counted=sum(step.units for step in steps))
    starts = [span.from_at for span in spans if span.from_at is not None]
    seen: dict[tuple[datetime, datetime], SoldMeanwhile] = {}
    for step in steps:
        sold = seen[step.from_at, step.to_at] = _sold(spans, starts, step.from_at, step.to_at, kind)
        if (window := _window(sold)) is not None:
            found.windows[window].counted += step.units
        else:
            found.window_unknown["several_windows" if sold.known else "prices_unknown"] += step.units
    of_paid = [
        (one, seen.get((one.from_at, one.to_at)) or _sold(spans, starts, one.from_at, one.to_at, kind)) for one in paid
    ]
    for one, sold in of_paid:
        if sold.others:
            continue
        found.money += one.money
        found.money_units += one.units
        if (window := _window(sold)) is not None:
            found.windows[window].money += one.money
            found.windows[window].money_units += one.units
    with_money = sum(one.units + one.tested for one in paid)
    found.price_unknown["test_games"] = sum(one.tested for one in paid)
    found.price_unknown["money_not_counted"] = max(found.counted - with_money, 0)
    dearest = max((ladder.rungs[0].price for _, sold in of_paid for ladder in sold.ladders), default=0)
    for why, group in _neighbours(of_paid):
        _add_prices(found, why, group, dearest=dearest, accepts=accepts, counted_in=counted_in)
    found.price_unknown = +found.price_unknown
    found.window_unknown = +found.window_unknown
    _must_add_up(found, max(found.counted, with_money))
    return found


def played_in_all(parts: Iterable[Played]) -> Played:
    """Return the figures of several tables of one currency and kind as one."""
    whole = Played()
    for part in parts:
        for name in ("counted", "money", "money_units", "told"):
            setattr(whole, name, getattr(whole, name) + getattr(part, name))
        _add_times(whole, (Bought(rung, *times) for rung, times in part.prices.items()))
        whole.price_unknown.update(part.price_unknown)
        whole.window_unknown.update(part.window_unknown)
        for name, window in part.windows.items():
            into = whole.windows[name]
            into.counted += window.counted
            into.money_units += window.money_units
            into.money += window.money
    return whole


def _sold(
    spans: Sequence[Span], starts: Sequence[datetime], from_at: datetime, to_at: datetime, kind: PrepaidKind
) -> SoldMeanwhile:
    """Return what was sold from one instant up to another; of one instant, what was sold then."""
    windows: set[str] = set()
    ladders: list[Ladder] = []
    free = metered = others = closed = False
    reached = from_at
    i = max(bisect_right(starts, from_at) - 1, 0)
    while i < len(spans) and (span := spans[i]).from_at is not None and span.to_at is not None:
        if span.from_at > reached or (span.from_at >= to_at and span.from_at > from_at):
            break
        i += 1
        if span.to_at <= from_at:
            continue
        reached = max(reached, span.to_at)
        windows.add(span.name)
        if span.tariff is None:
            closed = True
            continue
        free = free or span.tariff.free
        metered = metered or span.tariff.metered is not None
        others = others or any(other != kind for other in span.tariff.kinds)
        ladder = getattr(span.tariff, kind)
        closed = closed or (ladder is None and not span.tariff.free)
        if ladder is not None and ladder not in ladders:
            ladders.append(ladder)
    known = reached >= to_at and bool(windows)
    return SoldMeanwhile(frozenset(windows), tuple(ladders), known, free, metered, others, closed)


def _window(sold: SoldMeanwhile) -> str | None:
    return next(iter(sold.windows)) if sold.known and len(sold.windows) == 1 else None


def _why_not(step: PaidStep, sold: SoldMeanwhile) -> WhyPrices | None:
    """Return why a step's prices cannot be told, the first reason that there is."""
    if not step.is_sure:
        return "test_games"
    if not sold.known:
        return "prices_unknown"
    if sold.free:
        return "free_play"
    if sold.metered:
        return "metered_time"
    if sold.others:
        return "other_kinds_sold"
    return None if sold.ladders else "nothing_sold"


def _neighbours(
    of_paid: Iterable[tuple[PaidStep, SoldMeanwhile]],
) -> Iterator[tuple[WhyPrices | None, list[tuple[PaidStep, SoldMeanwhile]]]]:
    """Yield runs of steps that follow one another without a gap and sold by the same prices, each with why not to tell.

    A step of no length in which nothing was counted is passed over: two readings of one instant.
    """
    known: tuple[object, ...] = ()
    run: list[tuple[PaidStep, SoldMeanwhile]] = []
    why: WhyPrices | None = None
    for step, sold in of_paid:
        if step.from_at == step.to_at and not (step.units or step.money):
            continue
        alike = (_why_not(step, sold), sold.ladders, sold.closed)
        if run and (alike != known or run[-1][0].to_at != step.from_at):
            yield why, run
            run = []
        known, why = alike, alike[0]
        run.append((step, sold))
    if run:
        yield why, run


def _add_prices(
    found: Played,
    why: WhyPrices | None,
    group: Sequence[tuple[PaidStep, SoldMeanwhile]],
    *,
    dearest: int,
    accepts: Sequence[int],
    counted_in: int,
) -> None:
    """Add what a run of steps bought; ``dearest`` is the highest first price, below which money may have been left before."""
    units, money = (sum(getattr(step, name) for step, _ in group) for name in ("units", "money"))
    if why is not None:
        found.price_unknown[why] += units
        return
    sold = group[0][1]
    first_price = max(ladder.rungs[0].price for ladder in sold.ladders)
    paid = spent_on(money, first_price=first_price, first_price_before=dearest, accepts=accepts, counted_in=counted_in)
    times = times_bought(
        units,
        Paid(0, paid.most) if sold.closed else paid,
        [rung for ladder in sold.ladders for rung in ladder.rungs],
    )
    if times is None:
        found.price_unknown["contradiction"] += units
        return
    found.told += units
    _add_times(found, times)


def _add_times(found: Played, times: Iterable[Bought]) -> None:
    for bought in times:
        least, most = found.prices.get(bought.rung, (0, 0))
        found.prices[bought.rung] = least + bought.least, most + bought.most


def _must_add_up(found: Played, units: int) -> None:
    in_windows = sum(window.counted for window in found.windows.values())
    if in_windows + found.window_unknown.total() != found.counted:
        raise ValueError(f"{found.counted} counted, {in_windows} in windows, {found.window_unknown} in none")
    if found.told + found.price_unknown.total() != units:
        raise ValueError(f"{units} units, {found.told} at known prices, {found.price_unknown} at none")


def share_of(units: int, told: int) -> int | None:
    """Return tenths of a per cent, halves up; None of nothing."""
    return None if not told else (2000 * units + told) // (2 * told)


def windows_in_order(windows: Mapping[str, InWindow]) -> list[tuple[str, InWindow]]:
    """Return the windows, the one with the most units first."""
    return sorted(windows.items(), key=lambda item: (-item[1].counted, item[0]))
