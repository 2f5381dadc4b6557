"""What somebody should look into: meters, differences, disputes; and licences that expire (V1, G2, G3, C4, C8).

- A meter that went down and a pair of meters that cannot both be right are to be looked into until the next collection
  or the work that begins their series afresh.
- The last collection's difference is, if it is more than a twentieth of what was expected, until the next collection.
- A dispute is, until it is answered.
- A licence comes up sixty days before it expires, at the start of the venue's day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from fractions import Fraction
from uuid import UUID

from ..health.meter_health import MeterHealth
from ..pricing.money import format_money
from .work import Code, Work, day_at

TOLERATED = Fraction(1, 20)


@dataclass(frozen=True, slots=True)
class Counted:
    """A collection's table: counted less expected, and the end of the expectation that is nearer, in minor units."""

    collection_id: UUID
    collected_at: datetime
    counted: int
    difference: int
    expected: int


@dataclass(frozen=True, slots=True)
class OpenDispute:
    """A dispute that nobody has answered."""

    dispute_id: UUID
    collection_id: UUID
    raised_at: datetime
    by: str
    claims: str


def meter_reviews(meters: Sequence[MeterHealth], *, collected_at: datetime | None, currency: str) -> list[Work]:
    """Return the meters to look into, by what was read of them since the last collection."""
    found: list[Work] = []
    for health in meters:
        name, newest = health.meter.name, health.newest
        for review in health.reviews[-1:]:
            if collected_at is None or review.to_at > collected_at:
                told = (
                    f"The meter {name} went down from {review.before} to {review.value}: what it counted is not known."
                )
                found.append(_review("meter_went_down", f"meter:{name}", review.to_at, told))
        apart = health.disagreement
        if apart is not None and apart.one.meter < apart.other.meter:
            stories = " and ".join(
                f"{story.meter} says {format_money(story.least_minor, currency)}" for story in (apart.one, apart.other)
            )
            told = f"Two meters cannot both be right: {stories}, {format_money(apart.apart_minor, currency)} apart."
            found.append(_review("meters_disagree", f"meters:{name}", newest.to_at, told))
    return found


def difference_review(last: Counted | None, *, currency: str, zone: tzinfo) -> list[Work]:
    """Return the last collection of a table as something to look into, if its difference is beyond what is tolerated."""
    if last is None or abs(last.difference) <= TOLERATED * last.expected:
        return []
    side = "over" if last.difference > 0 else "short"
    percent = f", {float(Fraction(100 * abs(last.difference), last.expected)):.1f} %" if last.expected else ""
    told = (
        f"Counted {format_money(last.counted, currency)} on {day_at(last.collected_at, zone)}: "
        f"{format_money(abs(last.difference), currency)} {side}{percent} of {format_money(last.expected, currency)}. "
        "A reason to look, not an accusation."
    )
    return [_review("difference", "difference", last.collected_at, told, refers_to=last.collection_id)]


def dispute_reviews(disputes: Sequence[OpenDispute]) -> list[Work]:
    """Return the disputes that wait for an answer."""
    return [
        _review(
            "dispute",
            f"dispute:{dispute.dispute_id}",
            dispute.raised_at,
            f"{dispute.by} disputes a collection: {dispute.claims}",
            refers_to=dispute.collection_id,
        )
        for dispute in disputes
    ]


def licence_work(number: str, *, expires_at: datetime, zone: tzinfo) -> list[Work]:
    """Return the renewal of a licence that expires at an instant."""
    told = f"The licence {number} expires on {day_at(expires_at, zone)}."
    return [Work(kind="licence", code="licence_expires", due_at=expires_at, lead_days=60, reason=told)]


def _review(code: Code, subject: str, due_at: datetime, reason: str, *, refers_to: UUID | None = None) -> Work:
    return Work(kind="review", code=code, subject=subject, due_at=due_at, reason=reason, refers_to=refers_to)
