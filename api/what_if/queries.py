"""Reads the two lists of prices, and the intake by denomination of a venue or a table."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from sqlmodel import Session, col, select

from ..earnings.queries import boxes_in
from ..pool_tables.rows import PoolTableRow
from ..pool_tables.service import currency_of, get_table
from ..pricing import parse_money
from ..schedules.queries import compile_schedule
from ..schedules.rows import ScheduleRow
from ..venues.service import get_venue
from ..web.errors import not_found
from .paired_windows import PricedSide


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What was put in: pieces by denomination, the games that the meters counted, and the collections that say so."""

    counts: Counter[int]
    games: int
    collection_ids: frozenset[str]


@dataclass(frozen=True, slots=True)
class Scope:
    """A venue or a table: its currency, and the coins and notes that its tables take (minor units)."""

    currency: str
    accepts: tuple[int, ...]
    venue_id: UUID | None = None
    table_id: UUID | None = None


def scope_of_venue(session: Session, venue_id: UUID) -> Scope:
    """Return a venue; ``not_found`` where there is none."""
    venue = get_venue(session, venue_id)
    tables = session.exec(select(PoolTableRow).where(col(PoolTableRow.venue_id) == venue_id)).all()
    return Scope(venue.currency, _accepts(tables, venue.currency), venue_id=venue_id)


def scope_of_table(session: Session, table_id: UUID) -> Scope:
    """Return a table; ``not_found`` where there is none."""
    table = get_table(session, table_id)
    currency = currency_of(session, table)
    return Scope(currency, _accepts([table], currency), table_id=table_id)


def _accepts(tables: Sequence[PoolTableRow], currency: str) -> tuple[int, ...]:
    values = {parse_money(text, currency) for table in tables for text in table.profile["accepts"]}
    return tuple(sorted(values))


def side_of_schedule(session: Session, schedule_id: UUID) -> tuple[PricedSide, str]:
    """Return a published schedule as a side, and its currency; ``not_found`` where there is none."""
    row = session.get(ScheduleRow, schedule_id)
    if row is None or row.follow_venue:
        raise not_found("schedule")
    venue = get_venue(session, row.venue_id)
    name = f"{venue.name} from {row.effective_on}"
    return PricedSide(name=name, schedule=compile_schedule(session, row, venue)), venue.currency


def taken_in(session: Session, scope: Scope, *, from_on: date, until_on: date) -> TakenIn:
    """Return what was in the boxes that were emptied in a period."""
    counts: Counter[int] = Counter()
    games, ids = 0, set()
    for box in boxes_in(session, from_on=from_on, until_on=until_on, venue_id=scope.venue_id):
        mine = box.currency == scope.currency and (scope.table_id is None or box.table_id == str(scope.table_id))
        if mine and from_on <= box.emptied_on < until_on:
            for value, amount in box.denominations.items():
                counts[value] += amount // value
            games += box.games
            ids.add(box.collection_id)
    return TakenIn(counts, games, frozenset(ids))
