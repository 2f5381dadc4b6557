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
from itertools import product

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import DAYS
from ..pricing.ladder import Ladder, count_of
from ..pricing.lines import Kind
from ..pricing.money import format_money
from ..pricing.tariff import Tariff
from .effects import WrongPurchase, effects
from .nearest import Limitation, nearest_prices
from .week_settings import (
    DatedWindow,
    Day,
    ListedWeek,
    ListedWindow,
    Prices,
    SettingsWindow,
    WeekSettings,
    cut_by_day,
    overlaid,
    tidy,
)


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


Found = list[tuple[Limitation, DaySlot]]


def fit(
    listed: ListedWeek, controller: Controller, *, currency: str, dated_windows: Sequence[DatedWindow] = ()
) -> Fitted:
    """Return the week nearest to the listed one that the controller holds; of two ``dated_windows`` the later wins."""
    found: Found = []
    days = [_held_day(name, windows, controller, found, currency) for name, windows in zip(DAYS, listed, strict=True)]
    for on, changed in _changed_days(listed, dated_windows, controller):
        if controller.clock == "date":
            windows = overlaid((*listed[on.weekday()], *changed))
            day = _held_day(on.isoformat(), windows, controller, found, currency)
            days += [day] if day.windows != days[on.weekday()].windows else []
        else:
            for piece in changed:
                found += _by_hand(on, piece, days[on.weekday()], controller, currency)
    places: dict[Limitation, list[DaySlot]] = {}
    for limitation, place in found:
        places.setdefault(limitation, []).append(place)
    return Fitted(
        WeekSettings(tuple(days)), tuple(CannotHold(limitation, tuple(at)) for limitation, at in places.items())
    )


def as_listed(listed: ListedWeek) -> WeekSettings:
    """Return the listed week as settings, whatever a controller can hold; metered time has no place in them."""
    return WeekSettings(
        tuple(
            Day(name, tidy(SettingsWindow(w.starts, w.ends, prices_of(w.tariff)) for w in windows))
            for name, windows in zip(DAYS, listed, strict=True)
        )
    )


def prices_of(tariff: Tariff | None) -> Prices:
    """Return what a tariff (None: closed) sells, whatever a controller can hold, but for metered time."""
    return Prices(tariff.games, tariff.minutes, tariff.free) if tariff else Prices()


def _held_day(name: str, listed: Iterable[ListedWindow], controller: Controller, found: Found, currency: str) -> Day:
    nearest = []
    for entry in listed:
        prices, limitations = nearest_prices(entry.tariff, controller)
        nearest.append((SettingsWindow(entry.starts, entry.ends, prices), entry.name))
        found += [(limitation, DaySlot(name, entry.starts, entry.ends, entry.name)) for limitation in limitations]
    wanted = tidy(window for window, _ in nearest)
    most = controller.windows_per_day
    if most is None or len(wanted) <= most:
        return Day(name, wanted)
    held = _fewest_wrong_minutes(wanted, most)
    for (window, entry_name), other in product(nearest, held):
        starts, ends = max(window.starts, other.starts), min(window.ends, other.ends)
        if starts < ends and window.prices != other.prices:
            limitation = _too_many_windows(most, window.prices, other.prices, currency)
            found.append((limitation, DaySlot(name, starts, ends, entry_name)))
    return Day(name, held)


def _fewest_wrong_minutes(wanted: Sequence[SettingsWindow], most: int) -> tuple[SettingsWindow, ...]:
    """Return at most ``most`` windows, each selling what one of ``wanted`` sells, right for the most minutes.

    Best plans by (windows used, prices of the last), grown window by window; the first found wins a tie.
    """
    kinds = list(dict.fromkeys(window.prices for window in wanted))
    best: dict[tuple[int, int], tuple[int, tuple[SettingsWindow, ...]]] = {(0, -1): (0, ())}
    for window in wanted:
        grown: dict[tuple[int, int], tuple[int, tuple[SettingsWindow, ...]]] = {}
        for (used, last), (right, plan) in best.items():
            for kind, prices in enumerate(kinds):
                state = (used + (kind != last), kind)
                score = right + (window.ends - window.starts) * (prices == window.prices)
                if state[0] <= most and (state not in grown or score > grown[state][0]):
                    grown[state] = (score, (*plan, SettingsWindow(window.starts, window.ends, prices)))
        best = grown
    _, plan = max(best.values(), key=lambda scored: scored[0])
    return tidy(plan)


def _too_many_windows(most: int, wanted: Prices, sold: Prices, currency: str) -> Limitation:
    limit = f"at most {most} window{'' if most == 1 else 's'} a day"
    return Limitation(
        "too_many_windows",
        None,
        f"a window of its own with {in_words(wanted, currency)}",
        limit,
        f"a schedule with {limit}, or these prices at another time",
        f"the table sells {in_words(sold, currency)}",
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


def _by_hand(on: date, piece: ListedWindow, day: Day, controller: Controller, currency: str) -> Found:
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
                f"{piece.name}: {in_words(wanted, currency)}",
                "the controller knows weekdays, not dates",
                "key it for that day and key it back afterwards, or make it a weekly window",
                f"the table sells {in_words(window.prices, currency)}",
                _lost(wanted, window.prices),
            )
            found.append((limitation, DaySlot(on.isoformat(), starts, ends, piece.name)))
    return found


def _free_by_hand(on: date, piece: ListedWindow, day: Day, currency: str) -> Found:
    """Say what a table sells on a free day that its controller has no setting for, and what somebody can do."""
    found: Found = []
    for window in day.windows:
        starts, ends = max(window.starts, piece.starts), min(window.ends, piece.ends)
        if starts < ends:
            limitation = Limitation(
                "free_play_not_held",
                None,
                f"{piece.name}: free play",
                "no setting for free play, and no dates",
                "a tariff with prices in its place, or somebody who starts play by hand that day",
                f"the table sells {in_words(window.prices, currency)}",
            )
            found.append((limitation, DaySlot(on.isoformat(), starts, ends, piece.name)))
    return found


def in_words(prices: Prices, currency: str) -> str:
    """Return the plain price of each kind sold: ``1 game for 0.75``."""
    if prices.free:
        return "free play"
    ladders: tuple[tuple[Kind, Ladder | None], ...] = (("games", prices.games), ("minutes", prices.minutes))
    plain = [(kind, ladder.rungs[0]) for kind, ladder in ladders if ladder]
    words = [f"{count_of(rung.units, kind)} for {format_money(rung.price, currency)}" for kind, rung in plain]
    return " and ".join(words) or "nothing"
