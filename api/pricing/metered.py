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
from functools import lru_cache
from typing import NamedTuple

from .errors import pricing_error
from .lines import Advice, Line
from .money import MAX_MINOR, allot, divide_half_up, format_money
from .play import MINUTE, SECOND, Bill, Piece, Play, PriceSpan, at_one_rate, moved, play_of
from .rate import Cap, Per, Rate, Tier, TierMode

__all__ = [
    "Cap", "Charge", "Lasts", "Per", "Piece", "Rate", "Tier", "TierMode", "charge", "lasts", "metered_advice",
]  # fmt: skip

_EVERY = {1: "a minute", 60: "an hour", 1440: "a day"}


class Charge(NamedTuple):
    """What a play costs: minor units, the minutes asked money for (free ones are not), the lines, the cautions."""

    total: int
    minutes_billed: int
    lines: tuple[Line, ...]
    cautions: tuple[str, ...] = ()


class Lasts(NamedTuple):
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
    Refuses what ``play_of`` refuses: ``kind_not_sold``, ``pieces_not_contiguous``, ``play_too_long``, ``bad_players``.
    """
    play = play_of(pieces, players=players)
    return _charge(play, _billed(play), end=play.end, currency=currency)


def lasts(pieces: Sequence[Piece], *, money: int, players: int = 1, currency: str) -> Lasts:
    """Return how long ``money`` minor units last from the start of the pieces, which reach out to a horizon (M7).

    Refuses ``bad_money`` (0 to 10^15) and what ``play_of`` refuses.
    """
    if type(money) is not int or not 0 <= money <= MAX_MINOR:
        raise pricing_error(
            "bad_money", where="money", found=repr(money), expected=f"a whole number from 0 to {MAX_MINOR}"
        )
    play = play_of(pieces, players=players)
    bill, over, passed = play.opened(), None, []
    for span in play.spans():
        passed.append((bill, span))
        over = _first_minute_above(play, bill, span, money)
        if over is not None:
            break
        bill = play.passed(bill, span, to=span.end)
    if over is None:
        return Lasts(None, True, _charge(play, passed, end=play.end, currency=currency))
    minutes = over - 1
    end = minutes * MINUTE
    held = passed if end > passed[-1][1].start else passed[:-1]
    return Lasts(minutes, False, _charge(play, held, end=end, currency=currency) if minutes else None)


def metered_advice(rate: Rate, *, currency: str) -> tuple[Advice, ...]:
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


def _price(play: Play, bill: Bill, span: PriceSpan, minute: int) -> int:
    return max(play.owed(bill, span, end=minute * MINUTE), play.minimum)


def _first_minute_above(play: Play, bill: Bill, span: PriceSpan, money: int) -> int | None:
    """Return the first whole minute in a span at which the play costs more than ``money``.

    Within a span the price never falls. Where time alone makes it rise (``add``, no maximum) the minute is worked out:
    the cost rounds to more than ``money`` from ``money`` and a half on, and it rises at the step that reaches that.
    Elsewhere a binary search finds it.
    """
    first, last = span.start // MINUTE + 1, span.end // MINUTE
    if play.mode == "set" or play.cap is not None or play.minimum > money:
        if first > last or _price(play, bill, span, last) <= money:
            return None
        return first + bisect_right(range(first, last), money, key=lambda minute: _price(play, bill, span, minute))
    missing = (2 * money + 1) * play.scale - 2 * (bill.closed + bill.open)  # twice the shares: half a unit is whole
    price = play.price(span)
    if missing > 0 and price == 0:
        return None
    reached = bill.at - -missing // (2 * price) if missing > 0 else bill.at
    minute = max(first, _first_minute_moved_to(span, reached))
    return minute if minute <= last else None


def _first_minute_moved_to(span: PriceSpan, end: int) -> int:
    """Return the first whole minute whose end, moved up to the next step (M2), is ``end`` or later."""
    if span.tier is None or span.tier.per_minutes is None:
        return -(-end // MINUTE)
    step, start = span.tier.step, span.tier.from_minutes
    return start + max(0, -(-(end - start * MINUTE) // (step * MINUTE)) - 1) * step + 1


def _charge(play: Play, billed: Sequence[tuple[Bill, PriceSpan]], *, end: int, currency: str) -> Charge:
    """Return what a play costs that ends at elapsed ``end``, from its spans up to there, each with the bill at its start."""
    cautions = ("continued_at_last_rate",) if any(run.continued and run.start < end for run in play.runs) else ()
    if not billed:
        return Charge(0, 0, (), cautions)
    bill, last = billed[-1]
    owed = play.owed(bill, last, end=end)
    total = max(owed, play.minimum)
    spans = [span for _, span in billed[:-1]]
    spans.append(last._replace(end=moved(last, end)))
    lines = _lines(play, spans, owed=owed, total=total, currency=currency)
    return Charge(total, sum(line.units for line in lines), lines, cautions)


def _billed(play: Play) -> list[tuple[Bill, PriceSpan]]:
    """Return the spans of a play in order, each with the bill at its start."""
    bill, billed = play.opened(), []
    for span in play.spans():
        billed.append((bill, span))
        bill = play.passed(bill, span, to=span.end)
    return billed


class _LinePart(NamedTuple):
    """A line before it is rounded: what, the microseconds it bills, its cost in shares."""

    what: str
    billed: int
    shares: int


def _lines(play: Play, spans: Sequence[PriceSpan], *, owed: int, total: int, currency: str) -> tuple[Line, ...]:
    """Return the lines of the spans: start fee, time, then what the cap takes off and what the floor adds (M6)."""
    parts = [*_fee(play, currency), *_times(play, spans, currency)]
    shares, billed = [part.shares for part in parts], [part.billed for part in parts]
    gross = divide_half_up(sum(shares), play.scale)
    minutes = -(-sum(billed) // MINUTE)
    if len(parts) == 1:
        lines = [Line(parts[0].what, minutes, gross)]
    else:
        amounts, units = allot(gross, shares), allot(minutes, billed)
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


def _fee(play: Play, currency: str) -> list[_LinePart]:
    if play.terms is None or not play.fee:
        return []
    return [
        _LinePart(f"Start fee of {format_money(play.terms.start_fee, currency)}{_each(play, play.terms)}", 0, play.fee)
    ]


def _times(play: Play, spans: Sequence[PriceSpan], currency: str) -> list[_LinePart]:
    """Return one part for all the time at one price, in the order in which the prices first held."""
    if len(spans) == 1:
        return [_part(play, spans[0], spans[0].end - spans[0].start, _price_words(play, spans[0], currency))]
    held: dict[str, tuple[PriceSpan, int]] = {}
    for span in spans:
        # Under ``set`` the tier reached last prices all the time that is not free.
        priced = span if span.free or play.mode == "add" else spans[-1]._replace(free=False)
        words = _price_words(play, priced, currency)
        _, length = held.get(words, (priced, 0))
        held[words] = (priced, length + span.end - span.start)
    return [_part(play, span, length, words) for words, (span, length) in held.items()]


def _part(play: Play, span: PriceSpan, length: int, words: str) -> _LinePart:
    what = f"{_duration(length)} {words}"
    if span.free:
        return _LinePart(what, 0, 0)
    return _LinePart(what, length, play.price(span) * (length if play.mode == "add" else 1))


def _price_words(play: Play, span: PriceSpan, currency: str) -> str:
    if span.free or span.rate is None or span.tier is None:
        return "free"
    unit = span.tier.unit if play.mode == "add" else None
    return _words_of(span.tier.price, unit, span.tier.from_minutes, currency) + _each(play, span.rate)


@lru_cache(maxsize=1 << 10)
def _words_of(price: int, per_minutes: int | None, past_minutes: int, currency: str) -> str:
    """Return a tier's price in words; ``per_minutes`` None: the price is for the whole play."""
    if per_minutes is not None:
        unit = _every(per_minutes)
    else:
        unit = f"for a play of more than {_minutes(past_minutes)}" if past_minutes else "for the whole play"
    return f"at {format_money(price, currency)} {unit}"


def _each(play: Play, rate: Rate) -> str:
    return f" for each of {play.players} players" if rate.per == "player" and play.players > 1 else ""


def _minutes(minutes: int) -> str:
    return "1 minute" if minutes == 1 else f"{minutes} minutes"


def _every(minutes: int) -> str:
    """Return how often a price falls due: "an hour", "every 30 minutes", "every 12 hours"."""
    if minutes in _EVERY:
        return _EVERY[minutes]
    return f"every {_minutes(minutes)}" if minutes % 60 else f"every {minutes // 60} hours"


@lru_cache(maxsize=1 << 10)
def _duration(microseconds: int) -> str:
    """Return a length of time in minutes and, where it is not whole minutes, seconds (the last one begun counted)."""
    minutes, seconds = divmod(-(-microseconds // SECOND), 60)
    said = [_minutes(minutes)] if minutes or not seconds else []
    if seconds:
        said.append("1 second" if seconds == 1 else f"{seconds} seconds")
    return " ".join(said)
