"""What a table sells at an instant: the newest thing known of its controller, wherever the table stood then (W8).

- Known is what was *keyed*, as far as the controller can hold it (S2), and what a reading *found*, where it found every
  day of the week. A replaced board makes it unknown again. What was voided does not count; it is never loaded.
- It goes with the machine: a move or a workshop changes nothing in it. A schedule keyed before its date is sold before
  its date.
- Where nothing is known the answer is what is listed, with the caution ``never_keyed``.
- A weekday clock knows no dates: a date or a recurring event is sold only where somebody keyed that day (``for_on``),
  and then on every such weekday until it is keyed back.
- Of two facts of one instant, a reading's finding counts after a keying, and a keying after a new board.
- Metered time is in no controller; somebody keeps it, by the schedule that was keyed, or else the listed one.

``sells`` answers for one instant, ``sold_during`` for one stay at a venue, ``sold_between`` for any time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Literal
from uuid import UUID

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import A_DAY
from ..pricing import DomainError, OnDate, Schedule, Stretch, Tariff, Timetable, Weekly
from ..pricing.in_force import Known, sold
from ..pricing.timetable import Owner, Span
from ..pricing.week import WEEKDAYS
from .fit import fit, held_day, held_week, plain_prices_in_words, prices_of, too_many_prices
from .nearest_prices import nearest_prices
from .week_settings import (
    Day,
    ListedWeek,
    ListedWindow,
    Prices,
    WeekSettings,
    cut_by_day,
    dated_windows,
    listed_week,
    overlaid,
    plain,
)

Basis = Literal["found", "keyed", "listed"]
SellsCaution = Literal[
    "never_keyed", "not_keyed_yet", "keyed_early", "keyed_elsewhere", "cannot_hold", "found_otherwise"
]  # fmt: skip

_A_WEEK = 7 * A_DAY
_ONE_DAY = timedelta(days=1)
_DATES_AHEAD = timedelta(days=400)
"""How far ahead of a keying the dates of a limited controller are worked out; quotes look as far for an opening."""
_ON_A_SHEET = timedelta(days=29)
_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
_AFTER_ALL = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """A schedule that somebody keyed, and of which venue it is.

    ``for_on``: keyed for that trading date, whose weekday then sells what the schedule lists on the date.
    """

    at: datetime
    schedule: Schedule
    venue_id: UUID
    effective_on: date
    of: Owner = "venue"
    for_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundWeek:
    """All days of the week as a reading found them; days of their own by date where the controller knows dates."""

    at: datetime
    week: WeekSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class NewBoard:
    """A board that was replaced: nothing is known of the controller since."""

    at: datetime


Fact = Keyed | FoundWeek | NewBoard
_ORDER = {NewBoard: 0, Keyed: 1, FoundWeek: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class StayAt:
    """Where a table stood since an instant, and what is listed for it there; no venue is the workshop."""

    id: UUID
    from_at: datetime
    venue_id: UUID | None
    listed: Timetable | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A table's controller, where the table stood (first stay first), and what is known of what it holds.

    ``facts`` are sorted by instant; those of one instant in the order in which they count.
    """

    controller: Controller
    currency: str
    stays: tuple[StayAt, ...]
    facts: tuple[Fact, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "facts", tuple(sorted(self.facts, key=lambda fact: (fact.at, _ORDER[type(fact)]))))

    def stay(self, at: datetime) -> StayAt:
        """Return where the table stood at an instant; before its first stay it stood there too."""
        return next((stay for stay in reversed(self.stays) if stay.from_at <= at), self.stays[0])

    def stay_of(self, id_: UUID) -> StayAt:
        """Return a stay by its id."""
        return next(stay for stay in self.stays if stay.id == id_)

    def blank_since(self, at: datetime) -> datetime | None:
        """Return when the newest board by an instant was put in, if one was."""
        return next((fact.at for fact in reversed(self.facts) if fact.at <= at and isinstance(fact, NewBoard)), None)

    def keyed(self, at: datetime) -> Keyed | None:
        """Return what was keyed last by an instant, if no board was replaced since."""
        newest = next(
            (fact for fact in reversed(self.facts) if fact.at <= at and not isinstance(fact, FoundWeek)), None
        )
        return newest if isinstance(newest, Keyed) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """What the controller holds since an instant, as a schedule for the venue where it stands; None: not known.

    ``keyed`` is the keying that it is, or that a reading confirmed.
    """

    since: datetime
    basis: Basis
    schedule: Schedule | None
    keyed: Keyed | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sells:
    """What a table sells at an instant, how that is known and since when; ``caution`` says why it is not what is listed."""

    at: datetime
    basis: Basis
    since: datetime | None
    caution: SellsCaution | None
    keyed: Keyed | None
    sold: Timetable
    listed: Timetable

    @property
    def span(self) -> Span:
        """What holds at the instant; refuses (``no_schedule_yet``) where nothing is known and nothing listed."""
        return self.sold.at(self.at)

    @property
    def differs(self) -> bool:
        """Whether the table's prices at the instant are other than the listed ones."""
        return not _alike(_at(self.sold, self.at), _at(self.listed, self.at))


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldDuring:
    """What a table sells while it stands at one venue: a timetable, and what it rests on."""

    venue_id: UUID
    sold: Timetable
    listed: Timetable
    holdings: tuple[Holding, ...]

    def at(self, at: datetime) -> Sells:
        """Return what the table sells at an instant."""
        holding = next((held for held in reversed(self.holdings) if held.since <= at), None)
        if holding is None or holding.schedule is None:
            listed = [stretch for stretch in self.listed.stretches if stretch.from_at <= at]
            since = listed[-1].from_at if listed else None
            basis: Basis = "listed"
            return Sells(
                at=at, basis=basis, since=since, caution="never_keyed", keyed=None, sold=self.sold, listed=self.listed
            )
        answer = Sells(
            at=at,
            basis=holding.basis,
            since=holding.since,
            caution=None,
            keyed=holding.keyed,
            sold=self.sold,
            listed=self.listed,
        )
        return replace(answer, caution=self._why(holding, at)) if answer.differs else answer

    def _why(self, holding: Holding, at: datetime) -> SellsCaution:
        """Return why what is sold is not what is listed."""
        keyed = holding.keyed
        if keyed is None:
            return "found_otherwise"
        listed = [stretch for stretch in self.listed.stretches if stretch.from_at <= at]
        now = listed[-1].schedule if listed else None
        on = self.listed.calendar.trading_day(at)
        if keyed.for_on is not None and keyed.for_on != on:
            return "keyed_early" if on < keyed.for_on else "not_keyed_yet"
        if now is not None and keyed.schedule.id == now.id:
            return "cannot_hold"
        if keyed.venue_id != self.venue_id:
            return "keyed_elsewhere"
        if keyed.effective_on > on or any(
            stretch.from_at > at and stretch.schedule is not None and stretch.schedule.id == keyed.schedule.id
            for stretch in self.listed.stretches
        ):
            return "keyed_early"
        asked = _at(Timetable(self.listed.calendar, (Stretch(from_at=_BEFORE_ALL, schedule=keyed.schedule),)), at)
        return "cannot_hold" if _alike(asked, _at(self.listed, at)) else "not_keyed_yet"


@dataclass(frozen=True, slots=True, kw_only=True)
class SoldBetween:
    """What a table sold between two instants; ``covered``: what it sold is known, or listed, all along.

    Time in the workshop counts as covered: nothing is sold there.
    """

    spans: tuple[Span, ...]
    covered: bool


def sells(machine: Machine, at: datetime) -> Sells | None:
    """Return what a table sells at an instant; None in the workshop, where nothing is sold."""
    during = sold_during(machine, machine.stay(at))
    return None if during is None else during.at(at)


def prices_to_drop(machine: Machine) -> int:
    """Return how many prices a controller is too small for, in all that is known to have been keyed or confirmed."""
    stated = [fact if isinstance(fact, Keyed) else _listed_then(machine, fact.at) for fact in machine.facts]
    schedules = {keyed.schedule for keyed in stated if keyed is not None}
    return sum(too_many_prices(schedule, machine.controller) for schedule in schedules)


def known_settings(machine: Machine, at: datetime) -> tuple[Keyed | None, WeekSettings | None, FoundWeek | None]:
    """Return what was keyed last by an instant, as the controller's settings, and what was found since, each if known.

    Of a controller that knows dates, the settings have those of the four weeks after the keying.
    """
    keyed = machine.keyed(at)
    found = next((fact for fact in reversed(machine.facts) if fact.at <= at and not isinstance(fact, Keyed)), None)
    week = None if keyed is None else keyed_week(keyed, machine.controller, machine.currency)
    is_newer = isinstance(found, FoundWeek) and (keyed is None or found.at >= keyed.at)
    return keyed, week, found if is_newer and isinstance(found, FoundWeek) else None


def keyed_week(keyed: Keyed, controller: Controller, currency: str) -> WeekSettings:
    """Return what a controller holds of what was keyed; where it knows dates, with those of the four weeks since."""
    listed = listed_week(keyed.schedule, turns_at=controller.day_turns_at)
    if controller.clock == "date":
        on = keyed.at.date() - _ONE_DAY
        ahead = dated_windows(keyed.schedule, first_on=on, last_on=on + _ON_A_SHEET)
        return fit(listed, controller, currency=currency, dated_windows=ahead).week
    return _held_week(_terms(keyed, keyed.at, controller), controller, currency)[0]


def sold_during(machine: Machine, stay: StayAt) -> SoldDuring | None:
    """Return what a table sells during a stay, by the wall clock of the venue; None in the workshop."""
    if stay.venue_id is None or stay.listed is None:
        return None
    holdings = tuple(_holdings(machine, stay.listed.calendar.day_starts_at))
    known = [
        Known(schedule=held.schedule, since=held.since, of="table" if held.keyed is None else held.keyed.of)
        for held in holdings
    ]
    return SoldDuring(venue_id=stay.venue_id, sold=sold(stay.listed, known), listed=stay.listed, holdings=holdings)


def sold_between(machine: Machine, *, from_at: datetime, to_at: datetime) -> SoldBetween:
    """Return the spans of what a table sold in [from_at, to_at), in time order, at every venue where it stood."""
    spans: list[Span] = []
    missing = False
    starts = [_BEFORE_ALL, *(stay.from_at for stay in machine.stays[1:]), _AFTER_ALL]
    for stay, start, end in zip(machine.stays, starts, starts[1:], strict=False):
        first, last = max(start, from_at), min(end, to_at)
        during = sold_during(machine, stay) if first < last else None
        if during is None:
            continue
        timetable = during.sold
        ends = [*(stretch.from_at for stretch in timetable.stretches[1:]), _AFTER_ALL]
        reached = first
        for stretch, stop in zip(timetable.stretches, ends, strict=False):
            begins, stops = max(stretch.from_at, first), min(stop, last)
            if stretch.schedule is not None and begins < stops:
                missing = missing or begins > reached
                spans += timetable.between(begins, stops)
                reached = stops
        missing = missing or reached < last
    return SoldBetween(spans=tuple(spans), covered=not missing)


def _holdings(machine: Machine, day_starts_at: time) -> Iterator[Holding]:
    """Yield what the controller held since each fact, as schedules of a venue whose trading day starts so."""
    last: Keyed | None = None
    for fact in machine.facts:
        if isinstance(fact, NewBoard):
            last = None
            yield Holding(since=fact.at, basis="listed", schedule=None)
        elif isinstance(fact, Keyed):
            last = fact
            held = _keyed_schedule(
                _terms(fact, fact.at, machine.controller), machine.controller, machine.currency, day_starts_at
            )
            yield Holding(since=fact.at, basis="keyed", schedule=held, keyed=fact)
        else:
            yield _found_holding(machine, fact, last, day_starts_at)


def _found_holding(machine: Machine, fact: FoundWeek, last: Keyed | None, day_starts_at: time) -> Holding:
    """Return what was found: what was keyed last, what was listed then, or prices of its own."""
    controller, currency = machine.controller, machine.currency
    meant = [keyed for keyed in (last, _listed_then(machine, fact.at)) if keyed is not None]
    for keyed in meant:
        terms = _terms(keyed, keyed.at, controller)
        week, _, _ = _held_week(terms, controller, currency)
        if _weeks_alike(week, fact.week):
            held = _keyed_schedule(terms, controller, currency, day_starts_at)
            return Holding(since=fact.at, basis="found", schedule=held, keyed=keyed)
    named = meant[0].schedule if meant else None
    held = _found_schedule(fact.week, named, controller, currency, day_starts_at)
    return Holding(since=fact.at, basis="found", schedule=held)


def _listed_then(machine: Machine, at: datetime) -> Keyed | None:
    """Return what was listed for the table at an instant as if it had been keyed then."""
    stay = machine.stay(at)
    held = [stretch for stretch in (stay.listed.stretches if stay.listed else ()) if stretch.from_at <= at]
    if stay.venue_id is None or not held or held[-1].schedule is None:
        return None
    assert stay.listed is not None
    effective_on = stay.listed.calendar.trading_day(held[-1].from_at)
    return Keyed(at=at, schedule=held[-1].schedule, venue_id=stay.venue_id, effective_on=effective_on, of=held[-1].of)


@dataclass(frozen=True, slots=True)
class _Terms:
    """A schedule as keyed: from which date on its dates are looked at, and the one date for which it was keyed."""

    schedule: Schedule
    first_on: date
    for_on: date | None


def _terms(keyed: Keyed, at: datetime, controller: Controller) -> _Terms:
    """Return the terms of a keying; the first date only matters to a controller that knows dates."""
    dated = controller.clock == "date"
    return _Terms(keyed.schedule, at.date() - _ONE_DAY if dated else date.min, None if dated else keyed.for_on)


@lru_cache(maxsize=4096)
def _held_week(terms: _Terms, controller: Controller, currency: str) -> tuple[WeekSettings, ListedWeek, bool]:
    """Return what a controller holds of a schedule, what the schedule asks of each weekday, and whether nothing is lost."""
    schedule = terms.schedule
    listed = usual = listed_week(schedule, turns_at=controller.day_turns_at)
    if terms.for_on is not None:
        listed = _with_date(usual, schedule, terms.for_on, controller.day_turns_at)
    if controller.clock == "date":
        exact = controller.windows_per_day is None and not any(
            nearest_prices(entry.tariff, controller)[1] for entry in schedule.entries
        )
        last_on = terms.first_on + _DATES_AHEAD
        ahead = () if exact else dated_windows(schedule, first_on=terms.first_on, last_on=last_on)
        return fit(listed, controller, currency=currency, dated_windows=ahead).week, listed, exact
    days = zip(usual_week(schedule, controller).days, usual, listed, strict=True)
    changed = tuple(day if asked is before else held_day(day.day, asked, controller) for day, before, asked in days)
    return WeekSettings(changed), listed, False


@lru_cache(maxsize=1024)
def usual_week(schedule: Schedule, controller: Controller) -> WeekSettings:
    """Return what a controller holds of the base and the weekly list of a schedule, in every week alike."""
    return held_week(listed_week(schedule, turns_at=controller.day_turns_at), controller)


def _with_date(listed: ListedWeek, schedule: Schedule, on: date, turns_at: int) -> ListedWeek:
    """Return the listed week with what the schedule has on one trading date laid over its weekdays."""
    days = list(listed)
    for dated in dated_windows(schedule, first_on=on, last_on=on):
        for day, piece in cut_by_day(dated, turns_at=turns_at):
            days[day.weekday()] = overlaid((*days[day.weekday()], piece))
    return tuple(days)


@lru_cache(maxsize=4096)
def _keyed_schedule(terms: _Terms, controller: Controller, currency: str, day_starts_at: time) -> Schedule:
    """Return what a controller sells of a schedule that was keyed, for a trading day that starts so."""
    schedule = terms.schedule
    week, listed, exact = _held_week(terms, controller, currency)
    same_days = schedule.day_starts_at == day_starts_at and terms.for_on is None
    if same_days and exact:
        return schedule
    pieces = list(_pieces(week, listed, _names(schedule, "As keyed", currency)))
    dated = tuple(_dated(week, schedule, listed, controller, _names(schedule, "As keyed", currency), day_starts_at))
    if same_days and all(piece.as_listed for piece in pieces):
        if not (schedule.recurring or schedule.dates):
            return schedule
        return replace(schedule, recurring=(), dates=dated)
    weekly = _weekly(pieces, schedule, controller.day_turns_at, day_starts_at)
    return Schedule(id=schedule.id, base=schedule.base, weekly=weekly, dates=dated, day_starts_at=day_starts_at)


@lru_cache(maxsize=4096)
def _found_schedule(
    week: WeekSettings, named: Schedule | None, controller: Controller, currency: str, day_starts_at: time
) -> Schedule:
    """Return settings found as a schedule; where they sell what ``named`` sells, with its names and tariffs."""
    whole_day = (ListedWindow(0, A_DAY, None, "As found"),)
    listed = listed_week(named, turns_at=controller.day_turns_at) if named else (whole_day,) * 7
    pieces = list(_pieces(week, listed, _names(named, "As found", currency)))
    dated = tuple(_dated(week, named, listed, controller, _names(named, "As found", currency), day_starts_at))
    weekly = _weekly(pieces, named, controller.day_turns_at, day_starts_at)
    return Schedule(id="", base=named.base if named else None, weekly=weekly, dates=dated, day_starts_at=day_starts_at)


@dataclass(frozen=True, slots=True)
class _DayPart:
    """A part of a controller's day, in minutes after it turns; ``as_listed``: it sells what the schedule lists."""

    day: int
    starts: int
    ends: int
    name: str
    tariff: Tariff | None
    as_listed: bool


@dataclass(frozen=True, slots=True)
class _Names:
    """What prices are called: by the first entry of a schedule that has them, else by a label."""

    label: str
    currency: str
    known: Mapping[Prices, tuple[str, Tariff | None]]

    def of(self, prices: Prices, wanted: ListedWindow) -> tuple[str, Tariff | None]:
        """Return the name and the tariff of prices that a controller sells where a schedule wants something."""
        asked = wanted.tariff
        if plain(prices_of(asked)) == plain(prices):
            return wanted.name, asked
        metered = asked.metered if asked and not prices.free else None
        name, tariff = self.known.get(plain(prices), (self.label, None))
        if tariff is not None and tariff.metered == metered:
            return name, tariff
        if not (prices.games or prices.minutes or prices.free or metered):
            return self.label, None
        words = plain_prices_in_words(prices, self.currency) if prices != Prices() else "metered time"
        own = Tariff(
            self.currency, games=prices.games, minutes=prices.minutes, metered=metered, free=prices.free, code=words
        )
        return self.label, own


def _names(named: Schedule | None, label: str, currency: str) -> _Names:
    entries = named.entries if named else ()
    return _Names(label, currency, {plain(prices_of(e.tariff)): (e.name, e.tariff) for e in reversed(entries)})


def _pieces(week: WeekSettings, listed: ListedWeek, names: _Names) -> Iterator[_DayPart]:
    for number, (day, windows) in enumerate(zip(week.days[:7], listed, strict=True)):
        yield from _pieces_of_day(number, day, windows, names)


def _pieces_of_day(number: int, day: Day, windows: Iterable[ListedWindow], names: _Names) -> Iterator[_DayPart]:
    """Yield the parts of a day in which the controller sells one thing and the schedule lists one, made one where alike."""
    last: _DayPart | None = None
    windows = tuple(windows)
    for held in day.windows:
        for wanted in windows:
            starts, ends = max(held.starts, wanted.starts), min(held.ends, wanted.ends)
            if starts >= ends:
                continue
            name, tariff = names.of(held.prices, wanted)
            piece = _DayPart(number, starts, ends, name, tariff, tariff is wanted.tariff)
            if last and (last.name, last.tariff, last.as_listed) == (piece.name, piece.tariff, piece.as_listed):
                last = replace(last, ends=ends)
                continue
            if last:
                yield last
            last = piece
    if last:
        yield last


def _weekly(
    pieces: Sequence[_DayPart], named: Schedule | None, turns_at: int, day_starts_at: time
) -> tuple[Weekly, ...]:
    """Return the pieces of a week as windows of trading days; what the base of ``named`` sells is left to it."""
    days_of: dict[tuple[int, int, str, Tariff | None], set[int]] = defaultdict(set)
    opens = day_starts_at.hour * 60 + day_starts_at.minute
    for piece in pieces:
        if piece.tariff == (named.base if named else None) and (piece.name == "Base" or piece.tariff is None):
            continue
        at = (piece.day * A_DAY + turns_at + piece.starts - opens) % _A_WEEK
        until = at + piece.ends - piece.starts
        while at < until:
            stop = min(until, (at // A_DAY + 1) * A_DAY)
            day = at // A_DAY
            days_of[at - day * A_DAY, stop - day * A_DAY, piece.name, piece.tariff].add(day % 7)
            at = stop
    return tuple(
        Weekly(name=name, days=frozenset(days), tariff=tariff, **_times(starts, ends, opens))
        for (starts, ends, name, tariff), days in days_of.items()
    )


def _dated(
    week: WeekSettings,
    named: Schedule | None,
    listed: ListedWeek,
    controller: Controller,
    names: _Names,
    day_starts_at: time,
) -> Iterator[OnDate]:
    """Yield the days that the controller holds by date as windows of trading dates."""
    opens = day_starts_at.hour * 60 + day_starts_at.minute
    for day in week.days[7:]:
        on = date.fromisoformat(day.day)
        wanted = listed[on.weekday()]
        if named is not None:
            around = dated_windows(named, first_on=on - _ONE_DAY, last_on=on + _ONE_DAY)
            cuts = [cut for dated in around for cut in cut_by_day(dated, turns_at=controller.day_turns_at)]
            wanted = overlaid((*wanted, *(piece for cut_on, piece in cuts if cut_on == on)))
        for piece in _pieces_of_day(0, day, wanted, names):
            at = controller.day_turns_at + piece.starts - opens
            until = at + piece.ends - piece.starts
            while at < until:
                later = at // A_DAY
                stop = min(until, (later + 1) * A_DAY)
                times = _times(at - later * A_DAY, stop - later * A_DAY, opens)
                yield OnDate(name=piece.name, on=on + later * _ONE_DAY, tariff=piece.tariff, **times)
                at = stop


def _times(starts: int, ends: int, opens: int) -> dict[str, time | None]:
    """Return a window's times on the wall clock from minutes after the trading day starts."""
    return {"start": _wall(opens + starts) if starts else None, "end": _wall(opens + ends) if ends < A_DAY else None}


def _wall(minute: int) -> time:
    return time(*divmod(minute % A_DAY, 60))


def _weeks_alike(one: WeekSettings, other: WeekSettings) -> bool:
    """Tell whether two controllers' weeks sell the same at every minute of every weekday, and on each date of both."""
    dates = sorted({day.day for week in (one, other) for day in week.days[7:]})
    for name in (*WEEKDAYS, *dates):
        left, right = (week.day(name) for week in (one, other))
        if left is None or right is None:
            continue
        if any(
            plain(a.prices) != plain(b.prices)
            for a in left.windows
            for b in right.windows
            if a.starts < b.ends and b.starts < a.ends
        ):
            return False
    return True


def _at(timetable: Timetable, at: datetime) -> Tariff | None | Literal["nothing listed"]:
    try:
        return timetable.at(at).tariff
    except DomainError:
        return "nothing listed"


def _alike(one: Tariff | None | str, other: Tariff | None | str) -> bool:
    """Tell whether money buys the same in a controller under both, whatever version of whatever tariff they are."""
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return plain(prices_of(one)) == plain(prices_of(other))
