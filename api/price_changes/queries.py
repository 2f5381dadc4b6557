"""Reads what every table sold by, as far as a change of prices needs it (W8)."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlmodel import Session, col, select

from ..controllers.queries import load_machines, machine_from
from ..controllers.sells import sold_during
from ..pool_tables.rows import PoolTableRow
from ..pricing import Schedule
from ..schedules.queries import compile_schedule
from ..schedules.rows import ScheduleRow
from ..tariffs.service import get_tariff
from ..venues.rows import VenueRow
from ..venues.service import get_venue
from ..web.errors import not_found
from .prices_held import PricesHeld, prices_held


@dataclass(frozen=True, slots=True)
class Asked:
    """The prices asked about: the schedules that sell by them, their currency, and what they are called."""

    schedule_ids: frozenset[str]
    tariff_id: str | None
    currency: str
    name: str

    def sells(self, schedule: Schedule) -> bool:
        """Tell whether a schedule sells by the prices asked about."""
        if self.tariff_id is None:
            return schedule.id in self.schedule_ids
        if schedule.id:
            return schedule.id in self.schedule_ids
        return any(entry.tariff is not None and entry.tariff.id == self.tariff_id for entry in schedule.entries)


@dataclass(frozen=True, slots=True)
class TableHeld:
    """What a table sold by during one stay at a venue."""

    table: PoolTableRow
    venue_id: UUID
    held: list[PricesHeld]


def asked_by_tariff(session: Session, tariff_id: UUID) -> Asked:
    """Return the schedules that name a tariff; ``not_found`` where there is no such tariff."""
    tariff = get_tariff(session, tariff_id)
    found = set()
    for row, venue in session.exec(
        select(ScheduleRow, VenueRow)
        .join(VenueRow, col(VenueRow.id) == col(ScheduleRow.venue_id))
        .where(VenueRow.currency == tariff.currency, ~col(ScheduleRow.follow_venue))
    ):
        schedule = compile_schedule(session, row, venue)
        if any(entry.tariff is not None and entry.tariff.id == str(tariff_id) for entry in schedule.entries):
            found.add(str(row.id))
    return Asked(frozenset(found), str(tariff_id), tariff.currency, f"{tariff.code}, version {tariff.version}")


def asked_by_schedule(session: Session, schedule_id: UUID) -> Asked:
    """Return one schedule; ``not_found`` where there is none."""
    row = session.get(ScheduleRow, schedule_id)
    if row is None:
        raise not_found("schedule")
    venue = get_venue(session, row.venue_id)
    name = f"{venue.name} from {row.effective_on}"
    return Asked(frozenset((str(schedule_id),)), None, venue.currency, name)


def tables_held(session: Session, asked: Asked) -> list[TableHeld]:
    """Return what each table sold by during each of its stays at a venue of that currency, by the tables' ids."""
    tables = session.exec(select(PoolTableRow).order_by(col(PoolTableRow.id))).all()
    found = []
    for stored in load_machines(session, tables).values():
        if not any(_is_of(stored.venues[s.venue_id], asked) for s in stored.stays if s.venue_id is not None):
            continue
        machine = machine_from(session, stored)
        for stay, at in zip(stored.stays, machine.stays, strict=True):
            during = sold_during(machine, at)
            if stay.venue_id is None or during is None or not _is_of(stored.venues[stay.venue_id], asked):
                continue
            calendar = during.sold.calendar
            is_first = stay.id == stored.stays[0].id
            held = prices_held(
                during.sold,
                is_asked=asked.sells,
                from_on=date.min if is_first else calendar.trading_day(stay.from_at),
                until_on=None if stay.to_at is None else calendar.trading_day(stay.to_at),
            )
            found.append(TableHeld(stored.table, stay.venue_id, held))
    return found


def _is_of(venue: VenueRow, asked: Asked) -> bool:
    return venue.currency == asked.currency
