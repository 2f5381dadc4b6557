"""HTTP for how tables and venues leave the route, and for what is taken back."""

from fastapi import APIRouter, Response

from ..pool_tables.convert import move_out
from ..pool_tables.schemas import MoveOut
from ..store.changes import note_tables, note_venues
from ..tax_areas.schemas import TaxAreaCode
from ..web.auth import OwnerDep
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Id, VoidIn
from . import service
from .convert import retirement_out
from .schemas import DepartureIn, DepartureOut, RetirementIn, RetirementOut

router = APIRouter(prefix="/v1", tags=["venues"], route_class=Route)


@router.post("/tables/{table_id}/retirement", status_code=201, responses=problems(409))
def retire_table(
    session: SessionDep, principal: OwnerDep, now: NowDep, table_id: Id, retirement: RetirementIn
) -> RetirementOut:
    """Let a table leave the route: retired, sold or lost. Its past stays on record.

    From then on it takes no move, reading, collection, keying or job. What it was sold for is posted. A box that may
    hold money is collected first.
    """
    row = service.retire_table(session, table_id, retirement, by=principal.name, now=now)
    note_tables(session, [table_id])
    return retirement_out(row)


@router.post("/moves/{move_id}/void", status_code=201, responses=problems(409))
def void_move(session: SessionDep, principal: OwnerDep, now: NowDep, move_id: Id, void: VoidIn) -> MoveOut:
    """Void the last move of a table: it stays on record, and the table is where it was before.

    Of the first place this voids ``placed_at``: the table has been there since before its first reading, and readings
    from before the wrong time count.
    A table that was retired, sold or lost comes back this way, and the entry of its sale is reversed.
    """
    row = service.void_move(session, move_id, reason=void.reason, by=principal.name, now=now)
    note_tables(session, [row.pool_table_id])
    return move_out(row)


@router.post("/venues/{venue_id}/departure", status_code=201, responses=problems(409))
def depart_venue(session: SessionDep, principal: OwnerDep, venue_id: Id, departure: DepartureIn) -> DepartureOut:
    """Let a venue leave the route after a trading date, once its tables have left; the answer has what each side owes.

    It is left out of the list of venues unless you ask for it, and stays in every report of the past.
    """
    return service.depart_venue(session, venue_id, on=departure.on)


@router.delete("/venues/{venue_id}/departure", status_code=204, response_class=Response, responses=problems(409))
def take_back_departure(session: SessionDep, principal: OwnerDep, venue_id: Id) -> None:
    """Take back the departure of a venue: it is on the route again, with its agreement and its prices."""
    service.take_back_departure(session, venue_id)
    note_venues(session, [venue_id])


@router.delete("/tables/{table_id}", status_code=204, response_class=Response, responses=problems(409))
def delete_table(session: SessionDep, principal: OwnerDep, now: NowDep, table_id: Id) -> None:
    """Delete a table that was made by mistake and never used; a refusal lists what hangs on it."""
    service.delete_table(session, table_id, now=now)


@router.delete("/tariffs/{tariff_id}", status_code=204, response_class=Response, responses=problems(409))
def delete_tariff(session: SessionDep, principal: OwnerDep, tariff_id: Id) -> None:
    """Delete a version of a tariff that was published by mistake and never used; a refusal lists what names it."""
    service.delete_tariff(session, tariff_id)


@router.delete("/tax-areas/{tax_area}", status_code=204, response_class=Response, responses=problems(409))
def delete_tax_area(session: SessionDep, principal: OwnerDep, tax_area: TaxAreaCode) -> None:
    """Delete a tax area that was made by mistake and never used; a refusal lists what names it."""
    service.delete_tax_area(session, tax_area)


@router.delete("/venues/{venue_id}", status_code=204, response_class=Response, responses=problems(409))
def delete_venue(session: SessionDep, principal: OwnerDep, venue_id: Id) -> None:
    """Delete a venue that was made by mistake and never used; a refusal lists what hangs on it."""
    service.delete_venue(session, venue_id)
