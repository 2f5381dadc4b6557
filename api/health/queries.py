"""Reads what tables' health is judged by: readings, meters, moves, what they sell, and the levels in force.

- Rows are read for many tables at once, each kind by one statement; only what a table sells is asked for by the table.
- Readings count for 400 days, of each kind the newest: enough for trends, and bounded whatever the history.
- ``here_only`` leaves out what was read before a table came to its venue: what it took elsewhere is another venue's.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Row, exists, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..collections.rows import CollectedTableRow, CollectionRow
from ..controllers.queries import StoredMachine, load_machines, machine_from, spend_on_prices
from ..controllers.sells import sold_during
from ..controllers.settings_found import FoundSettings, TableController
from ..jobs.rows import JobDoneRow, JobRow
from ..pool_tables.place import counts_since
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pricing import parse_money, zone_named
from ..pricing.effort import Effort
from ..readings.convert import meter_of
from ..readings.meter_history import MeterHistory, MetersRead, one_history
from ..readings.queries import ReadingPart, histories, history
from ..schedules.queries import PriceContext
from ..settlements.rows import ReversalRow
from ..store.long_lists import among
from ..venues.rows import VenueRow
from .clock_offset import ClockReading
from .convert import read_settings
from .levels import Levels
from .rows import SettingsRow
from .schemas import SettingsIn
from .state_of_charge import Battery, SupplyReading
from .table_health import PricesAtTable, TableFacts, WorkDone

_LOOK_BACK = timedelta(days=400)

_COLLECTIONS_MAX = 200
_ROWS_MAX: Mapping[ReadingPart, int] = {"supply": 1_000, "clock": 500, "meters": 200}
_RARE_ROWS_MAX: Mapping[ReadingPart, int] = {"settings": 1, "done": 200}
"""Of these there are few, and an index of their own finds them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTable:
    """What is stored of a table that its health is judged by; ``stay`` and ``venue`` are its last at a venue.

    ``stays`` are all of them in time order, the last one open; ``collected`` are the meters at its collections,
    ``jobs`` before and after its jobs.
    """

    table: PoolTableRow
    stays: Sequence[StayRow]
    stay: StayRow
    venue: VenueRow
    read: Mapping[ReadingPart, Sequence[Row[Any]]]
    collected: Sequence[MetersRead]
    jobs: Sequence[MetersRead]
    machine: StoredMachine


def load_tables(session: Session, table_ids: Collection[UUID], *, now: datetime) -> dict[UUID, StoredTable]:
    """Return the stored facts of each table that exists, by a fixed number of statements."""
    tables = session.exec(select(PoolTableRow).where(among(col(PoolTableRow.id), table_ids))).all()
    since = now - _LOOK_BACK
    collected = _collected(session, table_ids, since=since)
    jobs, machines = _jobs(session, table_ids, since=since), load_machines(session, tables)
    read = histories(session, table_ids, _ROWS_MAX, since=since) | {
        kind: history(session, table_ids, kind, since=since, rows_max=rows_max)
        for kind, rows_max in _RARE_ROWS_MAX.items()
    }
    found: dict[UUID, StoredTable] = {}
    for table in tables:
        machine = machines[table.id]
        stay, venue_id = [(stay, stay.venue_id) for stay in machine.stays if stay.venue_id is not None][-1]
        found[table.id] = StoredTable(
            table=table,
            stays=machine.stays,
            stay=stay,
            venue=machine.venues[venue_id],
            read={kind: rows[table.id] for kind, rows in read.items()},
            collected=collected[table.id],
            jobs=jobs.get(table.id, ()),
            machine=machine,
        )
    return found


def health_facts_of(
    session: Session, stored: StoredTable, *, here_only: bool = False, work: Effort | None = None
) -> TableFacts:
    """Return what a table's health is judged by; refuse a stored profile or schedule that contradicts itself.

    Where ``work`` is counted, refuses (``too_much_work``, E4) a controller that holds far fewer prices than many long
    tariffs have.
    """
    table, stay, venue = stored.table, stored.stay, stored.venue
    here_since = counts_since(stay.from_at, made_at=table.made_at, void_placed_at=stay.void_placed_at)
    read = {
        kind: [row for row in rows if not here_only or row.taken_at >= here_since] for kind, rows in stored.read.items()
    }
    place = PriceContext(venue, table, stay) if table.venue_id is not None else None
    power, controller = table.profile.get("power") or {}, table.profile.get("controller")
    battery = Battery(power.get("chemistry", "unknown"), power.get("nominal_volts", 12))
    done = [WorkDone(row.taken_at, frozenset(row.done)) for row in read["done"]]
    found = next((FoundSettings(row.taken_at, row.settings) for row in read["settings"]), None)
    keyings = [keying for keying, _, _ in stored.machine.keyings] if found else []
    done += [WorkDone(keying.keyed_at, frozenset({"settings_keyed"})) for keying in keyings]
    return TableFacts(
        zone=zone_named(venue.time_zone),
        currency=venue.currency,
        battery=None if power.get("kind") == "mains" else battery,
        changes_for_summer_time=None if controller is None else controller.get("changes_for_summer_time", False),
        supply=[
            SupplyReading(row.taken_at, row.battery_mv, row.temperature_tenths_c, row.rested_minutes)
            for row in read["supply"]
        ],
        clock=[
            ClockReading(row.taken_at, row.clock_minute, row.clock_weekday, row.clock_on, row.clock_display)
            for row in read["clock"]
            if row.taken_at >= here_since
        ],
        meters=[meter_of(meter, currency=venue.currency) for meter in table.profile.get("meters", ())],
        meter_history=_meter_history(stored, since=here_since if here_only else None),
        settings=found,
        work=done,
        in_workshop=place is None,
        sells=_sells(session, place, stored.machine, found_at=found.taken_at if found else None, work=work)
        if place and (read["clock"] or found)
        else None,
    )


def _sells(
    session: Session, place: PriceContext, stored: StoredMachine, *, found_at: datetime | None, work: Effort | None
) -> PricesAtTable:
    """Return what a table sells, what is listed for it, and what its controller should hold."""
    assert place.table is not None
    assert place.stay is not None
    profile, currency = place.table.profile, place.venue.currency
    machine = machine_from(session, stored)
    if work is not None:
        spend_on_prices(machine, work)
    during = sold_during(machine, machine.stay_of(place.stay.id))
    assert during is not None
    held = TableController(
        controller=machine.controller,
        accepts=tuple(parse_money(text, currency) for text in profile["accepts"]),
        currency=currency,
        listed=during.listed,
        keyed=machine.keyed(found_at) if found_at else None,
    )
    return PricesAtTable(keyed=during.sold, listed=during.listed, held=held)


def levels_in_force(session: Session) -> Levels:
    """Return what tables are judged by."""
    row = session.get(SettingsRow, 1)
    return Levels() if row is None else read_settings(SettingsIn.model_validate(row.terms))


def settings_etag(session: Session) -> str:
    """Return the entity tag of the present settings."""
    row = session.get(SettingsRow, 1)
    return f'"{0 if row is None else row.revision}"'


def _meter_history(stored: StoredTable, *, since: datetime | None) -> MeterHistory:
    """Return the one history of a table's meters (G4), from an instant on where one is given."""
    return one_history(
        readings=(MetersRead(row.taken_at, row.meters) for row in stored.read["meters"]),
        jobs=stored.jobs,
        collections=stored.collected,
        stays=stored.stays,
        from_at=since,
    )


def _jobs(session: Session, table_ids: Collection[UUID], *, since: datetime) -> dict[UUID, list[MetersRead]]:
    """Return the meters before and after each table's jobs, in time order."""
    query = (
        select(JobRow.pool_table_id, JobDoneRow.done_at, JobDoneRow.meters_before, JobDoneRow.meters_after)
        .join(JobDoneRow, col(JobDoneRow.job_id) == col(JobRow.id))
        .where(among(col(JobRow.pool_table_id), table_ids), col(JobDoneRow.done_at) >= since)
        .order_by(col(JobDoneRow.done_at).desc(), col(JobDoneRow.job_id).desc())
        .limit(_COLLECTIONS_MAX * max(len(table_ids), 1))
    )
    found: dict[UUID, list[MetersRead]] = {}
    for table_id, done_at, before, after in reversed(session.exec(query).all()):
        found.setdefault(table_id, []).extend((MetersRead(done_at, before), MetersRead(done_at, after)))
    return found


def _collected(session: Session, table_ids: Collection[UUID], *, since: datetime) -> dict[UUID, list[MetersRead]]:
    """Return the meters at each table's newest collections that are not reversed, in time order."""
    order = (col(CollectionRow.collected_at).desc(), col(CollectionRow.id).desc())
    place = func.row_number().over(partition_by=col(CollectedTableRow.pool_table_id), order_by=order).label("place")
    newest = (
        select_columns(
            col(CollectedTableRow.pool_table_id), col(CollectionRow.collected_at), col(CollectedTableRow.meters), place
        )
        .join(CollectionRow, col(CollectionRow.id) == col(CollectedTableRow.collection_id))
        .where(
            among(col(CollectedTableRow.pool_table_id), table_ids),
            col(CollectionRow.collected_at) >= since,
            ~exists().where(col(ReversalRow.collection_id) == col(CollectionRow.id)),
        )
        .subquery()
    )
    query = select_columns(newest).where(newest.c.place <= _COLLECTIONS_MAX).order_by(newest.c.place.desc())
    found: dict[UUID, list[MetersRead]] = {table_id: [] for table_id in table_ids}
    for row in session.connection().execute(query):
        found[row.pool_table_id].append(MetersRead(row.collected_at, row.meters))
    return found
