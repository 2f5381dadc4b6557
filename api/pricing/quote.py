"""A quote: what money buys at a place and time, or the least money for games or minutes, and why.

- P9: a closed place answers when it next opens, a free one that play is free; neither is an error.
- P10: every kind that the tariff sells is answered, with its price per unit.
- P5, P6, P7: the least money for a number of units, the part of it that the table can take, and the next price break.
- M4, M7: metered time is priced, and money lasts, across the windows that follow, up to seven days.
- W7: the answer carries the span that holds: which entry of which schedule won, and until when.
- E1: the lines of an offer add up to what it spends. E2: the clock is never read. E3: bad input is refused.

A draft is priced through a timetable of one schedule that has nothing but the draft as its base.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import chain
from typing import Literal, NamedTuple

from .effort import STEPS_OF_A_LINE, STEPS_OF_A_PIECE, STEPS_OF_A_QUESTION, Effort
from .errors import Fault, PricingError, pricing_error
from .ladder import Ladder, NextBreak, check_units
from .lines import Kind, Line, PrepaidKind
from .metered import Charge, charge, lasts
from .money import MAX_MINOR, divide_half_up
from .payable import next_payable
from .play import LONGEST_PLAY, MAX_PLAYERS, Piece
from .purchase import ends_after
from .separate_purchases import split
from .tariff import Tariff
from .timetable import Span, Timetable

Status = Literal["open", "closed", "free"]

HORIZON = timedelta(days=7)
"""How far ahead metered time is looked at."""
_DAY = timedelta(days=1)
"""As far as it mostly needs to be looked."""
_MINUTE = timedelta(minutes=1)


class Least(NamedTuple):
    """The least ``money`` that buys the units asked for in one purchase (P5).

    ``pay``: the least that the table can take and that buys them; ``None`` without a table, and for metered time, which
    is paid for afterwards. ``split``: separate purchases (T2) that are cheaper together, empty where there are none.
    """

    money: int
    pay: int | None
    split: tuple[int, ...]


class Offer(NamedTuple):
    """What one kind gives: units, minor units spent and left, and the lines that add up to ``spends``.

    ``per_unit``: the price of a unit, half-up, ``None`` without units. ``ends_at``: when prepaid minutes bought now run
    out. ``unlimited``: metered time whose price stays within the money for as long as is looked ahead; ``units`` is then
    all of that. ``least`` is there where units were asked for: the offer is then what its ``money`` buys.
    """

    kind: Kind
    units: int
    spends: int
    left: int
    per_unit: int | None
    lines: tuple[Line, ...]
    next_break: NextBreak | None = None
    ends_at: datetime | None = None
    unlimited: bool = False
    least: Least | None = None
    cautions: tuple[str, ...] = ()


class Answer(NamedTuple):
    """The answer to a question: ``span`` says what holds and why (W7), ``offers`` what is sold, none if closed or free.

    ``opens_at``: when a closed place next sells something. ``payable`` and ``next_payable`` (only where it is not) speak
    of the money asked about at a table (P6). Cautions: ``kind_not_sold``, and those of metered time.
    """

    at: datetime
    trading_on: date
    status: Status
    opens_at: datetime | None
    span: Span
    payable: bool | None
    next_payable: int | None
    cautions: tuple[str, ...]
    offers: tuple[Offer, ...]


def quote(
    timetable: Timetable,
    *,
    at: datetime,
    money: int | None = None,
    games: int | None = None,
    minutes: int | None = None,
    players: int = 1,
    accepts: Sequence[int] | None = None,
    work: Effort | None = None,
) -> Answer:
    """Return what ``money`` (minor units) buys at an instant, or the least money for a number of ``games`` or ``minutes``.

    ``accepts`` are the denominations of the table that is asked about. Refuses, all at once, an instant without an
    offset (``naive_instant``), not exactly one question (``not_one_question``), ``bad_money`` and ``bad_players``; then
    ``bad_units`` and ``too_many_units``, ``no_schedule_yet``, ``bad_denominations`` and ``denominations_too_complex``, and money
    for more than ten years of prepaid minutes (``too_much_money``). ``work`` is what the questions of one request share;
    ``too_much_work`` refuses what goes beyond it (E4).
    """
    work = work or Effort()
    work.spend(STEPS_OF_A_QUESTION, where="at", smaller="ask fewer questions at once")
    _check(at=at, money=money, games=games, minutes=minutes, players=players)
    coins = None if accepts is None else tuple(accepts)
    can_pay = None if coins is None or money is None else next_payable(coins, money)
    span = timetable.at(at)
    offers: tuple[Offer, ...] = ()
    cautions: tuple[str, ...] = ()
    if span.tariff is not None and not span.tariff.free:
        place = _Place(timetable, at, span, span.tariff, players, coins, work)
        offers = place.offers(money=money, games=games, minutes=minutes)
        cautions = _cautions(offers)
    return Answer(
        at=at,
        trading_on=span.trading_on,
        status="closed" if span.tariff is None else "free" if span.tariff.free else "open",
        opens_at=timetable.opens_at(at, work=work) if span.tariff is None else None,
        span=span,
        payable=None if can_pay is None else can_pay == money,
        next_payable=None if can_pay == money else can_pay,
        cautions=cautions,
        offers=offers,
    )


def charge_play(
    timetable: Timetable, *, from_at: datetime, to_at: datetime, players: int = 1, work: Effort | None = None
) -> Charge:
    """Return what metered time costs from one instant to another, across the windows between them (M4).

    Refuses ``naive_instant``, ``ends_before_start``, ``play_too_long`` (31 days), ``no_schedule_yet``, ``bad_players``
    and ``kind_not_sold``: it starts where no metered time is sold and play is not free; ``too_much_work`` (E4).
    """
    work = work or Effort()
    faults = _naive(from_at=from_at, to_at=to_at)
    if faults:
        raise PricingError(*faults)
    # Two instants of one zone compare and subtract by the wall clock: only UTC counts what has elapsed.
    start, end = from_at.astimezone(UTC), to_at.astimezone(UTC)
    _check_length(start, end)
    pieces, currency = _pieces(timetable, from_at=start, to_at=end, work=work)
    tiers = max((len(piece.rate.tiers) for piece in pieces if piece.rate), default=0)
    smaller = "ask about a shorter time, or fewer questions at once"
    work.spend(STEPS_OF_A_LINE * (len(pieces) + tiers), where="to_at", smaller=smaller)
    return charge(pieces, players=players, currency=currency)


@dataclass(slots=True)
class _Place:
    """Where and when is asked: an open place by its timetable, and the denominations of a table if it is one."""

    timetable: Timetable
    at: datetime
    span: Span
    tariff: Tariff
    players: int
    accepts: tuple[int, ...] | None
    work: Effort

    def offers(self, *, money: int | None, games: int | None, minutes: int | None) -> tuple[Offer, ...]:
        """Return an offer for each kind sold that answers the question (P10)."""
        offers = []
        if self.tariff.games is not None:
            offers += self._prepaid_for("games", self.tariff.games, money, games)
        if self.tariff.minutes is not None:
            offers += self._prepaid_for("minutes", self.tariff.minutes, money, minutes)
        if self.tariff.metered is not None and money is not None:
            offers.append(self._time_for(money))
        elif self.tariff.metered is not None and minutes is not None:
            offers.append(self._time_of(minutes))
        return tuple(offers)

    def _prepaid_for(self, kind: PrepaidKind, ladder: Ladder, money: int | None, units: int | None) -> list[Offer]:
        """Return what the money buys, or the least that buys the units; nothing where neither is asked of this kind."""
        if money is not None:
            return [self._prepaid(kind, ladder, money)]
        if units is None:
            return []
        least = self._least(ladder, units)
        return [self._prepaid(kind, ladder, least.money, least=least)]

    def _prepaid(self, kind: PrepaidKind, ladder: Ladder, money: int, *, least: Least | None = None) -> Offer:
        sale = ladder.sell(money)
        return Offer(
            kind=kind,
            units=sale.units,
            spends=sale.spends,
            left=sale.left,
            per_unit=_per_unit(sale.spends, sale.units),
            lines=sale.lines(kind, self.tariff.currency),
            next_break=ladder.next_break(money),
            ends_at=ends_after(self.at.astimezone(UTC), sale.units) if kind == "minutes" and sale.units else None,
            least=least,
        )

    def _least(self, ladder: Ladder, units: int) -> Least:
        """Return the least, every part raised to what the table can take; a plan only if it is still the cheaper one."""
        money, parts = ladder.least(units), split(ladder, units, work=self.work)
        if self.accepts is None:
            return Least(money, None, parts)
        pay = next_payable(self.accepts, money)
        parts = tuple(next_payable(self.accepts, part) for part in parts)
        return Least(money, pay, parts if sum(parts) < pay else ())

    def _time_for(self, money: int) -> Offer:
        """Return how long the money lasts (M7)."""
        start = self.at.astimezone(UTC)  # two instants of one zone add and subtract by the wall clock
        horizon = start + HORIZON
        until = horizon if self.span.to_at is None else min(self.span.to_at, horizon)
        self.work.spend(STEPS_OF_A_PIECE, where="money", smaller="ask fewer questions at once")
        pieces = [_piece(self.span, from_at=start, to_at=until)]
        time = lasts(pieces, money=money, players=self.players, currency=self.tariff.currency)
        for ahead in (_DAY, HORIZON):
            if not time.unlimited or until == horizon:
                break
            pieces, currency = _pieces(self.timetable, from_at=start, to_at=start + ahead, work=self.work)
            time = lasts(pieces, money=money, players=self.players, currency=currency)
        cost = time.charge or Charge(0, 0, ())
        units = HORIZON // _MINUTE if time.minutes is None else time.minutes
        return Offer(
            kind="metered",
            units=units,
            spends=cost.total,
            left=money - cost.total,
            per_unit=None if time.unlimited else _per_unit(cost.total, units),
            lines=cost.lines,
            unlimited=time.unlimited,
            cautions=cost.cautions,
        )

    def _time_of(self, minutes: int) -> Offer:
        """Return what so many minutes cost (M4), and how long that money lasts if it is longer."""
        start = self.at.astimezone(UTC)
        cost = charge_play(
            self.timetable, from_at=start, to_at=start + minutes * _MINUTE, players=self.players, work=self.work
        )
        longest = self._time_for(cost.total)
        units = max(minutes, longest.units)
        return longest._replace(
            units=units,
            spends=cost.total,
            left=0,
            per_unit=None if longest.unlimited else _per_unit(cost.total, units),
            lines=cost.lines,
            cautions=cost.cautions,
            least=Least(cost.total, None, ()),
        )


def _pieces(timetable: Timetable, *, from_at: datetime, to_at: datetime, work: Effort) -> tuple[list[Piece], str]:
    """Return the pieces of a play between two instants, and the currency of the first tariff in it."""
    spans = timetable.between(from_at, to_at, work=work) or (
        replace(timetable.at(from_at), from_at=from_at, to_at=to_at),
    )
    pieces = [_piece(span, from_at=span.from_at or from_at, to_at=span.to_at or to_at) for span in spans]
    return pieces, next((span.tariff.currency for span in spans if span.tariff), "")


def _piece(span: Span, *, from_at: datetime, to_at: datetime) -> Piece:
    """Return the part of a play that lies in a span, between two instants of it."""
    rate = span.tariff.metered if span.tariff else None
    return Piece(from_at, to_at, rate, free=span.tariff is not None and span.tariff.free)


def _cautions(offers: tuple[Offer, ...]) -> tuple[str, ...]:
    if not offers:
        return ("kind_not_sold",)
    if len(offers) == 1:
        return offers[0].cautions
    return tuple(dict.fromkeys(chain.from_iterable([offer.cautions for offer in offers])))


def _per_unit(spends: int, units: int) -> int | None:
    return divide_half_up(spends, units) if units else None


def _check(*, at: datetime, money: int | None, games: int | None, minutes: int | None, players: int) -> None:
    plain = games is None and minutes is None and type(players) is int and players == 1
    if plain and type(money) is int and 0 <= money <= MAX_MINOR and at.utcoffset() is not None:
        return
    asked = {"money": money, "games": games, "minutes": minutes}
    named = [name for name, number in asked.items() if number is not None]
    faults = _naive(at=at)
    if len(named) != 1:
        found = " and ".join(named) or "none of them"
        faults.append(Fault("not_one_question", "money", found, "one of money, games and minutes"))
    if money is not None and not (type(money) is int and 0 <= money <= MAX_MINOR):
        faults.append(Fault("bad_money", "money", repr(money), f"minor units from 0 to {MAX_MINOR}"))
    if type(players) is not int or not 1 <= players <= MAX_PLAYERS:
        faults.append(Fault("bad_players", "players", repr(players), f"a whole number from 1 to {MAX_PLAYERS}"))
    if faults:
        raise PricingError(*faults)
    for name, units in (("games", games), ("minutes", minutes)):
        if units is not None:
            check_units(units, where=name)


def _check_length(from_at: datetime, to_at: datetime) -> None:
    if to_at < from_at:
        expected = f"no end before the start, {from_at.isoformat()}"
        raise pricing_error("ends_before_start", where="to_at", found=to_at.isoformat(), expected=expected)
    if to_at - from_at > LONGEST_PLAY:
        expected = f"at most {LONGEST_PLAY.days} days after the start"
        raise pricing_error("play_too_long", where="to_at", found=to_at.isoformat(), expected=expected)


def _naive(**instants: datetime) -> list[Fault]:
    return [
        Fault("naive_instant", name, at.isoformat(), "an instant with its offset from UTC")
        for name, at in instants.items()
        if at.utcoffset() is None
    ]
