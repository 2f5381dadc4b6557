"""Reads what is known of a table's controller: what was keyed, what was found, new boards, where it stood (W8)."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Row, exists
from sqlmodel import Session, col, select

from ..pool_tables.controller import Controller
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import controller_of_table, get_table
from ..pricing import DomainError
from ..pricing.effort import Effort
from ..pricing.week import WEEKDAYS
from ..readings.queries import history
from ..schedules.queries import PriceContext, compile_schedule, listed_during, schedules_of
from ..schedules.rows import ScheduleRow
from ..store.feeds import LastChangeRow
from ..store.long_lists import OfMany, among
from ..venues.rows import VenueRow
from ..web.pagination import Page, page
from .convert import keying_out
from .fit import STEPS_OF_A_PRICE
from .found_days import read_days
from .rows import KeyingRow, KeyingVoidRow
from .schemas import KeyingChangeOut
from .sells import Fact, FoundWeek, Keyed, Machine, NewBoard, SoldDuring, StayAt, prices_to_drop, sold_during
from .week_settings import Day, WeekSettings

KEYED_IN_ORDER = (
    col(KeyingRow.keyed_at),
    col(ScheduleRow.sequence),
    col(KeyingRow.for_on).asc().nulls_first(),
    col(KeyingRow.sequence),
)
"""The order in which keyings count; a query that uses it joins their schedules."""

_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
_FACTS_MAX = 500
"""The newest findings and works of a table that are looked at."""


def page_keyings(session: Session, table_id: UUID, *, limit: int, after: UUID | None) -> Page[KeyingRow]:
    """Return a table's keyings in the order in which they were recorded."""
    get_table(session, table_id)
    query = select(KeyingRow).where(KeyingRow.pool_table_id == table_id)
    return page(session, query, key=col(KeyingRow.id), order=col(KeyingRow.sequence), limit=limit, after=after)


def changes_out(session: Session, rows: Sequence[LastChangeRow]) -> list[KeyingChangeOut]:
    """Write the keyings of a feed's rows, as they are now."""
    query = select(KeyingRow).where(col(KeyingRow.id).in_([row.subject_id for row in rows]))
    keyings = {keying.id: keying for keying in session.exec(query).all()}
    voids = voids_of(session, keyings.values())
    return [
        KeyingChangeOut(
            number=row.number,
            id=row.subject_id,
            changed_at=row.changed_at,
            keying=keying_out(keyings[row.subject_id], voids.get(row.subject_id)),
        )
        for row in rows
    ]


def voids_of(session: Session, keyings: Collection[KeyingRow]) -> dict[UUID, KeyingVoidRow]:
    """Return the notes by which keyings were voided, by keying."""
    query = select(KeyingVoidRow).where(among(col(KeyingVoidRow.keying_id), [row.id for row in keyings]))
    return {note.keying_id: note for note in session.exec(query).all()}


@dataclass(frozen=True, slots=True)
class StoredMachine:
    """What is stored of a table's controller, of where the table was, and the schedules of its venues."""

    table: PoolTableRow
    stays: Sequence[StayRow]
    venues: Mapping[UUID, VenueRow]
    done: Sequence[Row[Any]]
    settings: Sequence[Row[Any]]
    keyings: Sequence[tuple[KeyingRow, ScheduleRow, VenueRow]]
    schedules: Sequence[ScheduleRow]


@dataclass(frozen=True, slots=True)
class StoredPlaces:
    """Where some tables were, first stay first, the venues of that, and the work done at them, by table."""

    stays: Mapping[UUID, Sequence[StayRow]]
    venues: Mapping[UUID, VenueRow]
    done: Mapping[UUID, Sequence[Row[Any]]]


_PLACES = OfMany(
    col(StayRow.pool_table_id),
    lambda of_tables: (
        select(StayRow, VenueRow)
        .outerjoin(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(of_tables, col(StayRow.voided_at).is_(None))
        .order_by(col(StayRow.from_at), col(StayRow.sequence))
    ),
)
_KEYINGS = OfMany(
    col(KeyingRow.pool_table_id),
    lambda of_tables: (
        select(KeyingRow, ScheduleRow, VenueRow)
        .join(ScheduleRow, col(ScheduleRow.id) == col(KeyingRow.schedule_id))
        .join(VenueRow, col(VenueRow.id) == col(ScheduleRow.venue_id))
        .where(of_tables, ~exists().where(col(KeyingVoidRow.keying_id) == col(KeyingRow.id)))
        .order_by(*KEYED_IN_ORDER)
    ),
)
"""The keyings that are not void, in time order. Those of one instant go by their schedules, for one day after for good, in
whatever order they were recorded (C9)."""


def load_places(session: Session, table_ids: Collection[UUID]) -> StoredPlaces:
    """Return where some tables were, and the newest work done at them."""
    stays: dict[UUID, list[StayRow]] = {table_id: [] for table_id in table_ids}
    venues: dict[UUID, VenueRow] = {}
    query, values = _PLACES(table_ids)
    for stay, venue in session.exec(query, params=values):
        stays[stay.pool_table_id].append(stay)
        if venue is not None:
            venues[venue.id] = venue
    return StoredPlaces(stays, venues, history(session, table_ids, "done", since=_BEFORE_ALL, rows_max=_FACTS_MAX))


def load_machines(
    session: Session, tables: Collection[PoolTableRow], *, places: StoredPlaces | None = None
) -> dict[UUID, StoredMachine]:
    """Return the stored facts of some tables' controllers, by a fixed number of statements.

    ``places`` are what ``load_places`` returns of these tables, where that was loaded before.
    """
    ids = [table.id for table in tables]
    places = places or load_places(session, ids)
    stays, venues, done = places.stays, places.venues, places.done
    keyings = defaultdict[UUID, list[Any]](list)
    query, values = _KEYINGS(ids)
    for row in session.exec(query, params=values):
        keyings[row[0].pool_table_id].append(row)
    settings = history(session, ids, "settings", since=_BEFORE_ALL, rows_max=_FACTS_MAX)
    schedules = defaultdict[UUID, list[ScheduleRow]](list)
    for schedule in schedules_of(session, {stay.venue_id for id_ in ids for stay in stays[id_] if stay.venue_id}):
        schedules[schedule.venue_id].append(schedule)
    return {
        table.id: StoredMachine(
            table=table,
            stays=stays[table.id],
            venues=venues,
            done=done[table.id],
            settings=settings[table.id],
            keyings=keyings[table.id],
            schedules=[row for id_ in {stay.venue_id for stay in stays[table.id]} if id_ for row in schedules[id_]],
        )
        for table in tables
    }


def machine_from(session: Session, stored: StoredMachine) -> Machine:
    """Return what is known of a table's controller, where it stood, and what is listed for it there."""
    currency = [stored.venues[stay.venue_id].currency for stay in stored.stays if stay.venue_id is not None][-1]
    controller = controller_of_table(stored.table, currency)
    listed = listed_during(session, stored.stays, venues=stored.venues, schedules=stored.schedules)
    return Machine(
        controller=controller,
        currency=currency,
        stays=tuple(
            StayAt(id=stay.id, from_at=stay.from_at, venue_id=stay.venue_id, listed=listed.get(stay.id))
            for stay in stored.stays
        ),
        facts=(
            *(NewBoard(at=row.taken_at) for row in stored.done if "board_replaced" in row.done),
            *(_keyed(session, *row) for row in stored.keyings),
            *_findings(stored.settings, controller, currency),
        ),
    )


def machine_of(session: Session, table: PoolTableRow) -> Machine:
    """Return what is known of one table's controller, where it stood, and what is listed for it there."""
    return machine_from(session, load_machines(session, [table])[table.id])


def sold_at_place(session: Session, place: PriceContext, *, work: Effort) -> SoldDuring | None:
    """Return what the table of a place sells during its stay there; None of a venue itself.

    Refuses (``too_much_work``, E4) a controller that holds far fewer prices than many long tariffs have.
    """
    if place.table is None or place.stay is None:
        return None
    machine = machine_of(session, place.table)
    spend_on_prices(machine, work)
    return sold_during(machine, machine.stay_of(place.stay.id))


def spend_on_prices(machine: Machine, work: Effort) -> None:
    """Count the prices that a controller is too small for; refuse (``too_much_work``, E4) more than a request may try."""
    smaller = "state more prices in the table's controller, or key a schedule of fewer tariffs and prices"
    work.spend(STEPS_OF_A_PRICE * prices_to_drop(machine), where="table_id", smaller=smaller)


def days_found(row: Row[Any], controller: Controller, currency: str) -> tuple[Day, ...]:
    """Return the days that a reading found; none where they cannot be a controller's."""
    try:
        return read_days(row.settings, turns_at=controller.day_turns_at, currency=currency)
    except DomainError:
        return ()


def _keyed(session: Session, keying: KeyingRow, schedule: ScheduleRow, venue: VenueRow) -> Fact:
    return Keyed(
        at=keying.keyed_at,
        schedule=compile_schedule(session, schedule, venue),
        venue_id=venue.id,
        effective_on=schedule.effective_on,
        of="venue" if schedule.pool_table_id is None else "table",
        for_on=keying.for_on,
    )


def _findings(rows: Sequence[Row[Any]], controller: Controller, currency: str) -> list[Fact]:
    """Return the settings found that cover every day of the week."""
    facts: list[Fact] = []
    for row in rows:
        days = {day.day: day for day in days_found(row, controller, currency)}
        if all(name in days for name in WEEKDAYS) and len(days) == len(row.settings["days"]):
            dated = sorted(name for name in days if name not in WEEKDAYS)
            facts.append(
                FoundWeek(at=row.taken_at, week=WeekSettings(tuple(days[name] for name in (*WEEKDAYS, *dated))))
            )
    return facts
