"""Tables judged from the database, and the operator's levels and tolerances by which they are.

- Judged is what was read within 400 days, of each kind the newest: enough for trends, and bounded whatever the history.
- A venue is told what was read since the table came to stand there: what it took elsewhere is another venue's.
- Several tables are judged by the same few queries as one, but for the timetable of those whose clock or settings were read.
- The settings are one row that is replaced as a whole; while there is none, all are the defaults.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Row
from sqlmodel import Session, col, select

from ..controllers.rows import KeyingRow
from ..controllers.service import keyed_at
from ..controllers.settings_found import FoundSettings, Held
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import controller_of_table
from ..pricing import parse_money, zone_named
from ..readings.meters import Meter
from ..readings.queries import Kind, history
from ..schedules.queries import Place, listed_at
from ..store.db import hold
from ..venues.rows import VenueRow
from ..web.errors import refused
from .clock_offset import ClockReading
from .convert import read_settings
from .levels import Levels
from .meter_health import Counts
from .rows import SettingsRow
from .schemas import SettingsIn
from .state_of_charge import Battery, SupplyReading
from .table_health import Sells, TableFacts, TableHealth, WorkDone, judge

_LOOK_BACK = timedelta(days=400)

_MOST: Mapping[Kind, int] = {"supply": 1_000, "clock": 500, "meters": 200, "settings": 1, "done": 200}


@dataclass(frozen=True, slots=True)
class _Stands:
    """A table at the venue where it stands, or last stood before it came to the workshop."""

    table: PoolTableRow
    stay: StayRow
    venue: VenueRow


def judge_tables(
    session: Session,
    table_ids: Collection[UUID],
    *,
    now: datetime,
    collected_at: Mapping[UUID, Sequence[datetime]] | None = None,
    here_only: bool = False,
) -> dict[UUID, TableHealth]:
    """Return the health of each table that exists; ``collected_at`` says when whose box was emptied, where known.

    ``here_only`` leaves out what was read before a table came to stand where it stands.
    """
    tables = session.exec(select(PoolTableRow).where(col(PoolTableRow.id).in_(table_ids))).all()
    places = _places(session, tables)
    levels = levels_in_force(session)
    read = {kind: history(session, table_ids, kind, since=now - _LOOK_BACK, most=most) for kind, most in _MOST.items()}
    facts = {
        table.id: _facts(
            session,
            places[table.id],
            {
                kind: [row for row in rows[table.id] if not here_only or row.taken_at >= places[table.id].stay.from_at]
                for kind, rows in read.items()
            },
            collected_at=(collected_at or {}).get(table.id, ()),
        )
        for table in tables
    }
    return {table_id: judge(known, levels, now=now) for table_id, known in facts.items()}


def levels_in_force(session: Session) -> Levels:
    """Return what tables are judged by."""
    row = session.get(SettingsRow, 1)
    return Levels() if row is None else read_settings(SettingsIn.model_validate(row.terms))


def put_settings(session: Session, message: SettingsIn, *, if_match: str | None, now: datetime) -> Levels:
    """Replace the settings, if they are still as the caller last saw them where an ``If-Match`` says so."""
    hold(session, "settings")
    levels = read_settings(message)
    etag = settings_etag(session)
    if if_match is not None and if_match.strip() != "*":
        tags = [tag.strip().removeprefix("W/") for tag in if_match.split(",")]
        if etag not in tags:
            raise refused("stale", where="If-Match", found=if_match[:80], expected=etag)
    row = session.get(SettingsRow, 1) or SettingsRow(id=1, revision=0, terms={}, changed_at=now)
    row.terms, row.changed_at, row.revision = message.model_dump(mode="json"), now, row.revision + 1
    session.add(row)
    session.flush()
    return levels


def settings_etag(session: Session) -> str:
    """Return the entity tag of the present settings."""
    row = session.get(SettingsRow, 1)
    return f'"{0 if row is None else row.revision}"'


def _places(session: Session, tables: Iterable[PoolTableRow]) -> dict[UUID, _Stands]:
    """Return where each table stands, or last stood."""
    by_id = {table.id: table for table in tables}
    query = (
        select(StayRow, VenueRow)
        .join(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(col(StayRow.pool_table_id).in_(by_id))
        .order_by(col(StayRow.from_at), col(StayRow.id))
    )
    return {
        stay.pool_table_id: _Stands(by_id[stay.pool_table_id], stay, venue) for stay, venue in session.exec(query).all()
    }


def _facts(
    session: Session, stands: _Stands, read: Mapping[Kind, list[Row[Any]]], *, collected_at: Sequence[datetime]
) -> TableFacts:
    table, stay, venue = stands.table, stands.stay, stands.venue
    place = Place(venue, table, stay) if table.venue_id is not None else None
    power, controller = table.profile.get("power") or {}, table.profile.get("controller")
    battery = Battery(power.get("chemistry", "unknown"), power.get("nominal_volts", 12))
    work = [WorkDone(row.taken_at, frozenset(row.done)) for row in read["done"]]
    found_here = [row for row in read["settings"] if row.taken_at >= stay.from_at]
    found = next((FoundSettings(row.taken_at, row.settings) for row in found_here), None)
    keyings = session.exec(select(KeyingRow.keyed_at).where(KeyingRow.stay_id == stay.id)).all() if found else []
    work += [WorkDone(at, frozenset({"settings_keyed"})) for at in keyings]
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
            if row.taken_at >= stay.from_at
        ],
        meters=[_meter(meter, venue.currency) for meter in table.profile.get("meters", ())],
        counts=[Counts(row.taken_at, row.meters) for row in read["meters"]],
        settings=found,
        work=work,
        collected_at=collected_at,
        in_workshop=place is None,
        sells=_sells(session, place, was_keyed=found is not None and any(at <= found.taken_at for at in keyings))
        if place and (read["clock"] or found)
        else None,
    )


def _sells(session: Session, place: Place, *, was_keyed: bool) -> Sells:
    """Return what a table sells, what is listed for it, and what its controller should hold."""
    assert place.table is not None
    profile, currency = place.table.profile, place.venue.currency
    listed = listed_at(session, place)
    keyed = keyed_at(session, place, listed=listed)
    held = Held(
        controller=controller_of_table(place.table, currency),
        accepts=tuple(parse_money(text, currency) for text in profile["accepts"]),
        currency=currency,
        listed=listed,
        keyed=keyed if was_keyed else None,
    )
    return Sells(keyed=keyed, listed=listed, held=held)


def _meter(meter: Mapping[str, Any], currency: str) -> Meter:
    counts_money = meter["counts"] == "money"
    return Meter(
        name=meter["name"],
        counts=meter["counts"],
        digits=meter["digits"],
        resets=meter["resets"],
        unit_minor=parse_money(meter["unit_value"], currency) if counts_money else None,
    )
