"""Reviews: meters, differences and disputes; and licences that expire (V1, G2, G3, C4, C8).

- A meter that went down, and two meters that contradict each other, stay on the list until the next collection or the
  work that starts a new series.
- The last collection's difference stays until the next collection, if it is more than a twentieth of the expectation.
- A dispute stays until somebody answers it.
- A licence comes up sixty days before it expires, at the start of the venue's day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from fractions import Fraction
from uuid import UUID

from ..collections.expected import TOLERATED
from ..health.meter_health import MeterHealth
from ..pricing.money import format_money
from ..venues.dates_in_words import day_at
from .work import Code, Work


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
                found.append(_review("meter_went_down", f"meter:{name}", review.to_at, told))
        apart = health.disagreement
        if apart is not None and apart.one.meter < apart.other.meter:
            stories = " and ".join(
                f"{story.meter} counts {format_money(story.least_minor, currency)}"
                for story in (apart.one, apart.other)
            )
            told = f"Two meters disagree by {format_money(apart.apart_minor, currency)}: {stories}."
            found.append(_review("meters_disagree", f"meters:{name}", newest.to_at, told))
    return found


def difference_review(last: Counted | None, *, currency: str, zone: tzinfo) -> list[Work]:
    """Return the review of a table's last collection, where its difference is beyond the tolerance."""
    if last is None or abs(last.difference) <= TOLERATED * last.expected:
        return []
    side = "over" if last.difference > 0 else "short"
    percent = f", {float(Fraction(100 * abs(last.difference), last.expected)):.1f} %" if last.expected else ""
    told = (
        f"Counted {format_money(last.counted, currency)} on {day_at(last.collected_at, zone)}: "
        f"{format_money(abs(last.difference), currency)} {side}{percent} of {format_money(last.expected, currency)} expected. "
        "A reason to look, not an accusation."
    )
    return [_review("difference", "difference", last.collected_at, told, refers_to=last.collection_id)]


def dispute_reviews(disputes: Sequence[OpenDispute]) -> list[Work]:
    """Return the disputes without an answer."""
    return [
        _review(
            "dispute",
            f"dispute:{dispute.dispute_id}",
            dispute.raised_at,
            f"Dispute by {dispute.by}: {dispute.claims}",
            refers_to=dispute.collection_id,
        )
        for dispute in disputes
    ]


def licence_work(number: str, *, expires_at: datetime, zone: tzinfo) -> list[Work]:
    """Return the renewal of a licence that expires at an instant."""
    told = f"Licence {number} expires on {day_at(expires_at, zone)}."
    return [Work(kind="licence", code="licence_expires", due_at=expires_at, lead_days=60, reason=told)]


def _review(code: Code, subject: str, due_at: datetime, reason: str, *, refers_to: UUID | None = None) -> Work:
    return Work(kind="review", code=code, subject=subject, due_at=due_at, reason=reason, refers_to=refers_to)
