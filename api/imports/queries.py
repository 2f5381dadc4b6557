"""Reads what an import compares its lines with: the names of the route, and the lines stored before."""

from collections.abc import Collection
from uuid import UUID

from sqlalchemy import bindparam
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..pool_tables.rows import PoolTableRow, StayRow
from ..venues.rows import VenueRow
from ..venues.service import calendar_of
from .known_names import Places, TableHere, VenueHere
from .rows import IMPORT_LINE, ImportLineRow

_TOGETHER = 1_000
_LINES = select_columns(IMPORT_LINE).where(IMPORT_LINE.c.id.in_(bindparam("ids", expanding=True)))


def load_places(session: Session) -> Places:
    """Return the venues of the route, and the tables with the venue where each is, or was last."""
    places = Places()
    venues = {row.id: venue_here(row) for row in session.exec(select(VenueRow).order_by(col(VenueRow.id)))}
    for venue in venues.values():
        places.add_venue(venue)
    query = (
        select(StayRow.pool_table_id, StayRow.venue_id)
        .where(col(StayRow.venue_id).is_not(None), col(StayRow.voided_at).is_(None))
        .order_by(col(StayRow.from_at), col(StayRow.sequence))
    )
    last: dict[UUID, UUID | None] = dict(session.exec(query).all())
    for table in session.exec(select(PoolTableRow).order_by(col(PoolTableRow.id))):
        if (venue_id := last.get(table.id)) is not None:
            places.add_table(table_here(table, venues[venue_id]))
    return places


def venue_here(row: VenueRow) -> VenueHere:
    """Return a venue as lines can name it."""
    return VenueHere(str(row.id), row.name, row.currency, calendar_of(row))


def table_here(row: PoolTableRow, venue: VenueHere) -> TableHere:
    """Return a table as lines can name it."""
    return TableHere(str(row.id), row.label, row.profile.get("frame_number") or "", venue)


def stored_lines(session: Session, ids: Collection[UUID]) -> dict[UUID, ImportLineRow]:
    """Return the lines stored before under these ids."""
    wanted = list(ids)
    found: dict[UUID, ImportLineRow] = {}
    for start in range(0, len(wanted), _TOGETHER):
        rows = session.connection().execute(_LINES, {"ids": wanted[start : start + _TOGETHER]})
        found |= {row.id: ImportLineRow(**row._mapping) for row in rows}
    return found
