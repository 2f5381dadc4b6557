"""Venues.

- A venue's zone, day start and currency are fixed once it has a schedule (W6).
"""

from datetime import datetime, time
from uuid import UUID

from sqlmodel import Session, col, select

from ..pricing import DomainError, Fault
from ..pricing.money import exponent
from ..pricing.trading_day import Calendar, zone_named
from ..store.clock import new_id
from ..store.db import hold
from ..tax_areas.rows import TaxAreaRow
from ..web.errors import Problem, not_found, refused
from ..web.pagination import Page, page
from ..web.preconditions import apply_change, must_match
from ..web.schema_types import given
from .books_name import books_name
from .rows import VenueRow
from .schemas import VenueChangeIn, VenueIn

DAY_STARTS_AT = time(6)
_FIXED = ("time_zone", "currency", "day_starts_at")


def create_venue(session: Session, venue: VenueIn, *, now: datetime) -> VenueRow:
    """Store a new venue."""
    _must_exist(time_zone=venue.time_zone, currency=venue.currency)
    _must_know_tax_area(session, given(venue.tax_area, None))
    hold(session, "venues: names in the books")
    taken = set(session.exec(select(VenueRow.books_name)).all())
    row = VenueRow(
        id=new_id(),
        made_at=now,
        books_name=books_name(venue.name, taken=taken),
        **{"day_starts_at": DAY_STARTS_AT, **venue.model_dump()},
    )
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


def change_venue(session: Session, venue_id: UUID, change: VenueChangeIn, *, if_match: str | None) -> VenueRow:
    """Change a venue that is still as the caller last saw it."""
    row = lock_venue(session, venue_id)
    must_match(row, if_match)
    values = change.model_dump()
    fixed = [name for name in _FIXED if name in values and values[name] != getattr(row, name)]
    if fixed and row.has_schedule:
        faults = [Fault("fixed_by_schedule", name, _said(values[name]), _said(getattr(row, name))) for name in fixed]
        raise Problem("fixed_by_schedule", errors=faults)
    _must_exist(time_zone=values.get("time_zone"), currency=values.get("currency"))
    if "currency" in values and values["currency"] != row.currency and row.has_tables:
        raise refused(
            "conflict",
            where="currency",
            found=values["currency"],
            expected=f"{row.currency}: tables that stand or stood here sell in it",
        )
    _must_know_tax_area(session, values.get("tax_area"))
    return apply_change(session, row, values)


def _said(value: str | time) -> str:
    return value if isinstance(value, str) else f"{value:%H:%M}"


def lock_venue(session: Session, venue_id: UUID) -> VenueRow:
    """Return a venue as it is now, and let nobody else change it or what it fixes until this transaction ends."""
    hold(session, f"venue:{venue_id}")
    row = session.get(VenueRow, venue_id, populate_existing=True)
    if row is None:
        raise not_found("venue")
    return row


def calendar_of(venue: VenueRow) -> Calendar:
    """Return a venue's calendar: its zone and when its trading day starts."""
    return Calendar(zone_named(venue.time_zone), venue.day_starts_at)


def _must_exist(*, time_zone: str | None, currency: str | None) -> None:
    """Refuse (``unknown_time_zone``, ``unknown_currency``) what there is no such of, both at once."""
    faults: list[Fault] = []
    for check, name in ((zone_named, time_zone), (exponent, currency)):
        try:
            if name is not None:
                check(name)
        except DomainError as error:
            faults.extend(error.faults)
    if faults:
        raise DomainError(*faults)


def _must_know_tax_area(session: Session, code: str | None) -> None:
    if code is not None and session.get(TaxAreaRow, code) is None:
        raise refused("invalid", where="tax_area", found=code, expected="the code of a tax area")
