"""Pool tables and their moves.

- A table is at one place at a time, since it was placed there; its moves go forward in time, to another place, and
  stay on record.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

from sqlmodel import Session, col, select

from ..pricing import DomainError
from ..store.clock import new_id
from ..store.db import lock
from ..store.sequence import next_number
from ..venues.rows import VenueRow
from ..venues.service import calendar_of, get_venue, lock_venue, must_be_of_the_route
from ..web.errors import http_problem, not_found
from ..web.pagination import Page, page
from ..web.preconditions import apply_change, must_match_etag
from ..web.schema_types import value_or
from .controller import Controller, controller_of
from .future_instants import must_have_come
from .place import GONE_PLACES, PLACE_IN_WORDS, OwnPlace, Place
from .profile import normal_profile
from .rows import PoolTableRow, StayRow
from .schemas import MoveIn, TableChangeIn, TableIn

_NOT_STATED = Controller(free=True)


def controller_of_table(table: PoolTableRow, currency: str) -> Controller:
    """Return a table's controller as stated; refuse (``bad_limit`` and others) a statement that contradicts itself."""
    stated = table.profile.get("controller")
    if stated is None:
        return _NOT_STATED
    try:
        return controller_of(stated, currency)
    except DomainError as error:
        raise error.within("controller") from None


def must_be_a_controller(session: Session, table: PoolTableRow) -> None:
    """Refuse a table whose controller, as stated, contradicts itself."""
    controller_of_table(table, currency_of(session, table))


def create_table(session: Session, venue_id: UUID, table: TableIn, *, now: datetime) -> PoolTableRow:
    """Store a new table, standing at a venue since it was placed there, else from now on."""
    venue = lock_venue(session, venue_id)
    must_be_of_the_route(venue, where="venue_id")
    placed_at = value_or(table.placed_at, now)
    must_have_come(placed_at, now=now, where="placed_at")
    stated = table.model_dump(exclude={"label", "placed_at"}, by_alias=True, mode="json")
    profile = normal_profile(stated, venue.currency)
    recorded = next_number(session, "pool tables", now=now)
    row = PoolTableRow(
        id=new_id(),
        sequence=recorded.number,
        label=table.label,
        venue_id=venue_id,
        profile=profile,
        made_at=recorded.at,
    )
    venue.has_tables = True
    session.add(row)
    session.flush()
    session.add(
        StayRow(
            id=new_id(),
            sequence=next_number(session, "stays", now=now).number,
            pool_table_id=row.id,
            venue_id=venue_id,
            place="venue",
            from_at=placed_at,
            meters={},
        )
    )
    session.flush()
    return row


def get_table(session: Session, table_id: UUID) -> PoolTableRow:
    """Return a table; ``not_found`` for an unknown id."""
    row = session.get(PoolTableRow, table_id)
    if row is None:
        raise not_found("table")
    return row


def page_tables(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[PoolTableRow]:
    """Return the tables at a venue now."""
    get_venue(session, venue_id)
    query = select(PoolTableRow).where(PoolTableRow.venue_id == venue_id)
    return page(session, query, key=col(PoolTableRow.id), order=col(PoolTableRow.sequence), limit=limit, after=after)


def change_table(session: Session, table_id: UUID, change: TableChangeIn, *, if_match: str | None) -> PoolTableRow:
    """Change a table that is still as the caller last saw it. Locks: the table."""
    lock(session, f"table:{table_id}")
    row = get_table(session, table_id)
    must_match_etag(row, if_match)
    values = change.model_dump(by_alias=True, mode="json")
    label = values.pop("label", row.label)
    profile = {name: value for name, value in {**row.profile, **values}.items() if value is not None}
    profile = normal_profile(profile, currency_of(session, row))
    return apply_change(session, row, {"label": label, "profile": profile})


def currency_of(session: Session, table: PoolTableRow) -> str:
    """Return the currency in which a table sells: that of its venue, or of its last one."""
    return last_stay_at_a_venue(session, table)[1].currency


def last_stay_at_a_venue(session: Session, table: PoolTableRow) -> tuple[StayRow, VenueRow]:
    """Return a table's latest stay at a venue, with the venue."""
    query = (
        select(StayRow, VenueRow)
        .join(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(StayRow.pool_table_id == table.id, col(StayRow.voided_at).is_(None))
        .order_by(col(StayRow.from_at).desc(), col(StayRow.sequence).desc())
        .limit(1)
    )
    return session.exec(query).one()


def venue_and_currency_on(session: Session, table_id: UUID, on: date) -> tuple[UUID | None, str]:
    """Return the venue where a table was at the end of a trading day (None: at no venue), and the currency it sells in.

    The day is one of the venue where the table is now, or was last.
    """
    venue = last_stay_at_a_venue(session, get_table(session, table_id))[1]
    day_ends_at = calendar_of(venue).day_starts(on + timedelta(days=1))
    return stay_at(stays_of(session, table_id), day_ends_at - timedelta(microseconds=1)).venue_id, venue.currency


def stays_of(session: Session, table_id: UUID) -> list[StayRow]:
    """Return a table's stays, first stay first; ``not_found`` for an unknown table."""
    get_table(session, table_id)
    query = select(StayRow).where(StayRow.pool_table_id == table_id, col(StayRow.voided_at).is_(None))
    return list(session.exec(query.order_by(col(StayRow.from_at), col(StayRow.sequence))).all())


def stay_at(stays: Sequence[StayRow], at: datetime) -> StayRow:
    """Return the stay, of a table's in time order, that covers an instant; before the first, that first one."""
    return next((stay for stay in reversed(stays) if stay.from_at <= at), stays[0])


def move_table(session: Session, table_id: UUID, move: MoveIn, *, now: datetime) -> StayRow:
    """End a table's stay and begin the next; the meters are those read as it left (C1).

    Refuses a table that is gone (``table_gone``), a move before its last one (``out_of_order``) or to where it is
    (``already_there``), a venue of another currency, and a place beside a venue. Locks: the table, then the
    venue that it comes to.
    """
    lock(session, f"table:{table_id}")
    table = get_table(session, table_id)
    must_have_come(move.moved_at, now=now, where="moved_at")
    open_stay = session.exec(
        select(StayRow).where(StayRow.pool_table_id == table_id, col(StayRow.to_at).is_(None))
    ).one()
    must_be_on_the_route(open_stay, where="table_id")
    to = _place_of(move)
    if move.moved_at < open_stay.from_at:
        raise http_problem(
            "out_of_order",
            where="moved_at",
            found=move.moved_at.isoformat(),
            expected=f"{open_stay.from_at.isoformat()} or later",
        )
    if (move.venue_id, to) == (open_stay.venue_id, open_stay.place):
        place = PLACE_IN_WORDS[to] if move.venue_id is None else get_venue(session, move.venue_id).name
        expected = f"another place: it has been there since {open_stay.from_at.isoformat()}"
        raise http_problem("already_there", where="venue_id", found=place, expected=expected)
    if move.venue_id is not None:
        venue, currency = lock_venue(session, move.venue_id), currency_of(session, table)
        if venue.currency != currency:
            raise http_problem("currency_differs", where="venue_id", found=venue.currency, expected=currency)
        must_be_of_the_route(venue, where="venue_id")
        venue.has_tables = True
    meters: dict[str, int] = value_or(move.meters, {})
    must_have_meters(table, meters)
    open_stay.to_at = move.moved_at
    session.flush()
    stay = StayRow(
        id=new_id(),
        sequence=next_number(session, "stays", now=now).number,
        pool_table_id=table_id,
        venue_id=move.venue_id,
        place=to,
        from_at=move.moved_at,
        meters=meters,
        box=move.box,
    )
    session.add(stay)
    table.venue_id = move.venue_id
    table.revision += 1
    session.flush()
    return stay


def page_moves(session: Session, table_id: UUID, *, limit: int, after: UUID | None) -> Page[StayRow]:
    """Return where a table came to, its first place first; moves are recorded in the order in which they happened."""
    get_table(session, table_id)
    query = select(StayRow).where(StayRow.pool_table_id == table_id)
    return page(session, query, key=col(StayRow.id), order=col(StayRow.sequence), limit=limit, after=after)


def must_be_on_the_route(stay: StayRow, *, where: str) -> None:
    """Refuse (``table_gone``) a table whose latest stay says that it was retired, sold or lost."""
    if stay.place in GONE_PLACES:
        found = f"{stay.place} since {stay.from_at.isoformat()}"
        raise http_problem("table_gone", where=where, found=found, expected="a table of the route")


def _place_of(move: MoveIn) -> Place:
    """Return the place that a move goes to; refuse (``invalid``) another place beside a venue."""
    to: OwnPlace | None = value_or(move.to, None)
    if move.venue_id is None:
        return to or "workshop"
    if to is not None:
        raise http_problem("invalid", where="to", found=to, expected="nothing beside a venue")
    return "venue"


def must_have_meters(table: PoolTableRow, meters: Mapping[str, int], *, where: str = "meters") -> None:
    """Refuse a meter that the table does not have, or more than its digits can show."""
    known = {meter["name"]: meter["digits"] for meter in table.profile.get("meters", [])}
    for name, count in meters.items():
        if name not in known:
            expected = f"one of {', '.join(known)}" if known else "no meter: the table has none"
            raise http_problem("invalid", where=f"{where}.{name}", found="no such meter", expected=expected)
        if count >= 10 ** known[name]:
            raise http_problem(
                "invalid", where=f"{where}.{name}", found=count, expected=f"at most {known[name]} digits"
            )
