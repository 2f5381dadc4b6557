"""Writes a table of the route, where it is and how it is."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from ..controllers.sells import Sells
from ..pool_tables.rows import PoolTableRow, StayRow
from .schemas import ControllerReadOut, OpenWorkOut, TablePlaceOut, TableSellsOut, TableStateOut


@dataclass(frozen=True, slots=True, kw_only=True)
class TableState:
    """What is known of a table: ``venue`` the name of where it is, ``version`` the controller's and when it was read."""

    table: PoolTableRow
    stay: StayRow
    venue: str | None
    read_at: datetime | None
    version: tuple[str, datetime] | None
    collected_at: datetime | None
    sells: Sells | None
    work: Mapping[str, int]
    open_jobs: int
    out_of_order: bool


def table_state_out(state: TableState) -> TableStateOut:
    """Write a table of the list."""
    table, stay = state.table, state.stay
    version, version_read_at = state.version or (None, None)
    return TableStateOut(
        id=table.id,
        label=table.label,
        frame_number=table.profile.get("frame_number"),
        place=TablePlaceOut(
            kind=stay.place,
            venue_id=stay.venue_id,
            venue=state.venue,
            since=stay.from_at,
        ),
        controller=ControllerReadOut(
            stated=table.profile.get("controller") is not None, version=version, read_at=version_read_at
        ),
        last_reading_at=state.read_at,
        last_collection_at=state.collected_at,
        sells=state.sells and _sells_out(state.sells),
        open_work=sum(state.work.values()),
        work=[OpenWorkOut(kind=kind, count=count) for kind, count in sorted(state.work.items())],
        open_jobs=state.open_jobs,
        out_of_order=state.out_of_order,
    )


def _sells_out(sells: Sells) -> TableSellsOut:
    return TableSellsOut(
        basis=sells.basis,
        since=sells.since,
        schedule_id=None if sells.keyed is None else UUID(sells.keyed.schedule.id),
        caution=sells.caution,
    )
