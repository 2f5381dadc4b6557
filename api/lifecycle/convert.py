"""Writes how a table left the route."""

from ..pool_tables.rows import StayRow
from ..pricing import format_money
from .last_collection import Stayed
from .rows import RetirementRow
from .schemas import RetirementOut


def retirement_out(row: RetirementRow) -> RetirementOut:
    """Write how a table left the route."""
    return RetirementOut(
        table_id=row.pool_table_id,
        move_id=row.stay_id,
        how=row.how,
        at=row.retired_at,
        buyer=row.buyer,
        price=None if row.price_minor is None else format_money(row.price_minor, row.currency),
        currency=row.currency,
        entry_id=row.entry_id,
        recorded_at=row.recorded_at,
        by=row.recorded_by,
    )


def stayed(stay: StayRow) -> Stayed:
    """Return a stay as a value."""
    return Stayed(stay.from_at, stay.venue_id is not None, stay.box == "emptied")
