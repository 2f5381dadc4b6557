"""Settings to key, and keyings to confirm (S4, S5, W8).

- What is listed is to be keyed: every schedule that is in force or to come, due when it starts, and over when the next
  one starts. What stands before the schedule that was keyed last is not keyed any more.
- A keying makes it sold; the work is closed by a reading that confirms it: settings found without a difference, or the
  report that they were keyed, on the same visit or later. Until then it is to be confirmed within a week.
- Settings found that differ from what was keyed are to be keyed again, each difference said, with what it gives away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from uuid import UUID

from ..controllers.differences import Difference
from ..pricing import Stretch
from .found_words import in_words
from .work import Danger, Work, day_at

SAME_VISIT = timedelta(hours=6)

CONFIRM_WITHIN = timedelta(days=7)
_MOST_SAID = 3


@dataclass(frozen=True, slots=True)
class Keyed:
    """The schedule that was keyed last, when and by whom."""

    schedule_id: str
    keyed_at: datetime
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyingFacts:
    """What is listed for a table since it stands there, what was keyed last, and what was read of its settings since.

    ``differences`` are those of the settings found at ``found_at`` against what was keyed, their minutes from when the
    controller's day turns.
    """

    listed: Sequence[Stretch]
    stands_since: datetime
    keyed: Keyed | None
    reported_at: Sequence[datetime]
    found_at: datetime | None
    differences: Sequence[Difference]
    turns_at: int
    currency: str
    zone: tzinfo
    dangers: tuple[Danger, ...]


def keying_work(facts: KeyingFacts, *, now: datetime) -> tuple[Work, ...]:
    """Return what is to be keyed into a table, keyed again, or confirmed."""
    listed = [stretch for stretch in facts.listed if stretch.schedule is not None]
    begun = [i for i, stretch in enumerate(listed) if stretch.from_at <= now]
    first = begun[-1] if begun else 0
    keyed = [i for i, stretch in enumerate(listed[first:], first) if _is_keyed(stretch, facts.keyed)]
    to_key = [_to_key(facts, listed, i) for i in range(keyed[-1] + 1 if keyed else first, len(listed))]
    return (*to_key, *_found_different(facts), *(_to_confirm(facts, listed[keyed[-1]]) if keyed else ()))


def _is_keyed(stretch: Stretch, keyed: Keyed | None) -> bool:
    return keyed is not None and stretch.schedule is not None and stretch.schedule.id == keyed.schedule_id


def _to_key(facts: KeyingFacts, listed: Sequence[Stretch], index: int) -> Work:
    stretch = listed[index]
    assert stretch.schedule is not None
    last = (
        f"It was keyed last on {day_at(facts.keyed.keyed_at, facts.zone)}." if facts.keyed else "Nothing was keyed yet."
    )
    return Work(
        kind="key_settings",
        code="not_keyed",
        subject=stretch.schedule.id,
        due_at=max(stretch.from_at, facts.stands_since),
        ends_at=listed[index + 1].from_at if index + 1 < len(listed) else None,
        reason=f"The schedule of the {stretch.of} that holds from {stretch.from_at.astimezone(facts.zone):%Y-%m-%d %H:%M} is not keyed. "
        f"{last}",
        bring=("the settings sheet",),
        needs_key=True,
        dangers=facts.dangers,
        refers_to=UUID(stretch.schedule.id),
    )


def _to_confirm(facts: KeyingFacts, stretch: Stretch) -> tuple[Work, ...]:
    keyed = facts.keyed
    if keyed is None or facts.differences or _is_confirmed(facts, keyed):
        return ()
    return (
        Work(
            kind="key_settings",
            code="not_confirmed",
            subject=keyed.schedule_id,
            due_at=max(stretch.from_at, keyed.keyed_at) + CONFIRM_WITHIN,
            reason=f"Keyed by {keyed.by} on {day_at(keyed.keyed_at, facts.zone)}; no reading has confirmed it since.",
            bring=("the settings sheet",),
            needs_key=True,
            dangers=facts.dangers,
            refers_to=UUID(keyed.schedule_id),
        ),
    )


def _is_confirmed(facts: KeyingFacts, keyed: Keyed) -> bool:
    found = facts.found_at is not None and facts.found_at >= keyed.keyed_at
    return found or any(at >= keyed.keyed_at - SAME_VISIT for at in facts.reported_at)


def _found_different(facts: KeyingFacts) -> tuple[Work, ...]:
    if not facts.differences or facts.found_at is None:
        return ()
    told = in_words(facts.differences, currency=facts.currency, turns_at=facts.turns_at)
    more = f"; and {len(told) - _MOST_SAID} more" if len(told) > _MOST_SAID else ""
    return (
        Work(
            kind="key_settings",
            code="found_different",
            subject="found",
            due_at=facts.found_at,
            reason=f"Found on {day_at(facts.found_at, facts.zone)}: {'; '.join(told[:_MOST_SAID])}{more}.",
            bring=("the settings sheet",),
            needs_key=True,
            dangers=facts.dangers,
            refers_to=UUID(facts.keyed.schedule_id) if facts.keyed else None,
        ),
    )
