"""Asks the engine what money buys at a venue, at a table, or by a draft; stores nothing.

- A venue answers with what is listed; a table with what it sells (W8), how that is known and since when. Where that is
  not what is listed then, a caution says why, and the listed answer is beside it. ``basis=listed`` asks for that alone.
- A table is asked about where it stood at the instant of the question: the past is never repriced, moved or not (W6).
- A time without an offset is the venue's wall clock (W1); a day and a time are the next such of its trading days (W2).
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from datetime import time as wall_time
from functools import cache
from typing import Any, NamedTuple, TypeVar
from uuid import UUID

from pydantic import MISSING
from sqlmodel import Session

from ..controllers.queries import sold_at_place
from ..controllers.schemas import BasisAsked
from ..controllers.sells import Sells, SoldDuring
from ..pool_tables.rows import StayRow
from ..pool_tables.service import stay_at, stays_of
from ..pricing import (
    Answer,
    Calendar,
    DomainError,
    Fault,
    Insert,
    Schedule,
    Start,
    Stretch,
    Tariff,
    Timetable,
    charge_play,
    follow,
    parse_money,
    quote,
    zone_named,
)
from ..pricing.effort import STEPS_MAX, Effort
from ..pricing.week import WEEKDAYS, Weekday
from ..schedules.queries import PriceContext, listed_at, place_of_stay, place_of_venue
from ..store.db import work_of
from ..store.read_cache import NoSession, NotCached, ReadCache
from ..tariffs.convert import read_tariff
from ..venues.service import calendar_of, get_venue, venues_on_route
from ..web.errors import Problem, http_problem, not_found
from ..web.schema_types import value_or
from .convert import SalesBasis, Values, Writer, grid_line_out, listed_since
from .price_grid import GRID_LINES_MAX, grid_lines, read_amounts
from .queries import denominations
from .schemas import EventIn, GridLineOut, PriceGridOut, ScenarioIn

GRID_VENUES_MAX = 500
T = TypeVar("T")
QUICK_STEPS_MAX = 5_000
"""The steps (E4) of an answer that needs no thread: about a millisecond."""
_DRAFT_DAY_START = wall_time(6)
_BEFORE_ALL = datetime.fromisoformat("1900-01-01T00:00:00+00:00")


class When(NamedTuple):
    """The time of a question as it was asked: ``at``, or ``day`` and ``time``, or neither for now."""

    at: str | None = None
    day: Weekday | None = None
    time: wall_time | None = None


class QuoteRequest(NamedTuple):
    """What is asked for: exactly one of money, games and minutes."""

    money: str | None = None
    games: int | None = None
    minutes: int | None = None
    players: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteContext:
    """A place ready to be asked about: what is sold there, and what its table takes.

    ``sold``: what its table sells; None of a venue, and where only what is listed is asked for. ``steps``: the work of
    finding that out, which counts (E4) whether it is kept in memory or not.
    """

    timetable: Timetable
    currency: str
    listed: Timetable
    writer: Writer
    sold: SoldDuring | None = None
    place: PriceContext | None = None
    accepts: tuple[int, ...] | None = None
    gap_s: int = 120
    ends_on_start: bool = False
    steps: int = 0

    @property
    def calendar(self) -> Calendar:
        return self.timetable.calendar

    def sells(self, at: datetime) -> Sells | None:
        """Return what its table sells at an instant; None where what is listed was asked for."""
        return None if self.sold is None else self.sold.at(at)


class QuoteContexts:
    """The places that one request asks about, each looked up once, and the work that its questions share (E4).

    ``only_venues``: restrict to these venues and the tables there at the instant asked; all else is as if absent.
    ``kept``: places that other requests looked up; a request without a session asks only about those.
    """

    def __init__(
        self,
        session: Session | NoSession,
        *,
        now: datetime,
        only_venues: Collection[UUID] | None = None,
        kept: ReadCache | None = None,
    ) -> None:
        self.session: Any = session
        self.now, self.only_venues = now, only_venues
        if isinstance(session, Session):
            self.work, self._read_at = work_of(session), 0 if kept is None else kept.look()
        else:  # nothing is read, and whoever asks has looked
            self.work, self._read_at = _QuickEffort(QUICK_STEPS_MAX), 0
        self._kept = kept
        self._known: dict[tuple[object, ...], Any] = {}
        self._refused: dict[tuple[object, ...], tuple[Fault, ...]] = {}

    def context(
        self,
        *,
        venue_id: UUID | None,
        table_id: UUID | None,
        basis: BasisAsked | None,
        when: Callable[[Calendar], datetime],
    ) -> QuoteContext:
        """Return a venue, or a table where it stands at the instant that ``when`` reads by the calendar of its place.

        Refuses neither and both, and as absent what the principal may not see.
        """
        if table_id is not None and venue_id is None:
            stay = self._stay(table_id, when)
            return self._known_by((stay.id, basis), lambda: place_of_stay(self.session, stay))
        if venue_id is None or table_id is not None:
            found = "neither" if venue_id is None else "both"
            raise http_problem("invalid", where="venue_id", found=found, expected="one of venue_id and table_id")
        if not self._sees(venue_id):
            raise not_found("venue")
        return self._known_by((venue_id, basis), lambda: place_of_venue(self.session, venue_id))

    def ask(
        self, *, venue_id: UUID | None, table_id: UUID | None, basis: BasisAsked | None, when: When, asked: QuoteRequest
    ) -> Values:
        """Answer what money buys, or the least that buys so many units, at a venue or table and a time: a ``QuoteOut``."""

        def read(calendar: Calendar) -> datetime:
            return read_when(when, calendar, now=self.now)

        context = self.context(venue_id=venue_id, table_id=table_id, basis=basis, when=read)
        return ask(context, asked, at=read(context.calendar), work=self.work)

    def _stay(self, table_id: UUID, when: Callable[[Calendar], datetime]) -> StayRow:
        """Return a table's stay at an instant, read by the clock of the venue where it stands or last stood."""
        stays, calendar = self._once(("stays", table_id), lambda: self._stays_of(table_id))
        if not any(self._sees(stay.venue_id) for stay in stays):
            raise not_found("table")
        stay: StayRow = stay_at(stays, when(calendar))
        if not self._sees(stay.venue_id):
            raise not_found("table")
        return stay

    def _stays_of(self, table_id: UUID) -> tuple[list[StayRow], Calendar]:
        """Return a table's stays, and the calendar of the venue where it stands or last stood."""
        stays = stays_of(self.session, table_id)
        last = next(stay.venue_id for stay in reversed(stays) if stay.venue_id is not None)
        return stays, calendar_of(get_venue(self.session, last))

    def _sees(self, venue_id: UUID | None) -> bool:
        return self.only_venues is None or venue_id in self.only_venues

    def _known_by(self, key: tuple[UUID, BasisAsked | None], look_up: Callable[[], PriceContext]) -> QuoteContext:
        name = ("context", *key)
        known: QuoteContext | None = self._known.get(name)
        if known is not None:  # its steps were counted when it was first asked about
            return known
        if (faults := self._refused.get(name)) is not None:
            raise DomainError(*faults)
        try:
            context: QuoteContext = self._once(name, lambda: context_of(self.session, look_up(), key[1]))
        except DomainError as error:
            self._refused[name] = error.faults
            raise
        if context.steps > STEPS_MAX - QUICK_STEPS_MAX or not isinstance(self.work, _QuickEffort):
            self.work.spend(context.steps, where="table_id", smaller="ask about fewer tables at once")
        return context

    def _once(self, key: tuple[object, ...], read: Callable[[], T]) -> T:
        """Return what was read under a key, in this request or kept from another; else read it, and keep it."""
        found: T | None = self._known.get(key)
        if found is None and self._kept is not None:
            found = self._kept.get(key)
        if found is None:
            found = read()
            if self._kept is not None:
                self.session.expunge_all()  # its rows outlive the session
                self._kept.put(key, found, read_at=self._read_at)
        self._known[key] = found
        return found


class _QuickEffort(Effort):
    """The effort of an answer from memory: what takes longer is for a thread."""

    def spend(self, steps: int, *, where: str, smaller: str) -> None:
        """Count steps, as ``Effort`` does."""
        if self.steps + steps > self.steps_max:
            raise NotCached(where)
        super().spend(steps, where=where, smaller=smaller)


def price_grid(
    session: Session,
    *,
    venue_ids: Collection[UUID] | None,
    amounts: Sequence[str],
    on: date | None,
    now: datetime,
) -> PriceGridOut:
    """Return what amounts buy in each window of a trading day at these venues, or at all, by name.

    ``amounts``: decimal strings; empty for the coins and notes that the tables at each venue take. ``on``: the trading
    date; None for today's at each venue. Refuses ``not_found``, ``bad_money``, and (``too_much_work``) over 4,000 lines.
    """
    venues = venues_on_route(session, venue_ids, at_most=GRID_VENUES_MAX + 1)
    taken = {} if amounts else denominations(session, [venue.id for venue in venues])
    work, items = work_of(session), list[GridLineOut]()
    if len(venues) > GRID_VENUES_MAX:
        raise too_many_lines(f"over {GRID_VENUES_MAX} venues")
    for venue in venues:
        place = PriceContext(venue)
        timetable, day = listed_at(session, place), on or calendar_of(venue).trading_day(now)
        asked = read_amounts(amounts or taken.get(venue.id, ()), venue.currency)
        for line in grid_lines(timetable, day, asked, work=work):
            if len(items) >= GRID_LINES_MAX:
                raise too_many_lines(f"over {GRID_LINES_MAX} lines")
            items.append(grid_line_out(line, venue, timetable.calendar, on=day))
    return PriceGridOut(items=items)


def too_many_lines(found: str) -> Problem:
    """Build the refusal of a grid that is too large."""
    expected = f"at most {GRID_VENUES_MAX} venues and {GRID_LINES_MAX} lines: ask about fewer venues or amounts"
    return http_problem("too_much_work", where="venue_id", found=found, expected=expected)


def context_of(session: Session, place: PriceContext, basis: BasisAsked | None) -> QuoteContext:
    """Return a place with what it sells: a venue what is listed, a table what its controller holds."""
    listed, currency, table = listed_at(session, place), place.venue.currency, place.table
    work = work_of(session)
    sold = None if table is None or basis == "listed" else sold_at_place(session, place, work=work)
    timetable = listed if sold is None else sold.sold
    table_id, profile = (None, {}) if table is None else (str(table.id), table.profile)
    return QuoteContext(
        timetable=timetable,
        currency=currency,
        listed=listed,
        writer=Writer(timetable.calendar, currency, venue_id=str(place.venue.id), table_id=table_id),
        sold=sold,
        place=place,
        accepts=None if table is None else tuple(parse_money(text, currency) for text in profile["accepts"]),
        steps=work.steps,
        **profile.get("purchase", {}),
    )


def context_of_draft(tariff: Tariff, time_zone: str) -> QuoteContext:
    """Return a place that has always sold nothing but a draft."""
    schedule = Schedule(id="", base=tariff, day_starts_at=_DRAFT_DAY_START)
    calendar = Calendar(zone_named(time_zone), _DRAFT_DAY_START)
    timetable = Timetable(calendar, (Stretch(from_at=_BEFORE_ALL, schedule=schedule),))
    writer = Writer(calendar, tariff.currency)
    return QuoteContext(timetable=timetable, currency=tariff.currency, listed=timetable, writer=writer)


def read_when(when: When, calendar: Calendar, *, now: datetime) -> datetime:
    """Return the instant that a question means."""
    if when.at is not None and (when.day is not None or when.time is not None):
        raise http_problem("invalid", where="at", found="at beside day or time", expected="at, or day and time")
    if when.at is not None:
        return read_at(when.at, calendar, where="at")
    if when.day is None and when.time is None:
        return now
    if when.day is None or when.time is None:
        missing = "day" if when.day is None else "time"
        raise http_problem("invalid", where=missing, found="nothing", expected="day and time, both or neither")
    return calendar.next(WEEKDAYS.index(when.day), when.time, now)


def read_at(text: str, calendar: Calendar, *, where: str) -> datetime:
    """Return an instant; one without an offset is read by the venue's wall clock (RFC 5545, section 3.3.5)."""
    try:
        instant = datetime.fromisoformat(text.upper())
    except ValueError:
        raise http_problem("invalid", where=where, found=text, expected="a date and time that exist") from None
    return calendar.resolve(instant) if instant.tzinfo is None else instant


def ask(context: QuoteContext, asked: QuoteRequest, *, at: datetime, work: Effort) -> Values:
    """Answer what money buys, or the least that buys so many units, at a place and an instant."""
    money = None if asked.money is None else parse_money(asked.money, context.currency)

    def answered_by(timetable: Timetable) -> Answer:
        return quote(
            timetable,
            at=at,
            money=money,
            games=asked.games,
            minutes=asked.minutes,
            players=asked.players,
            accepts=context.accepts,
            work=work,
        )

    answer, sells = answered_by(context.timetable), context.sells(at)
    listed = None
    if sells is not None and sells.differs:
        try:
            listed = answered_by(context.listed)
        except DomainError:  # nothing is listed yet: there is no other answer to show
            listed = None
    cautions = answer.cautions if sells is None or sells.caution is None else (sells.caution, *answer.cautions)
    return context.writer.quote(answer, _basis(context, sells, at), money=money, cautions=cautions, listed=listed)


def answer_scenario(contexts: QuoteContexts, scenario: ScenarioIn) -> Values:
    """Answer one scenario: a quote, a purchase event by event, or a metered play; one of ``AnswerOut``."""
    if scenario.events is not MISSING:
        _only(scenario, "events", "buys")
        first = scenario.events[0].at
        context = _spot_of_scenario(contexts, scenario, lambda calendar: read_at(first, calendar, where="events[0].at"))
        return _purchase(context, scenario.events, value_or(scenario.buys, "games"), work=contexts.work)
    if scenario.from_at is not MISSING or scenario.to_at is not MISSING:
        _only(scenario, "from_at", "to_at", "players")
        context = _spot_of_scenario(contexts, scenario, lambda calendar: _end_of_play(scenario, "from_at", calendar))
        return _metered(context, scenario, work=contexts.work)
    _only(scenario, "at", "day", "time", "money", "games", "minutes", "players")
    when = When(at=value_or(scenario.at, None), day=value_or(scenario.day, None), time=value_or(scenario.time, None))
    context = _spot_of_scenario(contexts, scenario, lambda calendar: read_when(when, calendar, now=contexts.now))
    asked = QuoteRequest(
        money=value_or(scenario.money, None),
        games=value_or(scenario.games, None),
        minutes=value_or(scenario.minutes, None),
        players=value_or(scenario.players, 1),
    )
    answered = ask(context, asked, at=read_when(when, context.calendar, now=contexts.now), work=contexts.work)
    answered["kind"] = "quote"
    return answered


def _spot_of_scenario(
    contexts: QuoteContexts, scenario: ScenarioIn, when: Callable[[Calendar], datetime]
) -> QuoteContext:
    venue_id, table_id = value_or(scenario.venue_id, None), value_or(scenario.table_id, None)
    if scenario.tariff is MISSING:
        if scenario.time_zone is not MISSING:
            raise http_problem(
                "invalid", where="time_zone", found=scenario.time_zone, expected="only beside a draft tariff"
            )
        return contexts.context(venue_id=venue_id, table_id=table_id, basis=value_or(scenario.basis, None), when=when)
    if venue_id is not None or table_id is not None:
        raise http_problem("invalid", where="tariff", found="a draft beside a place", expected="one of the two")
    if scenario.time_zone is MISSING:
        raise http_problem(
            "invalid", where="time_zone", found="nothing", expected="the time zone in which to price the draft"
        )
    try:
        tariff = read_tariff(scenario.tariff)
    except DomainError as error:
        raise error.within("tariff") from None
    return context_of_draft(tariff, scenario.time_zone)


_OF_PLACE = frozenset({"venue_id", "table_id", "tariff", "time_zone", "basis"})


@cache
def _fields_with_place(names: tuple[str, ...]) -> frozenset[str]:
    return _OF_PLACE.union(names)


def _only(scenario: ScenarioIn, *names: str) -> None:
    """Refuse fields of another kind of question."""
    others = scenario.model_fields_set - _fields_with_place(names)
    if others:
        first = next(name for name in type(scenario).model_fields if name in others)
        raise http_problem(
            "invalid", where=first, found="a field of another kind of question", expected=f"of {', '.join(names)}"
        )


def _purchase(context: QuoteContext, events: list[EventIn], buys: str, *, work: Effort) -> Values:
    read: list[Insert | Start] = []
    for i, event in enumerate(events):
        at = read_at(event.at, context.calendar, where=f"events[{i}].at")
        if (event.kind == "insert") == (event.amount is MISSING):
            expected = "an amount" if event.kind == "insert" else "no amount for a start"
            found = "nothing" if event.amount is MISSING else event.amount
            raise http_problem("invalid", where=f"events[{i}].amount", found=found, expected=expected)
        if event.amount is MISSING:
            read.append(Start(at))
        else:
            read.append(Insert(at, parse_money(event.amount, context.currency, where=f"events[{i}].amount")))
    purchases = follow(
        read,
        tariff_at=lambda at: context.timetable.at(at).tariff,
        buys="games" if buys == "games" else "minutes",
        gap_s=context.gap_s,
        ends_on_start=context.ends_on_start,
        work=work,
    )
    known = _known(context, read[0].at)
    return context.writer.purchases(purchases, known, cautions=_cautions(context, [event.at for event in read]))


def _metered(context: QuoteContext, scenario: ScenarioIn, *, work: Effort) -> Values:
    ends = {name: _end_of_play(scenario, name, context.calendar) for name in ("from_at", "to_at")}
    charge = charge_play(context.timetable, **ends, players=value_or(scenario.players, 1), work=work)
    known = _known(context, ends["from_at"])
    return context.writer.charge(charge, known, **ends, cautions=_cautions(context, ends.values()))


def _end_of_play(scenario: ScenarioIn, name: str, calendar: Calendar) -> datetime:
    text = getattr(scenario, name)
    if text is MISSING:
        raise http_problem("invalid", where=name, found="nothing", expected="from_at and to_at")
    return read_at(text, calendar, where=name)


def _cautions(context: QuoteContext, instants: Iterable[datetime]) -> tuple[str, ...]:
    """Return why what a table sells at one of these instants is not what is listed then (W8)."""
    if context.sold is None:
        return ()
    known = (context.sells(at) for at in instants)
    return tuple(dict.fromkeys(sells.caution for sells in known if sells is not None and sells.caution is not None))


def _known(context: QuoteContext, at: datetime) -> SalesBasis:
    """Return how it is known what a place sells at an instant."""
    return _basis(context, context.sells(at), at)


def _basis(context: QuoteContext, sells: Sells | None, at: datetime) -> SalesBasis:
    return SalesBasis("listed", listed_since(context.listed, at), None) if sells is None else SalesBasis.of(sells)
