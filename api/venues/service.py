"""Venues, tables, moves and tax areas in the database.

- A venue's zone, day start and currency are fixed once it has a schedule (W6).
- A table stands at one place at a time, since it was placed there; its moves go forward in time, to another place, and
  stay on record.
- A tax area's dated rates are added to, never changed.
"""

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from typing import Any, TypeVar, cast
from uuid import UUID

from sqlalchemy import CursorResult
from sqlmodel import Session, col, select

from api.clock import new_id
from api.db import hold
from api.errors import Problem, not_found, refused
from api.paging import Page, page
from api.pricing import Fault, PricingError
from api.pricing.money import exponent
from api.pricing.trading_day import Calendar, zone_named
from api.venues.models import (
    MoveIn,
    PoolTableRow,
    StayRow,
    TableChangeIn,
    TableIn,
    TaxAreaIn,
    TaxAreaRow,
    VenueChangeIn,
    VenueIn,
    VenueRow,
)
from api.venues.profile import normal_profile
from api.wire import given

R = TypeVar("R", VenueRow, PoolTableRow)

DAY_STARTS_AT = time(6)
FUTURE_ALLOWED = timedelta(minutes=5)
_FIXED = ("time_zone", "currency", "day_starts_at")


def create_venue(session: Session, venue: VenueIn, *, now: datetime) -> VenueRow:
    """Store a new venue."""
    _must_exist(time_zone=venue.time_zone, currency=venue.currency)
    _must_know_tax_area(session, given(venue.tax_area, None))
    row = VenueRow(id=new_id(), made_at=now, **{"day_starts_at": DAY_STARTS_AT, **venue.model_dump()})
    session.add(row)
    session.flush()
    return row


def get_venue(session: Session, venue_id: UUID) -> VenueRow:
    """Return a venue; ``not_found`` where there is none."""
    row = session.get(VenueRow, venue_id)
    if row is None:
        raise not_found("venue")
    return row


def currencies(session: Session) -> list[str]:
    """Return every currency that a venue sells in, by its code."""
    return sorted(session.exec(select(VenueRow.currency).distinct()).all())


def payees(session: Session) -> dict[str, tuple[str, str]]:
    """Return every venue's name and legal name by its id, as books and reports show them."""
    query = select(VenueRow.id, VenueRow.name, VenueRow.legal_name)
    return {str(venue_id): (name, legal_name) for venue_id, name, legal_name in session.exec(query)}


def page_venues(session: Session, *, limit: int, after: UUID | None) -> Page[VenueRow]:
    """Return venues in the order in which they were made."""
    return page(session, select(VenueRow), key=col(VenueRow.id), limit=limit, after=after)


def change_venue(
    session: Session, venue_id: UUID, change: VenueChangeIn, *, if_match: str | None, scheduled: bool
) -> VenueRow:
    """Change a venue that is still as the caller last saw it; ``scheduled`` tells that it has a schedule (W6)."""
    row = get_venue(session, venue_id)
    _must_match(row, if_match)
    values = change.model_dump()
    fixed = [name for name in _FIXED if name in values and values[name] != getattr(row, name)]
    if fixed and scheduled:
        faults = [Fault("fixed_by_schedule", name, _said(values[name]), _said(getattr(row, name))) for name in fixed]
        raise Problem("fixed_by_schedule", errors=faults)
    _must_exist(time_zone=values.get("time_zone"), currency=values.get("currency"))
    if "currency" in values and values["currency"] != row.currency and _has_tables(session, venue_id):
        raise refused(
            "conflict",
            where="currency",
            found=values["currency"],
            expected=f"{row.currency}: tables that stand or stood here sell in it",
        )
    _must_know_tax_area(session, values.get("tax_area"))
    return _apply(session, row, values)


def _said(value: str | time) -> str:
    return value if isinstance(value, str) else f"{value:%H:%M}"


def calendar_of(venue: VenueRow) -> Calendar:
    """Return a venue's calendar: its zone and when its trading day starts."""
    return Calendar(zone_named(venue.time_zone), venue.day_starts_at)


def create_table(session: Session, venue_id: UUID, table: TableIn, *, now: datetime) -> PoolTableRow:
    """Store a new table, standing at a venue since it was placed there, else from now on."""
    venue = get_venue(session, venue_id)
    placed_at = given(table.placed_at, now)
    _must_have_come(placed_at, now=now, where="placed_at")
    stated = table.model_dump(exclude={"label", "placed_at"}, by_alias=True, mode="json")
    profile = normal_profile(stated, venue.currency)
    row = PoolTableRow(id=new_id(), label=table.label, venue_id=venue_id, profile=profile, made_at=now)
    session.add(row)
    session.flush()
    session.add(StayRow(id=new_id(), pool_table_id=row.id, venue_id=venue_id, from_at=placed_at, meters={}))
    session.flush()
    return row


def get_table(session: Session, table_id: UUID) -> PoolTableRow:
    """Return a table; ``not_found`` where there is none."""
    row = session.get(PoolTableRow, table_id)
    if row is None:
        raise not_found("table")
    return row


def page_tables(session: Session, venue_id: UUID, *, limit: int, after: UUID | None) -> Page[PoolTableRow]:
    """Return the tables that stand at a venue now."""
    get_venue(session, venue_id)
    query = select(PoolTableRow).where(PoolTableRow.venue_id == venue_id)
    return page(session, query, key=col(PoolTableRow.id), limit=limit, after=after)


def change_table(session: Session, table_id: UUID, change: TableChangeIn, *, if_match: str | None) -> PoolTableRow:
    """Change a table that is still as the caller last saw it."""
    row = get_table(session, table_id)
    _must_match(row, if_match)
    values = change.model_dump(by_alias=True, mode="json")
    label = values.pop("label", row.label)
    profile = {name: value for name, value in {**row.profile, **values}.items() if value is not None}
    profile = normal_profile(profile, currency_of(session, row))
    return _apply(session, row, {"label": label, "profile": profile})


def currency_of(session: Session, table: PoolTableRow) -> str:
    """Return the currency in which a table sells: that of the venue where it stands, or last stood."""
    return last_stay_at_a_venue(session, table)[1].currency


def last_stay_at_a_venue(session: Session, table: PoolTableRow) -> tuple[StayRow, VenueRow]:
    """Return a table's latest stay at a venue, with the venue."""
    query = (
        select(StayRow, VenueRow)
        .join(VenueRow, col(VenueRow.id) == col(StayRow.venue_id))
        .where(StayRow.pool_table_id == table.id)
        .order_by(col(StayRow.from_at).desc(), col(StayRow.id).desc())
        .limit(1)
    )
    return session.exec(query).one()


def stays_of(session: Session, table_id: UUID) -> list[StayRow]:
    """Return where a table has stood, first stay first; ``not_found`` where there is no such table."""
    get_table(session, table_id)
    query = select(StayRow).where(StayRow.pool_table_id == table_id)
    return list(session.exec(query.order_by(col(StayRow.from_at), col(StayRow.id))).all())


def stay_at(stays: Sequence[StayRow], at: datetime) -> StayRow:
    """Return the stay, of a table's in time order, that covers an instant; before the first, that first one."""
    return next((stay for stay in reversed(stays) if stay.from_at <= at), stays[0])


def move_table(session: Session, table_id: UUID, move: MoveIn, *, now: datetime) -> StayRow:
    """End a table's stay and begin the next; the meters are those read as it left (C1)."""
    hold(session, f"table:{table_id}")
    table = get_table(session, table_id)
    _must_have_come(move.moved_at, now=now, where="moved_at")
    open_stay = session.exec(
        select(StayRow).where(StayRow.pool_table_id == table_id, col(StayRow.to_at).is_(None))
    ).one()
    if move.moved_at < open_stay.from_at:
        raise refused(
            "out_of_order",
            where="moved_at",
            found=move.moved_at.isoformat(),
            expected=f"{open_stay.from_at.isoformat()} or later",
        )
    if move.venue_id == open_stay.venue_id:
        place = "the workshop" if move.venue_id is None else get_venue(session, move.venue_id).name
        expected = f"another place: it has stood there since {open_stay.from_at.isoformat()}"
        raise refused("already_there", where="venue_id", found=place, expected=expected)
    if move.venue_id is not None and get_venue(session, move.venue_id).currency != currency_of(session, table):
        raise refused(
            "currency_differs",
            where="venue_id",
            found=get_venue(session, move.venue_id).currency,
            expected=currency_of(session, table),
        )
    meters: dict[str, int] = given(move.meters, {})
    _must_have_meters(table, meters)
    open_stay.to_at = move.moved_at
    session.flush()
    stay = StayRow(
        id=new_id(), pool_table_id=table_id, venue_id=move.venue_id, from_at=move.moved_at, meters=meters, box=move.box
    )
    session.add(stay)
    table.venue_id = move.venue_id
    table.revision += 1
    session.flush()
    return stay


def put_tax_area(session: Session, area: TaxAreaIn, *, now: datetime) -> TaxAreaRow:
    """Store a tax area, or add dated rates to one; a rate that stands is never changed."""
    hold(session, f"tax area:{area.code}")
    rates = [rate.model_dump(mode="json") for rate in area.rates]
    for i, rate in enumerate(rates):
        if ("rate_percent" in rate) == ("divisor" in rate):
            found = "both" if "divisor" in rate else "neither"
            raise refused("invalid", where=f"rates[{i}]", found=found, expected="one of rate_percent and divisor")
    row = session.get(TaxAreaRow, area.code) or TaxAreaRow(code=area.code, name=area.name, rates=[], made_at=now)
    standing = {rate["from_on"]: rate for rate in row.rates}
    for i, rate in enumerate(rates):
        stands = standing.setdefault(rate["from_on"], rate)
        if stands != rate:
            found, expected = _rate_in_words(rate), f"{_rate_in_words(stands)}, which stands from that date on"
            raise refused("conflict", where=f"rates[{i}]", found=found, expected=expected)
    row.name = area.name
    row.rates = sorted(standing.values(), key=lambda rate: str(rate["from_on"]))
    session.add(row)
    session.flush()
    return row


def _rate_in_words(rate: dict[str, str]) -> str:
    return f"{rate['rate_percent']} %" if "rate_percent" in rate else f"divisor {rate['divisor']}"


def page_tax_areas(session: Session, *, limit: int, after: str | None) -> Page[TaxAreaRow]:
    """Return the tax areas by code."""
    return page(session, select(TaxAreaRow), key=col(TaxAreaRow.code), limit=limit, after=after)


def etag_of(row: VenueRow | PoolTableRow) -> str:
    """Return the entity tag of a row's present state."""
    return f'"{row.revision}"'


def _must_have_come(at: datetime, *, now: datetime, where: str) -> None:
    if at > now + FUTURE_ALLOWED:
        raise refused("invalid", where=where, found=at.isoformat(), expected="an instant that has come")


def _must_match(row: VenueRow | PoolTableRow, if_match: str | None) -> None:
    if if_match is None:
        raise Problem("if_match_needed")
    tags = [tag.strip().removeprefix("W/") for tag in if_match.split(",")]
    if if_match.strip() != "*" and etag_of(row) not in tags:
        raise refused("stale", where="If-Match", found=if_match[:80], expected=etag_of(row))


def _apply(session: Session, row: R, values: dict[str, Any]) -> R:
    """Write values into a row, by a statement that only an unchanged row obeys."""
    model: Any = type(row)
    revision = row.revision
    statement = (
        model.__table__.update()
        .where(model.__table__.c.id == row.id, model.__table__.c.revision == revision)
        .values(**values, revision=revision + 1)
    )
    if cast(CursorResult[Any], session.execute(statement)).rowcount != 1:
        raise Problem("stale")
    session.refresh(row)
    return row


def _has_tables(session: Session, venue_id: UUID) -> bool:
    return session.exec(select(StayRow.id).where(StayRow.venue_id == venue_id).limit(1)).first() is not None


def _must_exist(*, time_zone: str | None, currency: str | None) -> None:
    """Refuse (``unknown_time_zone``, ``unknown_currency``) what there is no such of, both at once."""
    faults: list[Fault] = []
    for check, name in ((zone_named, time_zone), (exponent, currency)):
        try:
            if name is not None:
                check(name)
        except PricingError as error:
            faults.extend(error.faults)
    if faults:
        raise PricingError(*faults)


def _must_know_tax_area(session: Session, code: str | None) -> None:
    if code is not None and session.get(TaxAreaRow, code) is None:
        raise refused("invalid", where="tax_area", found=code, expected="the code of a tax area")


def _must_have_meters(table: PoolTableRow, meters: dict[str, int]) -> None:
    """Refuse a meter that the table does not have, or more than its digits can show."""
    known = {meter["name"]: meter["digits"] for meter in table.profile.get("meters", [])}
    for name, count in meters.items():
        if name not in known:
            expected = f"one of {', '.join(known)}" if known else "none: the table has no meters"
            raise refused("invalid", where=f"meters.{name}", found="no such meter", expected=expected)
        if count >= 10 ** known[name]:
            raise refused("invalid", where=f"meters.{name}", found=count, expected=f"at most {known[name]} digits")
