"""Settings to key, and keyings to confirm (S4, S5, W8).

- Every listed schedule that is in force or to come is to be keyed: due when it starts, over when the next one starts.
  Schedules before the one keyed last need no keying any more.
- From a keying on the table sells by it; a reading closes the work: settings found without a difference, or the report
  that they were keyed, on the same visit or later. Until then the keying is to be confirmed within a week.
- Settings found that differ from those keyed are to be keyed again; the reason names each difference and its effect.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from uuid import UUID

from ..controllers.settings_differences import SettingsDifference
from ..pricing import Stretch
from ..venues.dates_in_words import day_at, moment_at
from .settings_differences_in_words import differences_in_words
from .work import Danger, Work

SAME_VISIT = timedelta(hours=6)

CONFIRM_WITHIN = timedelta(days=7)
_MAX_SAID = 3


@dataclass(frozen=True, slots=True)
class LastKeyed:
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
    came_at: datetime
    keyed: LastKeyed | None
    reported_at: Sequence[datetime]
    found_at: datetime | None
    differences: Sequence[SettingsDifference]
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


def _is_keyed(stretch: Stretch, keyed: LastKeyed | None) -> bool:
    return keyed is not None and stretch.schedule is not None and stretch.schedule.id == keyed.schedule_id


def _to_key(facts: KeyingFacts, listed: Sequence[Stretch], index: int) -> Work:
    stretch = listed[index]
    assert stretch.schedule is not None
    last = (
        f"Last keyed on {day_at(facts.keyed.keyed_at, facts.zone)}." if facts.keyed else "Nothing has been keyed yet."
    )
    prices = "Prices" if stretch.of == "venue" else "This table's own prices"
    return Work(
        kind="key_settings",
        code="not_keyed",
        subject=stretch.schedule.id,
        due_at=max(stretch.from_at, facts.came_at),
        ends_at=listed[index + 1].from_at if index + 1 < len(listed) else None,
        reason=f"{prices} effective {moment_at(stretch.from_at, facts.zone)}, have not been keyed. {last}",
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
            subject=f"confirm:{keyed.schedule_id}:{keyed.keyed_at.isoformat()}",
            due_at=max(stretch.from_at, keyed.keyed_at) + CONFIRM_WITHIN,
            reason=f"Keyed by {keyed.by} on {day_at(keyed.keyed_at, facts.zone)}: read the settings to confirm.",
            bring=("the settings sheet",),
            needs_key=True,
            dangers=facts.dangers,
            refers_to=UUID(keyed.schedule_id),
        ),
    )


def _is_confirmed(facts: KeyingFacts, keyed: LastKeyed) -> bool:
    found = facts.found_at is not None and facts.found_at >= keyed.keyed_at
    return found or any(at >= keyed.keyed_at - SAME_VISIT for at in facts.reported_at)


def _found_different(facts: KeyingFacts) -> tuple[Work, ...]:
    if not facts.differences or facts.found_at is None:
        return ()
    told = differences_in_words(facts.differences, currency=facts.currency, turns_at=facts.turns_at)
    more = f"; and {len(told) - _MAX_SAID} more" if len(told) > _MAX_SAID else ""
    return (
        Work(
            kind="key_settings",
            code="found_different",
            subject="found",
            due_at=facts.found_at,
            reason=f"Settings found on {day_at(facts.found_at, facts.zone)} differ from those keyed: {'; '.join(told[:_MAX_SAID])}{more}.",
            bring=("the settings sheet",),
            needs_key=True,
            dangers=facts.dangers,
            refers_to=UUID(facts.keyed.schedule_id) if facts.keyed else None,
        ),
    )
