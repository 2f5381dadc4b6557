"""All the work at a table, from the facts of that table alone: pure (V1).

- A table in the workshop has only the work that needs no venue: reviews, disputes and its licence.
- Work that is over by now is left out, and work that somebody closed in words (C11).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from ..health.levels import Levels
from ..health.table_health import TableFacts, TableHealth, judge_table
from ..jobs.out_of_order import OutOfOrder, days_in_order
from ..pool_tables.controller import Controller
from ..pricing import Timetable
from .charging import charging
from .clocks import clock_work
from .day_keying import DayKeyingFacts, day_keying_work
from .failing_tables import ReportedFault, fault_reviews
from .full_box import BoxFacts, BoxLimit, Emptied, box_work, since_empty
from .keying import KeyingFacts, LastKeyed, keying_work
from .reviews import (
    ChartSignal,
    CountedDifference,
    OpenBag,
    OpenDispute,
    bag_reviews,
    collector_reviews,
    difference_reviews,
    dispute_reviews,
    licence_work,
    meter_reviews,
    signal_reviews,
)
from .silent_tables import News, silence_work
from .work import Danger, Work, on_the_spot


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedTable:
    """One table's part of a collection that was not reversed; ``counts`` are pieces by denomination in minor units."""

    collected_at: datetime
    meters: Mapping[str, int]
    counted: CountedDifference | None
    since_at: datetime | None
    counts: Mapping[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Licence:
    """A table's licence, and the instant at which it expires."""

    number: str
    expires_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkFacts:
    """Everything that the work at one table is found from.

    ``made_at`` is when the table was entered: nothing was to be done before. ``health`` has the readings; ``came_at`` is when the table came to where it is now, with ``came_with`` on its meters
    and its box ``came_empty`` or not. ``listed`` are the prices listed there (None in the workshop); ``collected`` is in time order. ``counted`` are
    collections with an expectation, ``signals`` those of the table's chart, ``signals_of_collectors`` those seen in a
    collection that began at this table, ``completed`` the ids of work that somebody closed in words. ``reported`` are
    the faults reported of the table, ``out_of_order`` when nobody could play (J2).
    """

    health: TableFacts
    levels: Levels
    table_id: UUID
    label: str
    on_mains: bool
    capacity_ah: str | None
    came_at: datetime
    made_at: datetime
    came_with: Mapping[str, int]
    came_empty: bool
    read_at: datetime | None
    listed: Timetable | None
    controller: Controller
    keyed: LastKeyed | None
    newest_keying_for: date | None
    keyings_reported_at: Sequence[datetime]
    box_limits: Mapping[BoxLimit, int]
    collected: Sequence[CountedTable]
    counted: Sequence[CountedDifference]
    signals: Sequence[ChartSignal]
    signals_of_collectors: Sequence[ChartSignal]
    completed: frozenset[UUID]
    disputes: Sequence[OpenDispute]
    bags: Sequence[OpenBag]
    licence: Licence | None
    reported: Sequence[ReportedFault] = ()
    out_of_order: Sequence[OutOfOrder] = ()

    @property
    def dangers(self) -> tuple[Danger, ...]:
        """The dangers of opening the table."""
        return on_the_spot(on_mains=self.on_mains)

    @property
    def last_collected_at(self) -> datetime | None:
        """When the box was last collected."""
        return self.collected[-1].collected_at if self.collected else None


def find_work(facts: WorkFacts, *, now: datetime) -> tuple[Work, ...]:
    """Return all the work at a table that is not over."""
    health = judge_table(facts.health, facts.levels, now=now)
    found = [*_anywhere(facts, health, now=now)]
    if not facts.health.in_workshop:
        found += _at_the_venue(facts, health, now=now)
    return tuple(
        work
        for work in found
        if (work.ends_at is None or work.ends_at > now) and work.id_at(facts.table_id) not in facts.completed
    )


def _anywhere(facts: WorkFacts, health: TableHealth, *, now: datetime) -> list[Work]:
    currency, zone = facts.health.currency, facts.health.zone
    licence = facts.licence
    return [
        *meter_reviews(health.meters, collected_at=facts.last_collected_at, currency=currency, zone=zone),
        *difference_reviews(facts.counted, currency=currency, zone=zone),
        *signal_reviews(facts.signals, zone=zone),
        *collector_reviews(facts.signals_of_collectors, zone=zone),
        *dispute_reviews(facts.disputes),
        *bag_reviews(facts.bags, within_days=facts.levels.bank_within_days, zone=zone),
        *fault_reviews(facts.reported, limits=facts.levels.faults, zone=zone, now=now),
        *(licence_work(licence.number, expires_at=licence.expires_at, zone=zone) if licence else ()),
    ]


def _at_the_venue(facts: WorkFacts, health: TableHealth, *, now: datetime) -> list[Work]:
    return [
        *charging(health, capacity_ah=facts.capacity_ah),
        *clock_work(
            health,
            came_at=facts.came_at,
            tolerance_s=facts.levels.clock.tolerance_s,
            dangers=facts.dangers,
            now=now,
        ),
        *keying_work(_keying(facts, health), now=now),
        *_day_keying(facts, now=now),
        *([] if any(span.to_at is None for span in facts.out_of_order) else silence_work(_news(facts))),
        *(box_work(box_facts_of(facts), now=now) if facts.box_limits else ()),
    ]


def _keying(facts: WorkFacts, health: TableHealth) -> KeyingFacts:
    found = facts.health.settings
    return KeyingFacts(
        listed=facts.listed.stretches if facts.listed else (),
        came_at=max(facts.came_at, facts.made_at),
        keyed=facts.keyed,
        reported_at=facts.keyings_reported_at,
        found_at=found.taken_at if found else None,
        differences=[difference for difference in health.settings if difference.against == "keyed"],
        turns_at=facts.controller.day_turns_at,
        currency=facts.health.currency,
        zone=facts.health.zone,
        dangers=facts.dangers,
    )


def _day_keying(facts: WorkFacts, *, now: datetime) -> tuple[Work, ...]:
    if facts.listed is None:
        return ()
    return day_keying_work(
        DayKeyingFacts(
            listed=facts.listed,
            controller=facts.controller,
            currency=facts.health.currency,
            newest_for=facts.newest_keying_for,
            dangers=facts.dangers,
        ),
        now=now,
    )


def _news(facts: WorkFacts) -> News:
    heard = [at for at in (facts.read_at, facts.last_collected_at) if at is not None and at >= facts.came_at]
    last_at = max(heard, default=facts.came_at)
    mended = [span.to_at for span in facts.out_of_order if span.to_at is not None]
    return News(
        last_at=last_at,
        silent_since=max([last_at, *mended]),
        entered_at=facts.made_at,
        ever=bool(heard),
        zone=facts.health.zone,
        label=facts.label,
        has_battery=not facts.on_mains,
        meters=tuple(meter.name for meter in facts.health.meters),
    )


def box_facts_of(facts: WorkFacts) -> BoxFacts:
    """Return the state of the cash box, with the limits that are stated."""
    last = facts.collected[-1] if facts.collected else None
    moved = facts.came_empty and (last is None or facts.came_at > last.collected_at)
    shown = facts.came_with if moved or last is None else last.meters
    empty_at = facts.came_at if moved or last is None else last.collected_at
    metered = [
        since
        for meter in facts.health.meters
        if meter.counts == "money"
        and (
            since := since_empty(
                meter, facts.health.meter_history.counts, empty_at=empty_at, shown=shown.get(meter.name)
            )
        )
    ]
    return BoxFacts(
        limits=facts.box_limits,
        currency=facts.health.currency,
        zone=facts.health.zone,
        empty_at=empty_at,
        emptied=_emptied(facts.collected, facts.out_of_order),
        metered=metered[0] if metered else None,
        dangers=facts.dangers,
        out_of_order=facts.out_of_order,
    )


def _emptied(collected: Sequence[CountedTable], out_of_order: Sequence[OutOfOrder]) -> list[Emptied]:
    """Return the boxes emptied, each with its days in order; a box without any has brought what it has in all its days."""
    befores = [collected[0].since_at if collected else None, *(row.collected_at for row in collected)]
    return [
        Emptied(
            days_in_order(out_of_order, from_at=before, to_at=row.collected_at)
            or days_in_order((), from_at=before, to_at=row.collected_at),
            row.counts,
        )
        for before, row in zip(befores, collected, strict=False)
        if before is not None and before < row.collected_at
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessed:
    """The work found at one table, and the venue where the table was then."""

    venue_id: UUID | None
    work: tuple[Work, ...]
