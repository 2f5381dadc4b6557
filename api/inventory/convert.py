"""Writes a table of the route, where it is and how it is."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from ..controllers.rows import KeyingRow
from ..pool_tables.rows import PoolTableRow, StayRow
from .schemas import ControllerReadOut, KeyedOut, OpenWorkOut, TablePlaceOut, TableStateOut


@dataclass(frozen=True, slots=True, kw_only=True)
class TableState:
    """What is known of a table: ``venue`` the name of where it is, ``version`` the controller's and when it was read."""

    table: PoolTableRow
    stay: StayRow
    venue: str | None
    read_at: datetime | None
    version: tuple[str, datetime] | None
    collected_at: datetime | None
    keyed: KeyingRow | None
    work: Mapping[str, int]
    open_jobs: int
    out_of_order: bool


def table_state_out(state: TableState) -> TableStateOut:
    """Write a table of the list."""
    table, stay, keyed = state.table, state.stay, state.keyed
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
        sells=keyed and KeyedOut(schedule_id=keyed.schedule_id, since=keyed.keyed_at, by=keyed.keyed_by),
        open_work=sum(state.work.values()),
        work=[OpenWorkOut(kind=kind, count=count) for kind, count in sorted(state.work.items())],
        open_jobs=state.open_jobs,
        out_of_order=state.out_of_order,
    )
