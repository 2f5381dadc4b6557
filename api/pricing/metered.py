"""Metered time: what a play costs, line by line, and how long money lasts. Paid for afterwards, as halls do.

``rate.py`` says what a rate is, ``play.py`` what time costs at it (M1 to M5); here that becomes an answer.

- M5: after the maximum the minimum, for the whole play.
- M6: time times price is exact until the total, which is rounded half-up once; the lines are allotted by largest
  remainder; what a cap takes off or a floor adds is a line of its own.
- M7: money lasts to the last whole minute before the price first exceeds it; ``unlimited`` where it never does.
- E1: the lines' amounts add up to the total, their units to the minutes billed. Fee, cap, floor and free time bill none.
- P8: ``longer_is_cheaper`` advises of a play that costs less than a shorter one.

A play of no length costs nothing: money below the start fee or the minimum lasts 0 minutes. Where no step makes the
billed minutes whole (a play that ends free, a tariff that changes at half a minute, a price for the whole play) a
started minute counts as one; what the time costs is exact all the same.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from .errors import pricing_error
from .lines import Advice, Line
from .money import MAX_MINOR, allot, format_money, round_half_up
from .play import MINUTE, SECOND, Bill, Piece, Play, Span, at_one_rate, moved, settle
from .rate import Cap, Per, Rate, Tier, TierMode

__all__ = [
    "Cap", "Charge", "Lasts", "Per", "Piece", "Rate", "Tier", "TierMode", "advice", "charge", "lasts",
]  # fmt: skip

_EVERY = {1: "a minute", 60: "an hour", 1440: "a day"}


@dataclass(frozen=True, slots=True)
class Charge:
    """What a play costs: minor units, the minutes asked money for (free ones are not), the lines, the cautions."""

    total: int
    minutes_billed: int
    lines: tuple[Line, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lasts:
    """How long money lasts: whole minutes and what they cost, ``None`` for 0 minutes.

    ``unlimited``: the price never exceeds the money to the end of the pieces; ``minutes`` is then ``None``, and the
    charge that of all of them.
    """

    minutes: int | None
    unlimited: bool
    charge: Charge | None


def charge(pieces: Sequence[Piece], *, players: int = 1, currency: str) -> Charge:
    """Return what a play costs, from its contiguous pieces: split where the tariff in force changes.

    ``continued_at_last_rate`` cautions that a piece sells no such time and the play went on at the last rate (M4).
    Refuses what ``settle`` refuses: ``kind_not_sold``, ``pieces_not_contiguous``, ``play_too_long``, ``bad_players``.
    """
    return _charge(settle(pieces, players=players), currency)


def lasts(pieces: Sequence[Piece], *, money: int, players: int = 1, currency: str) -> Lasts:
    """Return how long ``money`` minor units last from the start of the pieces, which reach out to a horizon (M7).

    Refuses ``bad_money`` (0 to 10^15) and what ``settle`` refuses.
    """
    if type(money) is not int or not 0 <= money <= MAX_MINOR:
        raise pricing_error(
            "bad_money", where="money", found=repr(money), expected=f"a whole number from 0 to {MAX_MINOR}"
        )
    play = settle(pieces, players=players)
    bill = play.opened()
    for span in play.spans():
        over = _first_minute_above(play, bill, span, money)
        if over is not None:
            minutes = over - 1
            return Lasts(minutes, False, _charge(play.until(minutes * MINUTE), currency) if minutes else None)
        bill = play.passed(bill, span, to=span.end)
    return Lasts(None, True, _charge(play, currency))


def advice(rate: Rate, *, currency: str) -> tuple[Advice, ...]:
    """Return ``longer_is_cheaper`` where a play costs less than a shorter one: the least shorter, then the least longer.

    Minutes are whole, the price that of one party. Only a price for the whole play can fall as time goes on.
    """
    if rate.tier_mode == "add":
        return ()
    play = at_one_rate(rate, minutes=rate.tiers[-1].from_minutes + 1)
    bill, spans = play.opened(), list(play.spans())
    starts = [(minute := span.start // MINUTE + 1, _price(play, bill, span, minute)) for span in spans]
    for index, span in enumerate(spans[:-1]):
        later = starts[index + 1 :]
        shorter = _first_minute_above(play, bill, span, min(price for _, price in later))
        if shorter is None:
            continue
        amount = _price(play, bill, span, shorter)
        longer, instead = next((minute, price) for minute, price in later if price < amount)
        detail = (
            f"A play of {_minutes(shorter)} costs {format_money(amount, currency)}, "
            f"one of {_minutes(longer)} only {format_money(instead, currency)}"
        )
        return (Advice("longer_is_cheaper", detail, "metered", amount, shorter, instead, longer),)
    return ()


def _price(play: Play, bill: Bill, span: Span, minute: int) -> int:
    return max(play.owed(bill, span, end=minute * MINUTE), play.minimum)


def _first_minute_above(play: Play, bill: Bill, span: Span, money: int) -> int | None:
    """Return the first whole minute in a span at which the play costs more than ``money``.

    Within a span the price never falls, so a binary search finds it.
    """
    first, last = span.start // MINUTE + 1, span.end // MINUTE
    if first > last or _price(play, bill, span, last) <= money:
        return None
    return first + bisect_right(range(first, last), money, key=lambda minute: _price(play, bill, span, minute))


def _charge(play: Play, currency: str) -> Charge:
    cautions = ("continued_at_last_rate",) if any(run.continued for run in play.runs) else ()
    spans = list(play.spans())
    if not spans:
        return Charge(0, 0, (), cautions)
    bill = play.opened()
    for span in spans[:-1]:
        bill = play.passed(bill, span, to=span.end)
    owed = play.owed(bill, spans[-1], end=play.end)
    total = max(owed, play.minimum)
    spans[-1] = spans[-1]._replace(end=moved(spans[-1], play.end))
    lines = _lines(play, spans, owed=owed, total=total, currency=currency)
    return Charge(total, sum(line.units for line in lines), lines, cautions)


class _Part(NamedTuple):
    """A line before it is rounded: what, the microseconds it bills, its cost in shares."""

    what: str
    billed: int
    shares: int


def _lines(play: Play, spans: Sequence[Span], *, owed: int, total: int, currency: str) -> tuple[Line, ...]:
    """Return the lines of the spans: start fee, time, then what the cap takes off and what the floor adds (M6)."""
    parts = [*_fee(play, currency), *_times(play, spans, currency)]
    gross = round_half_up(Fraction(sum(part.shares for part in parts), play.scale))
    amounts = allot(gross, [part.shares for part in parts])
    started_minutes = -(-sum(part.billed for part in parts) // MINUTE)
    units = allot(started_minutes, [part.billed for part in parts])
    lines = [Line(part.what, unit, amount) for part, unit, amount in zip(parts, units, amounts, strict=True)]
    terms = play.terms
    if terms is not None and terms.maximum is not None and owed < gross:
        slice_ = terms.maximum.per_minutes
        span = "for the whole play" if slice_ is None else _every(slice_)
        most = format_money(terms.maximum.amount, currency)
        lines.append(Line(f"At most {most} {span}{_each(play, terms)}", 0, owed - gross))
    if terms is not None and total > owed:
        least = format_money(terms.minimum, currency)
        lines.append(Line(f"At least {least} for the whole play{_each(play, terms)}", 0, total - owed))
    return tuple(lines)


def _fee(play: Play, currency: str) -> list[_Part]:
    if play.terms is None or not play.fee:
        return []
    return [_Part(f"Start fee of {format_money(play.terms.start_fee, currency)}{_each(play, play.terms)}", 0, play.fee)]


def _times(play: Play, spans: Sequence[Span], currency: str) -> list[_Part]:
    """Return one part for all the time at one price, in the order in which the prices first held."""
    held: dict[str, tuple[Span, int]] = {}
    for span in spans:
        # Under ``set`` the tier reached last prices all the time that is not free.
        priced = span if span.free or play.mode == "add" else spans[-1]._replace(free=False)
        words = _price_words(play, priced, currency)
        _, length = held.get(words, (priced, 0))
        held[words] = (priced, length + span.end - span.start)
    parts = []
    for words, (span, length) in held.items():
        shares = play.price(span) * (length if play.mode == "add" else 1)
        parts.append(_Part(f"{_duration(length)} {words}", *((0, 0) if span.free else (length, shares))))
    return parts


def _price_words(play: Play, span: Span, currency: str) -> str:
    if span.free or span.rate is None or span.tier is None:
        return "free"
    price, past = format_money(span.tier.price, currency), span.tier.from_minutes
    if play.mode == "add":
        unit = _every(span.tier.unit)
    else:
        unit = f"for a play of more than {_minutes(past)}" if past else "for the whole play"
    return f"at {price} {unit}{_each(play, span.rate)}"


def _each(play: Play, rate: Rate) -> str:
    return f" for each of {play.heads(rate)} players" if play.heads(rate) > 1 else ""


def _minutes(minutes: int) -> str:
    return "1 minute" if minutes == 1 else f"{minutes} minutes"


def _every(minutes: int) -> str:
    """Return how often a price falls due: "an hour", "every 30 minutes", "every 12 hours"."""
    if minutes in _EVERY:
        return _EVERY[minutes]
    return f"every {_minutes(minutes)}" if minutes % 60 else f"every {minutes // 60} hours"


def _duration(microseconds: int) -> str:
    """Return a length of time in minutes and, where it is not whole minutes, seconds (the last one begun counted)."""
    minutes, seconds = divmod(-(-microseconds // SECOND), 60)
    said = [_minutes(minutes)] if minutes or not seconds else []
    if seconds:
        said.append("1 second" if seconds == 1 else f"{seconds} seconds")
    return " ".join(said)
