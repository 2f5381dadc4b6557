"""The one translation between a schedule as it travels and is stored, and as the engine resolves it.

All mistakes of a message are reported at once, each by its place: ``weekly[1].to``.
"""

from collections.abc import Mapping
from datetime import time
from typing import Any
from uuid import UUID

from ..pricing import DomainError, Fault, OnDate, Recurring, Schedule, Tariff, Weekly
from ..pricing.week import WEEKDAYS
from ..web.schema_types import value_or
from .recurrence import Recurrence
from .rows import ScheduleRow
from .schemas import OnDateOut, RecurringOut, ScheduleIn, ScheduleOut, TariffRefOut, WeeklyOut

_NONE: list[Any] = []


def named_tariffs(message: ScheduleIn) -> dict[str, UUID]:
    """Return the tariffs that a schedule names, by the place where it names them."""
    places = {"base": message.base}
    for kind in ("weekly", "recurring", "dates"):
        for i, entry in enumerate(value_or(getattr(message, kind), [])):
            places[f"{kind}[{i}].tariff"] = entry.tariff
    return {place: tariff_id for place, tariff_id in places.items() if tariff_id is not None}


def read_schedule(message: ScheduleIn, *, id: UUID, tariffs: Mapping[UUID, Tariff], day_starts_at: time) -> Schedule:
    """Return the engine's value of a schedule whose tariffs are at hand; refuse with all that is wrong with it."""
    faults: list[Fault] = []
    for i, entry in enumerate(value_or(message.weekly, _NONE)):
        if len(set(entry.days)) < len(entry.days):
            faults.append(Fault("bad_days", f"weekly[{i}].days", ", ".join(entry.days), "each day once"))
    recurrences: list[Recurrence | None] = []
    for i, entry in enumerate(value_or(message.recurring, _NONE)):
        try:
            recurrences.append(Recurrence(entry.starts_on, entry.rrule, frozenset(value_or(entry.except_on, []))))
        except DomainError as error:
            faults.extend(error.within(f"recurring[{i}]").faults)
            recurrences.append(None)

    def holds(tariff_id: UUID | None) -> Tariff | None:
        return None if tariff_id is None else tariffs[tariff_id]

    def window(entry: Any) -> dict[str, Any]:
        start, end = value_or(entry.from_, None), value_or(entry.to, None)
        return {"name": entry.name, "start": start, "end": end, "tariff": holds(entry.tariff)}

    weekly = tuple(
        Weekly(days=frozenset(WEEKDAYS.index(day) for day in entry.days), **window(entry))
        for entry in value_or(message.weekly, _NONE)
    )
    recurring = tuple(
        Recurring(occurs_on=recurrence or (), **window(entry))
        for entry, recurrence in zip(value_or(message.recurring, _NONE), recurrences, strict=True)
    )
    dates = tuple(OnDate(on=entry.on, **window(entry)) for entry in value_or(message.dates, _NONE))
    try:
        schedule = Schedule(
            id=str(id),
            base=holds(message.base),
            weekly=weekly,
            recurring=recurring,
            dates=dates,
            day_starts_at=day_starts_at,
        )
    except DomainError as error:
        faults.extend(error.faults)
    if faults:
        raise DomainError(*faults)
    return schedule


def with_replacement(terms: Mapping[str, Any], *, tariff: UUID, replacement: UUID) -> dict[str, Any]:
    """Return a schedule's stored terms with one tariff in another's place."""

    def replaced(entry: Mapping[str, Any]) -> dict[str, Any]:
        return {**entry, "tariff": str(replacement) if entry["tariff"] == str(tariff) else entry["tariff"]}

    changed = dict(terms)
    for kind in ("weekly", "recurring", "dates"):
        if kind in terms:
            changed[kind] = [replaced(entry) for entry in terms[kind]]
    if terms["base"] == str(tariff):
        changed["base"] = str(replacement)
    return changed


def schedule_out(row: ScheduleRow) -> ScheduleOut:
    """Write a published schedule as its message."""
    blank = {"from": None, "to": None}
    origin = {"calendar": None, "uid": None}
    return ScheduleOut(
        id=row.id,
        venue_id=row.venue_id,
        table_id=row.pool_table_id,
        effective_on=row.effective_on,
        published_at=row.published_at,
        follow_venue=row.follow_venue,
        base=row.terms.get("base"),
        weekly=[WeeklyOut(**{**blank, **entry}) for entry in row.terms.get("weekly", [])],
        recurring=[
            RecurringOut(**{**blank, **origin, "except_on": [], **entry}) for entry in row.terms.get("recurring", [])
        ],
        dates=[OnDateOut(**{**blank, **origin, **entry}) for entry in row.terms.get("dates", [])],
    )


def is_published(tariff: Tariff) -> bool:
    """Tell whether a tariff is a version of one, or the prices that a table was found to sell: no draft."""
    return bool(tariff.id or tariff.code)


def tariff_ref(tariff: Tariff | None) -> TariffRefOut | None:
    """Write which version of which tariff, or prices that no tariff has; None for a draft, and where nothing is sold."""
    if tariff is None or not is_published(tariff):
        return None
    return TariffRefOut(id=UUID(tariff.id) if tariff.id else None, code=tariff.code, version=tariff.version)
