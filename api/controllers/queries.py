"""Reads what is known of a table's controller: what was keyed, what was found, new boards, where it stood (W8)."""

from collections.abc import Collection
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Row, exists
from sqlmodel import Session, col, select

from ..pool_tables.controller import Controller
from ..pool_tables.controller_days import DAYS
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import controller_of_table, currency_of, get_table, stays_of
from ..pricing import DomainError
from ..readings.queries import history
from ..schedules.queries import Place, compile_schedule, listed_during
from ..schedules.rows import ScheduleRow
from ..venues.rows import VenueRow
from ..web.pagination import Page, page
from .found_days import read_days
from .rows import KeyingRow, KeyingVoidRow
from .sells import Fact, Found, Keyed, Machine, NewBoard, SoldDuring, StayAt, sold_during
from .week_settings import Day, WeekSettings

_BEFORE_ALL = datetime.min.replace(tzinfo=UTC)
_FACTS_MAX = 500
"""The newest findings and works of a table that are looked at."""


def page_keyings(session: Session, table_id: UUID, *, limit: int, after: UUID | None) -> Page[KeyingRow]:
    """Return a table's keyings in the order in which they were recorded."""
    get_table(session, table_id)
    query = select(KeyingRow).where(KeyingRow.pool_table_id == table_id)
    return page(session, query, key=col(KeyingRow.id), limit=limit, after=after)


def voids_of(session: Session, keyings: Collection[KeyingRow]) -> dict[UUID, KeyingVoidRow]:
    """Return the notes by which keyings were voided, by keying."""
    query = select(KeyingVoidRow).where(col(KeyingVoidRow.keying_id).in_([row.id for row in keyings]))
    return {note.keying_id: note for note in session.exec(query).all()}


def machine_of(session: Session, table: PoolTableRow) -> Machine:
    """Return what is known of a table's controller, where it stood, and what is listed for it there."""
    currency = currency_of(session, table)
    controller = controller_of_table(table, currency)
    stays = stays_of(session, table.id)
    listed = listed_during(session, stays)
    return Machine(
        controller=controller,
        currency=currency,
        stays=tuple(
            StayAt(id=stay.id, from_at=stay.from_at, venue_id=stay.venue_id, listed=listed.get(stay.id))
            for stay in stays
        ),
        facts=(
            *_boards(session, table.id),
            *_keyings(session, table.id),
            *_findings(session, table.id, controller, currency),
        ),
    )


def sold_at_place(session: Session, place: Place) -> SoldDuring | None:
    """Return what the table of a place sells during its stay there; None of a venue itself."""
    if place.table is None or place.stay is None:
        return None
    machine = machine_of(session, place.table)
    return sold_during(machine, machine.stay_of(place.stay.id))


def days_found(row: Row[Any], controller: Controller, currency: str) -> tuple[Day, ...]:
    """Return the days that a reading found; none where they cannot be a controller's."""
    try:
        return read_days(row.settings, turns_at=controller.day_turns_at, currency=currency)
    except DomainError:
        return ()


def _boards(session: Session, table_id: UUID) -> list[Fact]:
    rows = history(session, [table_id], "done", since=_BEFORE_ALL, most=_FACTS_MAX)[table_id]
    return [NewBoard(at=row.taken_at) for row in rows if "board_replaced" in row.done]


def _keyings(session: Session, table_id: UUID) -> list[Fact]:
    """Return the keyings that are not void, those of one instant in the order in which they were recorded."""
    query = (
        select(KeyingRow, ScheduleRow, VenueRow)
        .join(ScheduleRow, col(ScheduleRow.id) == col(KeyingRow.schedule_id))
        .join(VenueRow, col(VenueRow.id) == col(ScheduleRow.venue_id))
        .where(KeyingRow.pool_table_id == table_id, ~exists().where(col(KeyingVoidRow.keying_id) == col(KeyingRow.id)))
        .order_by(col(KeyingRow.keyed_at), col(KeyingRow.id))
    )
    return [
        Keyed(
            at=keying.keyed_at,
            schedule=compile_schedule(session, schedule, venue),
            venue_id=venue.id,
            effective_on=schedule.effective_on,
            of="venue" if schedule.pool_table_id is None else "table",
            for_on=keying.for_on,
        )
        for keying, schedule, venue in session.exec(query).all()
    ]


def _findings(session: Session, table_id: UUID, controller: Controller, currency: str) -> list[Fact]:
    """Return the settings found that cover every day of the week."""
    rows = history(session, [table_id], "settings", since=_BEFORE_ALL, most=_FACTS_MAX)[table_id]
    facts: list[Fact] = []
    for row in rows:
        days = {day.day: day for day in days_found(row, controller, currency)}
        if all(name in days for name in DAYS) and len(days) == len(row.settings["days"]):
            dated = sorted(name for name in days if name not in DAYS)
            facts.append(Found(at=row.taken_at, week=WeekSettings(tuple(days[name] for name in (*DAYS, *dated)))))
    return facts
