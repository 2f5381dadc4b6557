"""A play at metered rates: the pieces it is made of, and what its time costs, exactly.

- M1: time is half-open: a play reaches a tier only if it goes on past the tier's start; one of no length costs nothing.
- M2: under ``add`` the tiers' times add up; the end is moved up to the next step of the tier it falls in, once.
- M3: under ``set`` the highest tier reached sets the price of the whole play.
- M4: across pieces, elapsed time and tiers go on counting from the start; mode, start fee, minimum and maximum are
  those at the start; a piece that sells no time in that mode goes on at the last rate; a free one costs nothing.
- M5: each slice of the play, the start fee included, costs at most the maximum (the minimum comes last: ``metered.py``).

Where the rules are silent:

- A play that begins free has no start fee, minimum or maximum, and takes its mode from the first rate it meets. Going on
  where nothing is sold, before it has met any, it stays free.
- Under ``set`` across pieces, a tier that is reached keeps the price that it had when the play first was in it.
- Under ``set`` the price is that of the whole play and no slice has its own: at most the maximum for every slice begun.
- The players count for each rate by itself (its ``per``), and for fee, minimum and maximum by the rate at the start.

Theory. A play is cut into spans of one price each: one tier of one piece. Within a span the price never falls as time
goes on (it may from one span to the next: a step no longer applies, a set price is lower). Inside, time is an integer of
microseconds since the start, and money an integer of shares, so many to the minor unit that every price for a
microsecond is a whole number of them: exact, without a fraction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise, zip_longest
from math import lcm
from typing import NamedTuple

from .errors import Fault, PricingError, pricing_error
from .money import divide_half_up
from .rate import Rate, Tier, TierMode
from .trading_day import to_us

MAX_PLAYERS = 100
LONGEST_PLAY = timedelta(days=31)
SECOND = 1_000_000
MINUTE = 60 * SECOND


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of one play in which one tariff is in force: its metered rate, or ``None`` where it sells no such time.

    ``free``: play costs nothing then. Instants are aware; they are kept in UTC. Refuses (``bad_piece``) a naive
    instant, an end before the start, and a free piece with a rate.
    """

    from_at: datetime
    to_at: datetime
    rate: Rate | None
    free: bool = False

    def __post_init__(self) -> None:
        if self.from_at.tzinfo is UTC and self.to_at.tzinfo is UTC and self.from_at <= self.to_at and not self.free:
            return
        faults = [
            Fault("bad_piece", where, at.isoformat(), "an instant with its offset from UTC")
            for where, at in (("from_at", self.from_at), ("to_at", self.to_at))
            if at.utcoffset() is None
        ]
        if self.free and self.rate is not None:
            faults.append(Fault("bad_piece", "rate", "a rate", "no rate where play is free"))
        if faults:
            raise PricingError(*faults)
        # Two instants of one zone compare and subtract by the wall clock: only UTC counts what has elapsed.
        object.__setattr__(self, "from_at", self.from_at.astimezone(UTC))
        object.__setattr__(self, "to_at", self.to_at.astimezone(UTC))
        if self.to_at < self.from_at:
            raise pricing_error(
                "bad_piece", where="to_at", found=self.to_at.isoformat(), expected="no end before the start"
            )


class PriceSpan(NamedTuple):
    """A stretch of a play at one price, in elapsed microseconds.

    ``tier`` and ``rate`` are what prices it: under ``set`` the tier that sets the price so far, ``None`` before any.
    """

    start: int
    end: int
    rate: Rate | None
    tier: Tier | None
    free: bool


class Bill(NamedTuple):
    """What a play owes at an instant, in shares: the slices that are over, capped; the one that is open, not yet."""

    closed: int
    open: int
    at: int


class _Run(NamedTuple):
    """A piece in elapsed microseconds, its rate settled; ``None`` is free. ``continued``: it is the rate of before."""

    start: int
    end: int
    rate: Rate | None
    continued: bool


class Play(NamedTuple):
    """A play, settled: which rate holds when, and the terms of the start, which hold to the end (M4).

    ``terms`` is the rate at the start, ``None`` for a play that begins free; ``scale`` the shares to a minor unit;
    ``fee`` and ``cap`` are shares, ``capped_slice`` microseconds, ``minimum`` minor units, all for the whole table.
    """

    runs: tuple[_Run, ...]
    players: int
    mode: TierMode
    terms: Rate | None
    scale: int
    fee: int = 0
    minimum: int = 0
    cap: int | None = None
    capped_slice: int | None = None

    @property
    def end(self) -> int:
        """The elapsed microseconds at which it ends."""
        return self.runs[-1].end if self.runs else 0

    def heads(self, rate: Rate) -> int:
        """Return how many pay a rate: the players, or 1 for the table."""
        return self.players if rate.per == "player" else 1

    def spans(self) -> Iterator[PriceSpan]:
        """Yield the spans in order; they are contiguous, and none is empty."""
        rate, tier = None, None
        for run in self.runs:
            for start, end, reached in _tiers_of(run):
                if self.mode == "add" or (reached and (tier is None or reached.from_minutes > tier.from_minutes)):
                    rate, tier = run.rate, reached
                yield PriceSpan(start, end, rate, tier, free=reached is None)

    def price(self, span: PriceSpan) -> int:
        """Return the shares that the span's tier costs: under ``add`` a microsecond, under ``set`` the whole play."""
        if span.rate is None or span.tier is None:
            return 0
        of_play = span.tier.price * self.heads(span.rate) * self.scale
        return of_play if self.mode == "set" else of_play // (span.tier.unit * MINUTE)

    def opened(self) -> Bill:
        """Return the bill at the start of the play: the start fee."""
        return Bill(closed=0, open=self.fee, at=0)

    def passed(self, bill: Bill, span: PriceSpan, *, to: int) -> Bill:
        """Return the bill at elapsed ``to``, the time since ``bill.at`` charged at the span's price (``add``: M2, M5)."""
        price, length = self.price(span), self.capped_slice
        if length is None or to // length == bill.at // length:
            return Bill(bill.closed, bill.open + price * (to - bill.at), to)
        first_edge, last_edge = (bill.at // length + 1) * length, to // length * length
        first = self._capped(bill.open + price * (first_edge - bill.at))
        whole = self._capped(price * length) * ((last_edge - first_edge) // length)
        return Bill(bill.closed + first + whole, price * (to - last_edge), to)

    def owed(self, bill: Bill, span: PriceSpan, *, end: int) -> int:
        """Return the minor units, capped, of the play if it ends at ``end`` in ``span``, at whose start it owed ``bill``."""
        if self.mode == "set":
            slices = 1 if self.capped_slice is None else -(-end // self.capped_slice)
            shares = self._capped(self.fee + self.price(span), slices)
        else:
            bill = self.passed(bill, span, to=moved(span, end))
            shares = bill.closed + self._capped(bill.open)
        return divide_half_up(shares, self.scale)

    def _capped(self, shares: int, slices: int = 1) -> int:
        return shares if self.cap is None else min(shares, self.cap * slices)


def moved(span: PriceSpan, end: int) -> int:
    """Return an end in ``span`` moved up to the next step, counted from the start of the tier (M2)."""
    if span.free or span.tier is None or span.tier.per_minutes is None:
        return end
    step, start = span.tier.step * MINUTE, span.tier.from_minutes * MINUTE
    return start - (start - end) // step * step


def play_of(pieces: Sequence[Piece], *, players: int) -> Play:
    """Return the play that contiguous pieces make up.

    Refuses ``bad_players`` (1 to 100), ``no_pieces``, ``pieces_not_contiguous``, ``play_too_long`` (31 days) and
    ``kind_not_sold``: it starts where no metered time is sold and play is not free.
    """
    _check(pieces, players)
    start_us, elapsed = to_us(pieces[0].from_at), 0
    held = [piece for piece in pieces if piece.from_at < piece.to_at] or list(pieces[:1])
    if held[0].rate is None and not held[0].free:
        expected = "metered time, or free play, at the start"
        raise pricing_error("kind_not_sold", where="pieces[0]", found="no metered rate", expected=expected)
    first_rate = next((piece.rate for piece in held if piece.rate is not None), None)
    mode: TierMode = "add" if first_rate is None else first_rate.tier_mode
    runs: list[_Run] = []
    last: Rate | None = None
    for piece in held:
        sells = piece.rate is not None and piece.rate.tier_mode == mode
        last = piece.rate if sells else last
        end = to_us(piece.to_at) - start_us
        if elapsed < end:
            runs.append(_Run(elapsed, end, None if piece.free else last, continued=not (sells or piece.free)))
        elapsed = end
    return _with_terms(tuple(runs), players, mode, held[0].rate)


def _check(pieces: Sequence[Piece], players: int) -> None:
    faults = []
    if type(players) is not int or not 1 <= players <= MAX_PLAYERS:
        faults.append(Fault("bad_players", "players", repr(players), f"a whole number from 1 to {MAX_PLAYERS}"))
    if not pieces:
        faults.append(Fault("no_pieces", "pieces", "none", "the pieces of a play"))
    for index, (before, piece) in enumerate(pairwise(pieces), start=1):
        if piece.from_at != before.to_at:
            found, expected = piece.from_at.isoformat(), f"{before.to_at.isoformat()}, where the piece before ends"
            faults.append(Fault("pieces_not_contiguous", f"pieces[{index}].from_at", found, expected))
    if pieces and pieces[-1].to_at - pieces[0].from_at > LONGEST_PLAY:
        found, expected = str(pieces[-1].to_at - pieces[0].from_at), f"at most {LONGEST_PLAY.days} days"
        faults.append(Fault("play_too_long", "pieces", found, expected))
    if faults:
        raise PricingError(*faults)


def _with_terms(runs: tuple[_Run, ...], players: int, mode: TierMode, terms: Rate | None) -> Play:
    units = {tier.per_minutes or 1 for run in runs if run.rate is not None for tier in run.rate.tiers}
    scale = MINUTE * lcm(*units)
    if terms is None:
        return Play(runs, players, mode, terms, scale)
    heads, most = players if terms.per == "player" else 1, terms.maximum
    return Play(
        runs,
        players,
        mode,
        terms,
        scale,
        fee=terms.start_fee * heads * scale,
        minimum=terms.minimum * heads,
        cap=None if most is None else most.amount * heads * scale,
        capped_slice=None if most is None or most.per_minutes is None else most.per_minutes * MINUTE,
    )


def _tiers_of(run: _Run) -> Iterator[tuple[int, int, Tier | None]]:
    """Yield the stretches of a run that lie in one tier each; a free run is one stretch without a tier."""
    if run.rate is None:
        yield run.start, run.end, None
        return
    for tier, above in zip_longest(run.rate.tiers, run.rate.tiers[1:]):
        start = max(run.start, tier.from_minutes * MINUTE)
        end = run.end if above is None else min(run.end, above.from_minutes * MINUTE)
        if start < end:
            yield start, end, tier


def at_one_rate(rate: Rate, *, minutes: int) -> Play:
    """Return a play of one party at one rate."""
    return _with_terms((_Run(0, minutes * MINUTE, rate, continued=False),), 1, rate.tier_mode, rate)
