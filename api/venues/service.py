"""Venues.

- A venue's zone, day start and currency are fixed once it has a schedule (W6); its currency once it has a table, an
  agreement or an entry.
- Its tax area, legal name, payee and tax number are dated facts; what was recorded is never changed (D3, L6).
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..pricing import DomainError, Fault
from ..pricing.money import exponent
from ..pricing.trading_day import Calendar, zone_named
from ..store.clock import new_id
from ..store.db import lock
from ..store.long_lists import OfMany, among
from ..store.sequence import next_number
from ..tax_areas.convert import read_tax_area
from ..tax_areas.rows import TaxAreaRow
from ..tax_areas.tax_area import TaxArea
from ..web.errors import Problem, http_problem, not_found
from ..web.pagination import Page, page
from ..web.preconditions import apply_change, must_match_etag
from ..web.schema_types import value_or
from .books_name import books_name
from .convert import read_fact
from .dated_fact import FACT_NAMES, DatedFact, FactName, value_on
from .rows import VenueFactRow, VenueRow
from .schemas import VenueChangeIn, VenueIn

DAY_STARTS_AT = time(6)
_FIXED = ("time_zone", "currency", "day_starts_at")


def create_venue(session: Session, venue: VenueIn, *, now: datetime) -> VenueRow:
    """Store a new venue."""
    _must_exist(time_zone=venue.time_zone, currency=venue.currency)
    _must_know_tax_area(session, value_or(venue.tax_area, None))
    lock(session, "venues: names in the books")
    taken = set(session.exec(select(VenueRow.books_name)).all())
    values = venue.model_dump()
    _must_be_a_place(values.get("latitude"), values.get("longitude"))
    facts = _taken_out(values)
    recorded = next_number(session, "venues", now=now)
    row = VenueRow(
        id=new_id(),
        sequence=recorded.number,
        made_at=recorded.at,
        books_name=books_name(venue.name, taken=taken),
        **{"day_starts_at": DAY_STARTS_AT, **values},
    )
    session.add(row)
    session.flush()
    _record_facts(session, row.id, facts, known=[], from_on=None, now=now)
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


def names(session: Session) -> dict[str, str]:
    """Return every venue's name by its id."""
    return {str(venue_id): name for venue_id, name in session.exec(select(VenueRow.id, VenueRow.name))}


def venues_on_route(session: Session, venue_ids: Collection[UUID] | None, *, at_most: int) -> Sequence[VenueRow]:
    """Return these venues, or all that have not left the route, by name; refuse (``not_found``) an unknown id."""
    query = select(VenueRow).order_by(col(VenueRow.name), col(VenueRow.id)).limit(at_most)
    if venue_ids is None:
        return session.exec(query.where(col(VenueRow.departed_on).is_(None))).all()
    found = session.exec(query.where(among(col(VenueRow.id), venue_ids))).all()
    if len(found) < len(set(venue_ids)):
        raise not_found("venue")
    return found


def zones(session: Session) -> dict[UUID, ZoneInfo]:
    """Return every venue's time zone by its id."""
    return {id_: zone_named(name) for id_, name in session.exec(select(VenueRow.id, VenueRow.time_zone))}


_FACTS = select_columns(
    col(VenueFactRow.venue_id),
    col(VenueFactRow.name),
    col(VenueFactRow.from_on),
    col(VenueFactRow.sequence),
    col(VenueFactRow.value),
).order_by(col(VenueFactRow.venue_id), col(VenueFactRow.sequence))
_FACTS_OF = OfMany(col(VenueFactRow.venue_id), _FACTS.where)


def dated_facts_of(session: Session, venue_ids: Collection[UUID] | None = None) -> dict[UUID, list[DatedFact]]:
    """Return the dated facts of these venues, or of all, in the order of recording; of one without any, an empty list."""
    query, values = (_FACTS, {}) if venue_ids is None else _FACTS_OF(venue_ids)
    found: defaultdict[UUID, list[DatedFact]] = defaultdict(list)
    for row in session.connection().execute(query, values):
        found[row.venue_id].append(read_fact(row))
    return found


def tax_area_on(session: Session, venue_id: UUID, on: date) -> TaxArea | None:
    """Return the tax area that a venue belongs to on a trading date, or None (D3)."""
    code = value_on(dated_facts_of(session, [venue_id])[venue_id], "tax_area", on)
    row = None if code is None else session.get(TaxAreaRow, code)
    return None if row is None else read_tax_area(row.code, row.name, row.rates)


def page_venues(
    session: Session, *, departed: bool, limit: int, after: UUID | None, only_venues: Collection[UUID] | None = None
) -> Page[VenueRow]:
    """Return venues in the order in which they were made: those of the route, or those that have left it.

    ``only_venues``: only these.
    """
    left = col(VenueRow.departed_on)
    query = select(VenueRow).where(left.is_not(None) if departed else left.is_(None))
    if only_venues is not None:
        query = query.where(among(col(VenueRow.id), only_venues))
    return page(session, query, key=col(VenueRow.id), order=col(VenueRow.sequence), limit=limit, after=after)


def change_venue(
    session: Session, venue_id: UUID, change: VenueChangeIn, *, if_match: str | None, now: datetime
) -> VenueRow:
    """Change a venue that is still as the caller last saw it; its dated facts from a trading date on.

    Locks: the venue.
    """
    row = lock_venue(session, venue_id)
    must_match_etag(row, if_match)
    values = change.model_dump()
    from_on = values.pop("from_on", None)
    facts = _taken_out(values)
    if from_on is not None and not facts:
        expected = f"no date, or a change of {', '.join(FACT_NAMES)}"
        raise http_problem("invalid", where="from_on", found=from_on, expected=expected)
    fixed = [name for name in _FIXED if name in values and values[name] != getattr(row, name)]
    if fixed and row.has_schedule:
        faults = [Fault("fixed_by_schedule", name, _said(values[name]), _said(getattr(row, name))) for name in fixed]
        raise Problem("fixed_by_schedule", errors=faults)
    _must_exist(time_zone=values.get("time_zone"), currency=values.get("currency"))
    if "currency" in values and values["currency"] != row.currency and (row.has_tables or row.has_money):
        raise http_problem(
            "conflict",
            where="currency",
            found=values["currency"],
            expected=f"{row.currency}: its tables, agreements or entries are in it",
        )
    _must_know_tax_area(session, facts.get("tax_area"))
    _must_be_a_place(values.get("latitude", row.latitude), values.get("longitude", row.longitude))
    known = dated_facts_of(session, [venue_id])[venue_id]
    changed = apply_change(session, row, values)
    starts_on = from_on or calendar_of(changed).trading_day(now)
    _record_facts(session, venue_id, facts, known=known, from_on=starts_on, now=now)
    return changed


def _taken_out(values: dict[str, Any]) -> dict[FactName, str | None]:
    """Take the dated facts out of a message's values and return them."""
    return {name: values.pop(name) for name in FACT_NAMES if name in values}


def _record_facts(
    session: Session,
    venue_id: UUID,
    facts: Mapping[FactName, str | None],
    *,
    known: Sequence[DatedFact],
    from_on: date | None,
    now: datetime,
) -> None:
    """Store the facts that differ from those known on their date; their order is given under the venue's lock."""
    on = from_on or date.min
    new = [(name, value) for name, value in facts.items() if (value or None) != value_on(known, name, on)]
    first = max((fact.sequence for fact in known), default=0) + 1
    session.add_all(
        VenueFactRow(
            venue_id=venue_id, sequence=sequence, name=name, from_on=from_on, value=value or None, recorded_at=now
        )
        for sequence, (name, value) in enumerate(new, start=first)
    )
    session.flush()


def _said(value: str | time) -> str:
    return value if isinstance(value, str) else f"{value:%H:%M}"


def lock_venue(session: Session, venue_id: UUID) -> VenueRow:
    """Return a venue as it is now, and let nobody else change it or what it fixes until this transaction ends."""
    lock(session, f"venue:{venue_id}")
    row = session.get(VenueRow, venue_id, populate_existing=True)
    if row is None:
        raise not_found("venue")
    return row


def fix_currency(session: Session, venue_id: UUID) -> VenueRow:
    """Return a venue whose currency no longer changes, for an agreement or an entry is made in it. Locks: the venue."""
    row = get_venue(session, venue_id)
    if not row.has_money:
        row = lock_venue(session, venue_id)
        row.has_money = True
        session.flush()
    return row


def is_of_the_route(venue: VenueRow, on: date) -> bool:
    """Tell whether a venue is of the route on a trading date: its last is the date of its departure."""
    return venue.departed_on is None or on <= venue.departed_on


def must_be_of_the_route(venue: VenueRow, *, where: str, on: date | None = None) -> None:
    """Refuse (``venue_left``) a venue that has left the route, or that has left it by a trading date."""
    if venue.departed_on is not None and (on is None or not is_of_the_route(venue, on)):
        found = f"left after {venue.departed_on}"
        raise http_problem("venue_left", where=where, found=found, expected="a venue of the route")


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


def _must_be_a_place(latitude: float | None, longitude: float | None) -> None:
    """Refuse (``invalid``) one coordinate without the other."""
    if (latitude is None) != (longitude is None):
        where, there = ("latitude", "longitude") if latitude is None else ("longitude", "latitude")
        raise http_problem(
            "invalid", where=where, found="nothing", expected=f"a {where} beside the {there}, or neither"
        )


def _must_know_tax_area(session: Session, code: str | None) -> None:
    if code is None:
        return
    lock(session, f"tax area:{code}")
    if session.get(TaxAreaRow, code) is None:
        raise http_problem("invalid", where="tax_area", found=code, expected="the code of a tax area")
