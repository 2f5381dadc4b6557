"""Cash boxes that fill up: the date on which a box reaches its coins, notes or value limit at its usual rate (V1).

- The usual rate is the sum of the last collections, divided by the days that they cover. Without collections it is the
  count of the money meter since the box was last empty, over at least three days: from then on where the meter's value
  then is known, else from the first reading after.
- The content of the box is the newest count of the money meter since then, and from there on the usual rate; without
  such a meter it is the usual rate all along.
- A collection is due when the box reaches its first limit. It comes up at four fifths of that limit, or a week before
  the limit if that is earlier.
- A table sells nothing while it is out of order (J2): days out of order count neither in the rate nor in the forecast.
  While it is, no collection is due, unless the box was full before.
- A denomination that is both a coin and a note counts as a note; in a currency without coins on record only the value
  limit counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Literal

from ..collections.coins import PIECES
from ..jobs.out_of_order import OutOfOrder, after_days_in_order, days_in_order
from ..pricing.money import format_money
from ..readings.meter_history import MetersRead
from ..readings.meters import Meter, MeterReading, counted, deltas
from ..venues.dates_in_words import day_at
from .work import AT_ONCE, Danger, Work, WorkCode, lead_of

NEAR = Fraction(4, 5)

_A_DAY = timedelta(days=1)
_MIN_DAYS = 3
_FARTHEST_DAYS = 730
_SURELY_LATER_DAYS = 3_650
"""Past this nothing is reckoned: a high limit at a low rate is reached after the end of the calendar."""
BoxLimit = Literal["coins", "notes", "value"]
_CODES: dict[BoxLimit, WorkCode] = {"coins": "coins_limit", "notes": "notes_limit", "value": "value_limit"}


@dataclass(frozen=True, slots=True)
class Emptied:
    """A collection: the days in order since the one before, and the pieces of each denomination (minor units) counted."""

    days: Fraction
    counts: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Metered:
    """What a money meter counted, in minor units, from one instant to its newest reading."""

    since_at: datetime
    read_at: datetime
    minor: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxFacts:
    """A box's limits (value in minor units), when it was last empty, its last collections, and the meter's count since."""

    limits: Mapping[BoxLimit, int]
    currency: str
    zone: tzinfo
    empty_at: datetime
    emptied: Sequence[Emptied] = ()
    metered: Metered | None = None
    dangers: tuple[Danger, ...] = ()
    out_of_order: Sequence[OutOfOrder] = ()


@dataclass(frozen=True, slots=True)
class _Filling:
    measure: BoxLimit
    limit: int
    level: Fraction
    level_at: datetime
    a_day: Fraction
    out_of_order: Sequence[OutOfOrder] = ()

    def days_to(self, share: Fraction) -> Fraction:
        """Return in how many days from ``level_at`` a share of the limit is reached; 0 where it already is."""
        return max(self.limit * share - self.level, Fraction()) / self.a_day

    def reaches(self, share: Fraction) -> datetime | None:
        """Return when a share of the limit is reached, after at most ten years in order; None while it is out of order."""
        days = min(self.days_to(share), Fraction(_SURELY_LATER_DAYS))
        return after_days_in_order(self.level_at, days, self.out_of_order)


def box_work(facts: BoxFacts, *, now: datetime) -> tuple[Work, ...]:
    """Return the collection that a box needs before it is full; empty where that is over two years away."""
    fillings = [filling for measure, limit in facts.limits.items() if (filling := _filling(facts, measure, limit))]
    if not fillings:
        return ()
    first = min(fillings, key=lambda filling: filling.days_to(Fraction(1)))
    full_at, near_at = first.reaches(Fraction(1)), first.reaches(NEAR)
    if full_at is None or near_at is None or full_at > now + _FARTHEST_DAYS * _A_DAY:
        return ()
    return (
        Work(
            kind="collect",
            code=_CODES[first.measure],
            subject=f"since:{facts.empty_at.isoformat()}",
            due_at=full_at.replace(microsecond=0),
            lead_days=AT_ONCE if near_at <= now else lead_of(max(full_at - near_at, timedelta(days=7))),
            reason=_reason(first, facts, full_at),
            bring=("the key to the box", "a bag and a seal"),
            needs_key=True,
            dangers=("cash", *facts.dangers),
        ),
    )


@dataclass(frozen=True, slots=True)
class BoxContent:
    """What a box holds by expectation: its value in minor units, and pieces by denomination where a count tells them."""

    value: int
    counts: Mapping[int, int]


def content_at(facts: BoxFacts, at: datetime) -> BoxContent | None:
    """Return what a box will hold at an instant, in the mix of its last collections; None where nothing tells."""
    filling = _filling(facts, "value", 1)
    if filling is None:
        return None
    days = max(Fraction(int((at - filling.level_at).total_seconds()), 86_400), Fraction())
    value = filling.level + filling.a_day * days
    counts: dict[int, int] = {}
    for emptied in facts.emptied:
        for denomination, count in emptied.counts.items():
            counts[denomination] = counts.get(denomination, 0) + count
    worth = sum(denomination * count for denomination, count in counts.items())
    mix = {denomination: round(count * value / worth) for denomination, count in counts.items()} if worth else {}
    return BoxContent(round(value), {denomination: count for denomination, count in mix.items() if count})


def is_note(value: int, currency: str) -> bool | None:
    """Return whether a denomination is a note; None where the currency's coins are not on record."""
    pieces = PIECES.get(currency, ())
    coins = {piece.value for piece in pieces if piece.form == "coin"}
    notes = {piece.value for piece in pieces if piece.form == "note"}
    return None if not coins else value in notes or value not in coins


def _filling(facts: BoxFacts, measure: BoxLimit, limit: int) -> _Filling | None:
    days = sum((emptied.days for emptied in facts.emptied), Fraction())
    pieces = sum(_measured(emptied.counts, measure, facts.currency) for emptied in facts.emptied)
    if measure != "value" and is_note(0, facts.currency) is None:
        return None
    worth = sum(_measured(emptied.counts, "value", facts.currency) for emptied in facts.emptied)
    usual = Fraction(pieces) / days if days > 0 else Fraction()
    metered = facts.metered
    if metered is None:
        return _Filling(measure, limit, Fraction(), facts.empty_at, usual, facts.out_of_order) if usual else None
    if days > 0 and worth:
        level = Fraction(metered.minor * pieces, worth)
        return _Filling(measure, limit, level, metered.read_at, usual, facts.out_of_order) if usual else None
    over_days = days_in_order(facts.out_of_order, from_at=metered.since_at, to_at=metered.read_at)
    if measure != "value" or over_days < _MIN_DAYS or not metered.minor:
        return None
    a_day = Fraction(metered.minor) / over_days
    return _Filling(measure, limit, Fraction(metered.minor), metered.read_at, a_day, facts.out_of_order)


def _measured(counts: Mapping[int, int], measure: BoxLimit, currency: str) -> int:
    if measure == "value":
        return sum(value * count for value, count in counts.items())
    return sum(count for value, count in counts.items() if is_note(value, currency) == (measure == "notes"))


def _reason(first: _Filling, facts: BoxFacts, full_at: datetime) -> str:
    def said(amount: Fraction | int) -> str:
        if first.measure == "value":
            return f"{format_money(round(amount), facts.currency)} {facts.currency}"
        return f"{round(amount):,} {first.measure}"

    source = "by the meter" if facts.metered else "at the usual rate"
    began = day_at(first.level_at, facts.zone)
    share = int(100 * first.level / first.limit)
    level = f"About {said(first.level)} in the box on {began} {source}, {share} % of the {said(first.limit)} it holds"
    if not first.level:
        level = f"Empty on {began}; holds {said(first.limit)}"
    return f"{level}. Fills by about {said(first.a_day)} a day: full about {day_at(full_at, facts.zone)}."


def since_empty(meter: Meter, counts: Sequence[MetersRead], *, empty_at: datetime, shown: int | None) -> Metered | None:
    """Return what a money meter counted since the box was empty.

    ``shown`` is what it showed then, where that is known; else the first reading since is where counting begins. None
    with nothing to count from one to another, and where nobody can say.
    """
    start = 0 if meter.resets == "at_collection" else shown
    readings = [] if start is None else [MeterReading(empty_at, start)]
    readings += [
        MeterReading(read.taken_at, read.values[meter.name])
        for read in counts
        if read.taken_at > empty_at and read.values.get(meter.name, meter.modulus) < meter.modulus
    ]
    if len(readings) < 2 or meter.unit_minor is None:
        return None
    found = deltas(meter, readings)
    if any(delta.kind == "needs_review" for delta in found):
        return None
    return Metered(readings[0].taken_at, readings[-1].taken_at, counted(found) * meter.unit_minor)
