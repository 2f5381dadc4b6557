"""How tables and venues leave the route in the database, and how a move or what was never used is taken back.

- Who ends or takes back something of a table holds the table, then the venue, then the books; a table leaves the route
  while nobody records a reading, a keying, a collection or a job of it.
- A table that leaves moves a last time: to ``retired``, ``sold`` or ``lost``. Void that move, and it is back.
- A void move stays on record and no longer counts; only the last move of a table can be voided. Of the first place only
  its time, ``placed_at``, can be voided, at any time.
- Only what nothing refers to is deleted.
"""

from datetime import date, datetime, timedelta
from uuid import UUID

from sqlalchemy import delete
from sqlmodel import Session, SQLModel, col, select

from ..ledger.entry_kinds import owner_postings
from ..ledger.service import balance, keep_digest, loan_balance, post_entry, reverse_entry
from ..pool_tables.future_instants import must_have_come
from ..pool_tables.rows import PoolTableRow, StayRow
from ..pool_tables.service import get_table, last_stay_at_a_venue, must_be_on_the_route, stays_of
from ..pricing import Fault, format_money, parse_money
from ..settlements.rows import SettlementRow
from ..store.changes import TouchedRow
from ..store.clock import new_id
from ..store.db import lock
from ..store.feeds import note_changes
from ..store.sequence import next_number
from ..tariffs.rows import TariffRow
from ..tax_areas.rows import TaxAreaRow
from ..venues.rows import VenueFactRow, VenueRow
from ..venues.service import calendar_of, lock_venue, must_be_of_the_route
from ..web.errors import Problem, http_problem, not_found
from ..web.schema_types import value_or
from ..worklist.rows import WorkRow
from .convert import stayed
from .last_collection import may_hold_money
from .queries import last_collected_at, schedules_that_name, what_hangs_on
from .rows import RetirementRow
from .schemas import DepartureOut, RetirementIn

_JUST_BEFORE = timedelta(microseconds=1)


def retire_table(session: Session, table_id: UUID, message: RetirementIn, *, by: str, now: datetime) -> RetirementRow:
    """Let a table leave the route; post what it was sold for.

    Refuses a table that has left (``table_gone``), a time before its last move (``out_of_order``) or that has not come,
    a buyer or a price of a table that was not sold, and a box that may hold money (``last_collection_needed``).
    """
    lock(session, f"table:{table_id}")
    lock(session, "readings")
    table = get_table(session, table_id)
    stays = stays_of(session, table_id)
    here, venue = stays[-1], last_stay_at_a_venue(session, table)[1]
    must_be_on_the_route(here, where="table_id")
    must_have_come(message.at, now=now, where="at")
    if message.at < here.from_at:
        expected = f"{here.from_at.isoformat()} or later"
        raise http_problem("out_of_order", where="at", found=message.at.isoformat(), expected=expected)
    price_minor = _price(message, venue.currency)
    collected_at = last_collected_at(session, table_id, at=message.at)
    asked = message.how != "lost" and value_or(message.box, None) is None
    if asked and may_hold_money([stayed(stay) for stay in stays], collected_at=collected_at, at=message.at):
        found = "no collection" if collected_at is None else f"the last one at {collected_at.isoformat()}"
        expected = "its last collection, or box: empty where you looked"
        raise http_problem("last_collection_needed", where="table_id", found=found, expected=expected)
    stay = _move(session, table, here, to=message.how, at=message.at, now=now)
    recorded_at = next_number(session, "retirements", now=now).at
    row = RetirementRow(
        stay_id=stay.id,
        pool_table_id=table_id,
        how=message.how,
        retired_at=message.at,
        buyer=value_or(message.buyer, ""),
        price_minor=price_minor,
        currency=venue.currency,
        entry_id=_post_sale(session, table, venue, stay, price_minor, buyer=value_or(message.buyer, ""), now=now),
        recorded_at=recorded_at,
        recorded_by=by,
    )
    session.add(row)
    session.flush()
    keep_digest(session, "retirement", row.stay_id, {"retirement": [row]}, now=now)
    return row


def void_move(session: Session, stay_id: UUID, *, reason: str, by: str, now: datetime) -> StayRow:
    """Note that a move did not happen: the table is where it was before; take back the entry of its sale.

    Of the first place only the time can be wrong: ``placed_at`` is voided, and the table has been there since before its
    first reading. Refuses (``already_void``) what is void, (``not_the_last_move``) a move that another followed, and
    (``conflict``) a first place of which no time was stated.
    """
    stay = session.get(StayRow, stay_id)
    if stay is None:
        raise not_found("move")
    lock(session, f"table:{stay.pool_table_id}")
    session.refresh(stay)
    if stay.voided_at is not None:
        raise http_problem(
            "already_void", where="move_id", found=stay.voided_at.isoformat(), expected="a move that counts"
        )
    stays = stays_of(session, stay.pool_table_id)
    if stay.id == stays[0].id:
        _void_placed_at(session, stay, reason=reason, by=by, now=now)
        return stay
    if stay.to_at is not None:
        expected = f"the last move, {stays[-1].id}: void the later ones first"
        raise http_problem("not_the_last_move", where="move_id", found=stay_id, expected=expected)
    before = stays[-2]
    if before.venue_id is not None:
        must_be_of_the_route(lock_venue(session, before.venue_id), where="move_id")
    voided_at = next_number(session, "voids", now=now).at
    stay.to_at, stay.voided_at, stay.voided_by, stay.void_reason = stay.from_at, voided_at, by, reason
    session.flush()
    before.to_at = None
    table = get_table(session, stay.pool_table_id)
    table.venue_id = before.venue_id
    table.revision += 1
    session.flush()
    retirement = session.get(RetirementRow, stay_id)
    if retirement is not None and retirement.entry_id is not None:
        on = calendar_of(last_stay_at_a_venue(session, table)[1]).trading_day(now)
        reverse_entry(session, retirement.entry_id, on=on, reference=reason, now=now)
    return stay


def _void_placed_at(session: Session, stay: StayRow, *, reason: str, by: str, now: datetime) -> None:
    """Let a first stay begin when the table was made, or just before the table left, and keep what was stated."""
    if stay.placed_at_voided_at is not None:
        found = stay.placed_at_voided_at.isoformat()
        raise http_problem("already_void", where="move_id", found=found, expected="a placed_at that counts")
    table = get_table(session, stay.pool_table_id)
    if stay.from_at == table.made_at:
        expected = "a table with placed_at; delete the table if it was never used"
        raise http_problem("conflict", where="move_id", found="a first place without a time", expected=expected)
    stay.void_placed_at, stay.placed_at_voided_at = stay.from_at, next_number(session, "voids", now=now).at
    stay.placed_at_voided_by, stay.placed_at_void_reason = by, reason
    stay.from_at = table.made_at if stay.to_at is None else min(table.made_at, stay.to_at - _JUST_BEFORE)
    table.revision += 1
    session.flush()


def depart_venue(session: Session, venue_id: UUID, *, on: date) -> DepartureOut:
    """Let a venue leave the route after a trading date; return what is owed either way.

    Refuses a venue at which there are still tables (``tables_still_there``), or that has left (``venue_left``).
    """
    venue = lock_venue(session, venue_id)
    must_be_of_the_route(venue, where="venue_id")
    query = select(PoolTableRow).where(PoolTableRow.venue_id == venue_id).order_by(col(PoolTableRow.id))
    if still_there := session.exec(query).all():
        errors = [
            Fault("tables_still_there", "venue_id", f"{table.label} ({table.id})", "moved away")
            for table in still_there
        ]
        raise Problem("tables_still_there", errors=errors)
    ends_at = calendar_of(venue).day_starts(date.fromordinal(on.toordinal() + 1))
    last = session.exec(
        select(StayRow.to_at)
        .where(StayRow.venue_id == venue_id, col(StayRow.voided_at).is_(None))
        .order_by(col(StayRow.to_at).desc())
    ).first()
    if last is not None and last > ends_at:
        raise http_problem(
            "out_of_order",
            where="on",
            found=on,
            expected=f"the date on which its last table left, {last.isoformat()}, or later",
        )
    venue.departed_on = on
    venue.revision += 1
    session.flush()
    return departure_out(session, venue)


def take_back_departure(session: Session, venue_id: UUID) -> None:
    """Take a venue back onto the route; refuse (``conflict``) one that has not left."""
    venue = lock_venue(session, venue_id)
    if venue.departed_on is None:
        expected = "a venue that has left the route"
        raise http_problem("conflict", where="venue_id", found="a venue of the route", expected=expected)
    venue.departed_on = None
    venue.revision += 1
    session.flush()


def departure_out(session: Session, venue: VenueRow) -> DepartureOut:
    """Return what is owed either way to and by a venue that has left."""
    if venue.departed_on is None:
        raise RuntimeError("expected a venue that has left")
    owed = -balance(session, account="owed_to_venues", venue_id=venue.id, currency=venue.currency)
    loan = loan_balance(session, venue_id=venue.id, currency=venue.currency)
    return DepartureOut(
        venue_id=venue.id,
        on=venue.departed_on,
        currency=venue.currency,
        owed_to_venue=format_money(owed, venue.currency),
        venue_loan=format_money(loan, venue.currency),
    )


def delete_table(session: Session, table_id: UUID, *, now: datetime) -> None:
    """Delete a table that was made by mistake; refuse (``still_used``) one that anything refers to."""
    lock(session, f"table:{table_id}")
    table = get_table(session, table_id)
    stays = session.exec(select(StayRow).where(StayRow.pool_table_id == table_id)).all()
    hanging = what_hangs_on(session, "pool_table", table_id)
    for stay in stays:
        for name, count in what_hangs_on(session, "stay", stay.id).items():
            hanging[name] = max(hanging.get(name, 0), count)
    if len(stays) > 1:
        hanging["moves"] = len(stays) - 1
    _must_hang_nothing(hanging, where="table_id")
    venue_ids = {stay.venue_id for stay in stays if stay.venue_id is not None}
    work_ids = session.exec(select(WorkRow.id).where(WorkRow.pool_table_id == table_id)).all()
    for row in (WorkRow, TouchedRow, StayRow):
        session.execute(delete(row).where(SQLModel.metadata.tables[row.__tablename__].c.pool_table_id == table_id))
    session.delete(table)
    session.flush()
    for venue_id in venue_ids:
        others = session.exec(select(StayRow.id).where(StayRow.venue_id == venue_id).limit(1)).first()
        lock_venue(session, venue_id).has_tables = others is not None
    session.flush()
    note_changes(session, "work", work_ids, now=now)


def delete_venue(session: Session, venue_id: UUID) -> None:
    """Delete a venue that was made by mistake; refuse (``still_used``) one that anything refers to."""
    venue = lock_venue(session, venue_id)
    hanging = what_hangs_on(session, "venue", venue_id)
    stays = session.exec(select(StayRow.pool_table_id).where(StayRow.venue_id == venue_id).distinct()).all()
    if stays:
        hanging["tables"] = len(stays)
    _must_hang_nothing(hanging, where="venue_id")
    for row in (TouchedRow, VenueFactRow):
        session.execute(delete(row).where(SQLModel.metadata.tables[row.__tablename__].c.venue_id == venue_id))
    session.delete(venue)
    session.flush()


def delete_tariff(session: Session, tariff_id: UUID) -> None:
    """Delete a version of a tariff; refuse (``still_used``) one that a schedule names.

    Locks: the tariff's row, which whoever publishes a schedule by it shares.
    """
    tariff = session.exec(select(TariffRow).where(TariffRow.id == tariff_id).with_for_update()).first()
    if tariff is None:
        raise not_found("tariff")
    hanging = what_hangs_on(session, "tariff", tariff_id)
    if named := schedules_that_name(session, tariff_id):
        hanging["schedules"] = named
    _must_hang_nothing(hanging, where="tariff_id")
    session.delete(tariff)
    session.flush()


def delete_tax_area(session: Session, code: str) -> None:
    """Delete a tax area that was made by mistake; refuse (``still_used``) one that a venue has or had. Locks: the area."""
    lock(session, f"tax area:{code}")
    area = session.get(TaxAreaRow, code)
    if area is None:
        raise not_found("tax area")
    named = VenueFactRow.name == "tax_area", VenueFactRow.value == code
    venues = session.exec(select(VenueFactRow.venue_id).where(*named).distinct()).all()
    settled = session.exec(select(SettlementRow.collection_id).where(SettlementRow.tax_area == code)).all()
    counts = {"venues": len(venues), "settlements": len(settled)}
    _must_hang_nothing({name: count for name, count in counts.items() if count}, where="tax_area")
    session.delete(area)
    session.flush()


def _must_hang_nothing(hanging: dict[str, int], *, where: str) -> None:
    if hanging:
        errors = [
            Fault("still_used", where, f"{name}: {count}", "nothing that refers to it")
            for name, count in sorted(hanging.items())
        ]
        raise Problem("still_used", errors=errors)


def _price(message: RetirementIn, currency: str) -> int | None:
    """Return the price in minor units; refuse (``invalid``) a price or a buyer of a table that was not sold."""
    price, buyer = value_or(message.price, None), value_or(message.buyer, None)
    if message.how != "sold":
        for name, value in (("price", price), ("buyer", buyer)):
            if value is not None:
                raise http_problem(
                    "invalid", where=name, found=value, expected=f"nothing of a table that was {message.how}"
                )
    return None if price is None else parse_money(price, currency, where="price")


def _move(session: Session, table: PoolTableRow, here: StayRow, *, to: str, at: datetime, now: datetime) -> StayRow:
    here.to_at = at
    session.flush()
    stay = StayRow(
        id=new_id(),
        sequence=next_number(session, "stays", now=now).number,
        pool_table_id=table.id,
        venue_id=None,
        place=to,
        from_at=at,
        meters={},
    )
    session.add(stay)
    table.venue_id = None
    table.revision += 1
    session.flush()
    return stay


def _post_sale(
    session: Session,
    table: PoolTableRow,
    venue: VenueRow,
    stay: StayRow,
    price_minor: int | None,
    *,
    buyer: str,
    now: datetime,
) -> UUID | None:
    """Post the price of a table that was sold; return the entry, None where there was no price."""
    if not price_minor:
        return None
    return post_entry(
        session,
        kind="table_sale",
        on=calendar_of(venue).trading_day(stay.from_at),
        currency=venue.currency,
        postings=owner_postings(kind="table_sale", amount_minor=price_minor),
        reference=f"{table.label} sold to {buyer}" if buyer else f"{table.label} sold",
        source_id=stay.id,
        now=now,
        table_id=table.id,
    )
