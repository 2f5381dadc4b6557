"""Reviews: meters, differences, disputes and bags; and licences that expire (V1, G2, G3, C4, C8, O4).

- A meter that went down, and two meters that contradict each other, stay on the list until the next collection or the
  work that starts a new series.
- A collection's difference of more than a twentieth of the expectation stays until somebody says what it was (C11),
  whatever the next box holds; so does a signal of a table's chart or a collector's (X1). Once somebody has said what a
  signal was, its chart begins again with the collections after that.
- A collector's signal is at the first table of the collection in which it was seen.
- A dispute stays until somebody answers it.
- A bag that is not banked in time stays, at the first table of its collection, until a deposit names it (O4).
- A licence comes up sixty days before it expires, at the start of the venue's day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Literal
from uuid import UUID

from ..collections.difference import TOLERATED
from ..health.meter_health import MeterHealth
from ..pricing.money import format_money
from ..venues.dates_in_words import day_at
from .work import Work, WorkCode


@dataclass(frozen=True, slots=True)
class CountedDifference:
    """A collection's table: counted less expected, and the end of the expectation that is nearer, in minor units."""

    collection_id: UUID
    collected_at: datetime
    counted: int
    difference: int
    expected: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartSignal:
    """A signal of a table's chart, or of the ``collector``'s: when it was seen, the first collection it points to."""

    side: Literal["over", "short"]
    seen_at: datetime
    points_to: UUID
    since_at: datetime
    collector: str | None = None


@dataclass(frozen=True, slots=True)
class OpenDispute:
    """A dispute that nobody has answered."""

    dispute_id: UUID
    collection_id: UUID
    raised_at: datetime
    by: str
    claims: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenBag:
    """A bag of a collection that is not banked, or (``partly``) not all of it."""

    collection_id: UUID
    collected_at: datetime
    name: str
    person: str
    partly: bool


def meter_reviews(
    meters: Sequence[MeterHealth], *, collected_at: datetime | None, currency: str, zone: tzinfo
) -> list[Work]:
    """Return the meters to review, by their readings since the last collection."""
    found: list[Work] = []
    for health in meters:
        name, newest = health.meter.name, health.newest
        for review in health.reviews[-1:]:
            if collected_at is None or review.to_at >= collected_at:
                told = (
                    f"Meter {name} went down from {review.before} to {review.value} on {day_at(review.to_at, zone)}. Read it again; if the meters were "
                    "reset or the board replaced, report that."
                )
                found.append(_review("meter_went_down", f"meter:{name}:{review.to_at.isoformat()}", review.to_at, told))
        apart = health.disagreement
        if apart is not None and apart.one.meter < apart.other.meter:
            stories = " and ".join(
                f"{story.meter} counts {format_money(story.least_minor, currency)}"
                for story in (apart.one, apart.other)
            )
            told = f"Two meters disagree by {format_money(apart.apart_minor, currency)}: {stories}."
            found.append(_review("meters_disagree", f"meters:{name}:{health.since_at.isoformat()}", newest.to_at, told))
    return found


def difference_reviews(counted: Sequence[CountedDifference], *, currency: str, zone: tzinfo) -> list[Work]:
    """Return the reviews of a table's collections with a difference beyond the tolerance."""
    return [
        _difference(one, currency=currency, zone=zone)
        for one in counted
        if abs(one.difference) > TOLERATED * one.expected
    ]


def signal_reviews(signals: Sequence[ChartSignal], *, zone: tzinfo) -> list[Work]:
    """Return the reviews of a chart's signals, one a side: both charts of a side point to one cause (X1)."""
    return [
        _review(
            "leaning",
            f"leaning:{signal.side}:{signal.points_to}",
            signal.seen_at,
            f"Counts of this table lean {signal.side} since {day_at(signal.since_at, zone)}. "
            "A reason to look, not an accusation. Look into it, then say what it was.",
            refers_to=signal.points_to,
        )
        for signal in {signal.side: signal for signal in reversed(signals)}.values()
    ]


def collector_reviews(signals: Sequence[ChartSignal], *, zone: tzinfo) -> list[Work]:
    """Return the reviews of the signals of collectors' charts, one a collector and side (X1); for an owner alone."""
    return [
        _review(
            "collector_leaning",
            f"collector:{signal.collector}:{signal.side}:{signal.points_to}",
            signal.seen_at,
            f"Collections by {signal.collector} lean {signal.side} since {day_at(signal.since_at, zone)}. "
            "A reason to look, not an accusation. Look into it, then say what it was.",
            refers_to=signal.points_to,
        )
        for signal in {(signal.collector, signal.side): signal for signal in reversed(signals)}.values()
    ]


def _difference(last: CountedDifference, *, currency: str, zone: tzinfo) -> Work:
    side = "over" if last.difference > 0 else "short"
    percent = f" ({float(Fraction(100 * abs(last.difference), last.expected)):.1f} %)" if last.expected else ""
    told = (
        f"{format_money(abs(last.difference), currency)} {side} on {day_at(last.collected_at, zone)}: counted "
        f"{format_money(last.counted, currency)}, expected {format_money(last.expected, currency)}{percent}. "
        "Look into it, then say what it was."
    )
    subject = f"difference:{last.collection_id}"
    return _review("difference", subject, last.collected_at, told, refers_to=last.collection_id)


def dispute_reviews(disputes: Sequence[OpenDispute]) -> list[Work]:
    """Return the disputes without an answer."""
    return [
        _review(
            "dispute",
            f"dispute:{dispute.dispute_id}",
            dispute.raised_at,
            f"Dispute by {dispute.by}: {dispute.claims.rstrip(' .')}.",
            refers_to=dispute.collection_id,
        )
        for dispute in disputes
    ]


def bag_reviews(bags: Sequence[OpenBag], *, within_days: int, zone: tzinfo) -> list[Work]:
    """Return the bags that will not have been banked in time; no amount is said, for everybody sees the list."""
    return [
        Work(
            kind="review",
            code="bag_not_banked",
            subject=f"bag:{bag.collection_id}",
            due_at=bag.collected_at + timedelta(days=within_days),
            lead_days=0,
            reason=f"Bag {bag.name}, collected by {bag.person} on {day_at(bag.collected_at, zone)}, is not banked"
            f"{', or not all of it' if bag.partly else ''}. Bank it, and name the bag in the deposit.",
            refers_to=bag.collection_id,
        )
        for bag in bags
    ]


def licence_work(number: str, *, expires_at: datetime, zone: tzinfo) -> list[Work]:
    """Return the renewal of a licence that expires at an instant."""
    told = f"Licence {number} expires on {day_at(expires_at, zone)}."
    subject = f"expires:{expires_at.isoformat()}"
    return [Work(kind="licence", code="licence_expires", subject=subject, due_at=expires_at, lead_days=60, reason=told)]


def _review(code: WorkCode, subject: str, due_at: datetime, reason: str, *, refers_to: UUID | None = None) -> Work:
    return Work(kind="review", code=code, subject=subject, due_at=due_at, reason=reason, refers_to=refers_to)
