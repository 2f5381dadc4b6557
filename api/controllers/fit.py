"""The week that a controller holds nearest to the listed one, and what it cannot hold, first (S1, S2).

- S2: what cannot be held is said once, with all the places where it is wanted.
- Of too many windows in a day those stay with which the prices are wrong for the fewest minutes; a window that has no
  place of its own sells what its neighbour sells.
- A date or a recurring event is held as a day of its own by a controller that knows dates; on any other it is keyed by
  hand and taken back, or the table sells the week's settings. One that changes nothing needs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import product
from operator import add

from ..pool_tables.controller import Controller
from ..pricing.ladder import Ladder, count_in_words
from ..pricing.lines import Kind
from ..pricing.money import format_money
from ..pricing.tariff import Tariff
from ..pricing.week import WEEKDAYS, Schedule
from .nearest_prices import Limitation, nearest_prices
from .week_settings import (
    DatedWindow,
    Day,
    ListedWeek,
    ListedWindow,
    Prices,
    SettingsWindow,
    WeekSettings,
    cut_by_day,
    merged_windows,
    overlaid,
)
from .wrong_purchases import WrongPurchase, effects


@dataclass(frozen=True, slots=True)
class DaySlot:
    """Where something is wanted: a day (``mon`` …, or a date), minutes after it turns, and the schedule entry's name."""

    day: str
    starts: int
    ends: int
    name: str


@dataclass(frozen=True, slots=True)
class CannotHold:
    """A limitation and all its places, in the week's order."""

    limitation: Limitation
    places: tuple[DaySlot, ...]


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is to be keyed, and what it leaves out or changes."""

    week: WeekSettings
    cannot_hold: tuple[CannotHold, ...]


STEPS_OF_A_PRICE = 2_200
"""The effort of a price that a controller is too small for: which one goes is found by trying them."""

LimitationsFound = list[tuple[Limitation, DaySlot]]


def fit(
    listed: ListedWeek, controller: Controller, *, currency: str, dated_windows: Sequence[DatedWindow] = ()
) -> Fitted:
    """Return the week nearest to the listed one that the controller holds; of two ``dated_windows`` the later wins."""
    found: LimitationsFound = []
    week = list(held_week(listed, controller).days)
    days = list(week)
    for day, windows in zip(week, listed, strict=True):
        found += _not_held(day, windows, controller, currency)
    for on, changed in _changed_days(listed, dated_windows, controller):
        if controller.clock == "date":
            windows = overlaid((*listed[on.weekday()], *changed))
            day = held_day(on.isoformat(), windows, controller)
            found += _not_held(day, windows, controller, currency)
            days += [day] if day.windows != week[on.weekday()].windows else []
        else:
            for piece in changed:
                found += _by_hand(on, piece, week[on.weekday()], controller, currency)
    places: dict[Limitation, list[DaySlot]] = {}
    for limitation, place in found:
        places.setdefault(limitation, []).append(place)
    return Fitted(
        WeekSettings(tuple(days)), tuple(CannotHold(limitation, tuple(at)) for limitation, at in places.items())
    )


def too_many_prices(schedule: Schedule, controller: Controller) -> int:
    """Return how many prices of a schedule's tariffs are more than a controller holds of their kind."""
    tariffs = {entry.tariff for entry in schedule.entries if entry.tariff is not None}
    ladders = [(tariff.games, controller.games) for tariff in tariffs]
    ladders += [(tariff.minutes, controller.minutes) for tariff in tariffs]
    return sum(
        max(0, len(ladder.rungs) - limits.prices_max)
        for ladder, limits in ladders
        if ladder is not None and limits.prices_max is not None
    )


def held_week(listed: ListedWeek, controller: Controller) -> WeekSettings:
    """Return the week nearest to the listed one that the controller holds, without a word of what it cannot hold."""
    return WeekSettings(tuple(held_day(name, day, controller) for name, day in zip(WEEKDAYS, listed, strict=True)))


def held_day(name: str, listed: tuple[ListedWindow, ...], controller: Controller) -> Day:
    """Return the day of the controller, by its name, nearest to the listed one."""
    return Day(name, _nearest_windows(listed, controller))


def as_listed(listed: ListedWeek) -> WeekSettings:
    """Return the listed week as settings, whatever a controller can hold; metered time has no place in them."""
    return WeekSettings(
        tuple(
            Day(name, merged_windows(SettingsWindow(w.starts, w.ends, prices_of(w.tariff)) for w in windows))
            for name, windows in zip(WEEKDAYS, listed, strict=True)
        )
    )


def prices_of(tariff: Tariff | None) -> Prices:
    """Return what a tariff (None: closed) sells, whatever a controller can hold, but for metered time."""
    return Prices(tariff.games, tariff.minutes, tariff.free) if tariff else Prices()


@lru_cache(maxsize=512)
def _nearest_windows(listed: tuple[ListedWindow, ...], controller: Controller) -> tuple[SettingsWindow, ...]:
    """Return the windows of a day that the controller holds nearest to the listed ones."""
    wanted = merged_windows(
        SettingsWindow(entry.starts, entry.ends, nearest_prices(entry.tariff, controller)[0]) for entry in listed
    )
    most = controller.windows_per_day
    return wanted if most is None or len(wanted) <= most else _fewest_wrong_minutes(wanted, most)


def _not_held(day: Day, listed: Iterable[ListedWindow], controller: Controller, currency: str) -> LimitationsFound:
    """Say what the controller cannot hold of a day of which it holds ``day``."""
    found: LimitationsFound = []
    nearest = []
    for entry in listed:
        prices, limitations = nearest_prices(entry.tariff, controller)
        nearest.append((entry, prices))
        found += [(limitation, DaySlot(day.day, entry.starts, entry.ends, entry.name)) for limitation in limitations]
    for (entry, prices), other in product(nearest, day.windows):
        starts, ends = max(entry.starts, other.starts), min(entry.ends, other.ends)
        if starts < ends and prices != other.prices:
            assert controller.windows_per_day is not None
            limitation = _too_many_windows(controller.windows_per_day, prices, other.prices, currency)
            found.append((limitation, DaySlot(day.day, starts, ends, entry.name)))
    return found


def _fewest_wrong_minutes(wanted: Sequence[SettingsWindow], most: int) -> tuple[SettingsWindow, ...]:
    """Return at most ``most`` windows, each selling what one of ``wanted`` sells, right for the most minutes.

    The day is cut into runs of wanted windows; a run sells the prices that are wanted in it for the most minutes. The best
    plan of at most so many runs up to each window grows run by run. Of equally good plans the one of fewest runs wins,
    and of these the one whose last run begins first. Takes ``most`` × (number of windows)² steps.
    """
    right, sold = _runs(wanted)
    plans, begins = [row[0] for row in right], [[0] * len(wanted)]
    for _ in range(1, most):
        grown, begun = plans[:1], [0]
        for last in range(1, len(wanted)):
            sums = list(map(add, plans, right[last][1:]))
            score = max(sums)
            better = score > plans[last]
            grown.append(score if better else plans[last])
            begun.append(sums.index(score) + 1 if better else begins[-1][last])
        if grown == plans:
            break
        plans = grown
        begins.append(begun)
    held: list[SettingsWindow] = []
    last = len(wanted) - 1
    while last >= 0:
        first = begins.pop()[last]
        prices = wanted[sold[last][first]].prices
        held.append(SettingsWindow(wanted[first].starts, wanted[last].ends, prices))
        last = first - 1
    return merged_windows(reversed(held))


def _runs(wanted: Sequence[SettingsWindow]) -> tuple[list[list[int]], list[list[int]]]:
    """Return of each run of windows, by its last and its first: for how many minutes it can be right, and selling what.

    What it sells is given by a window that wants it; of equal minutes the first to reach them.
    """
    kinds = {prices: kind for kind, prices in enumerate(dict.fromkeys(window.prices for window in wanted))}
    of = [kinds[window.prices] for window in wanted]
    lengths = [window.ends - window.starts for window in wanted]
    right = [[0] * (last + 1) for last in range(len(wanted))]
    sold = [[0] * (last + 1) for last in range(len(wanted))]
    for first in range(len(wanted)):
        minutes = [0] * len(kinds)
        most, best = 0, first
        for last in range(first, len(wanted)):
            minutes[of[last]] += lengths[last]
            if minutes[of[last]] > most:
                most, best = minutes[of[last]], last
            right[last][first], sold[last][first] = most, best
    return right, sold


@lru_cache(maxsize=1024)
def _too_many_windows(most: int, wanted: Prices, sold: Prices, currency: str) -> Limitation:
    limit = f"at most {most} window{'' if most == 1 else 's'} a day"
    return Limitation(
        "too_many_windows",
        None,
        f"a window of its own with {plain_prices_in_words(wanted, currency)}",
        limit,
        f"a schedule with {limit}, or these prices at another time",
        f"the table sells {plain_prices_in_words(sold, currency)}",
        _lost(wanted, sold),
    )


def _lost(wanted: Prices, sold: Prices) -> tuple[WrongPurchase, ...]:
    games = effects("games", wanted=wanted.games, found=sold.games)
    return games + effects("minutes", wanted=wanted.minutes, found=sold.minutes)


def _changed_days(
    listed: ListedWeek, dated_windows: Iterable[DatedWindow], controller: Controller
) -> list[tuple[date, list[ListedWindow]]]:
    """Return the controller's dates on which dated windows change what the week lists, each with the pieces that do."""
    by_date: dict[date, list[ListedWindow]] = {}
    for dated in dated_windows:
        for on, piece in cut_by_day(dated, turns_at=controller.day_turns_at):
            by_date.setdefault(on, []).append(piece)
    changed = []
    for on, pieces in sorted(by_date.items()):
        kept = [piece for piece in overlaid(pieces) if _changes(piece, listed[on.weekday()])]
        if kept:
            changed.append((on, kept))
    return changed


def _changes(piece: ListedWindow, windows: Iterable[ListedWindow]) -> bool:
    meanwhile = (window for window in windows if window.starts < piece.ends and piece.starts < window.ends)
    return any(window.tariff != piece.tariff for window in meanwhile)


def _by_hand(on: date, piece: ListedWindow, day: Day, controller: Controller, currency: str) -> LimitationsFound:
    """Say what to key by hand, and back, for each stretch in which the table would sell something else."""
    wanted, limitations = nearest_prices(piece.tariff, controller)
    if piece.tariff is not None and piece.tariff.free and not controller.free:
        return _free_by_hand(on, piece, day, currency)
    found = [(limitation, DaySlot(on.isoformat(), piece.starts, piece.ends, piece.name)) for limitation in limitations]
    for window in day.windows:
        starts, ends = max(window.starts, piece.starts), min(window.ends, piece.ends)
        if starts < ends and window.prices != wanted:
            limitation = Limitation(
                "date_not_held",
                None,
                f"{piece.name}: {plain_prices_in_words(wanted, currency)}",
                "the controller knows weekdays, not dates",
                "key it for that day and key it back afterwards, or make it a weekly window",
                f"the table sells {plain_prices_in_words(window.prices, currency)}",
                _lost(wanted, window.prices),
            )
            found.append((limitation, DaySlot(on.isoformat(), starts, ends, piece.name)))
    return found


def _free_by_hand(on: date, piece: ListedWindow, day: Day, currency: str) -> LimitationsFound:
    """Say what a table sells on a free day that its controller has no setting for, and what somebody can do."""
    found: LimitationsFound = []
    for window in day.windows:
        starts, ends = max(window.starts, piece.starts), min(window.ends, piece.ends)
        if starts < ends:
            limitation = Limitation(
                "free_play_not_held",
                None,
                f"{piece.name}: free play",
                "no setting for free play, and no dates",
                "a tariff with prices in its place, or somebody who starts play by hand that day",
                f"the table sells {plain_prices_in_words(window.prices, currency)}",
            )
            found.append((limitation, DaySlot(on.isoformat(), starts, ends, piece.name)))
    return found


def plain_prices_in_words(prices: Prices, currency: str) -> str:
    """Return the plain price of each kind sold: ``1 game for 0.75``."""
    if prices.free:
        return "free play"
    ladders: tuple[tuple[Kind, Ladder | None], ...] = (("games", prices.games), ("minutes", prices.minutes))
    plain = [(kind, ladder.rungs[0]) for kind, ladder in ladders if ladder]
    words = [f"{count_in_words(rung.units, kind)} for {format_money(rung.price, currency)}" for kind, rung in plain]
    return " and ".join(words) or "nothing"
