"""Between pool tables as stored and as sent."""

from typing import Any

from ..web.schema_types import VoidedOut
from .cautions import AT_THE_MAINS
from .rows import PoolTableRow, StayRow
from .schemas import (
    CashBoxOut,
    CautionOut,
    ControllerOut,
    LadderLimitsOut,
    LicenceOut,
    MeterOut,
    MoveOut,
    PlacedAtVoidOut,
    PowerOut,
    PurchaseOut,
    TableOut,
    TakeOverOut,
)


def cautions_at_controller(row: PoolTableRow) -> list[CautionOut]:
    """Write what to mind before opening a table's controller: mains, unless the table is stated to have a battery."""
    on_battery = (row.profile.get("power") or {}).get("kind") == "battery"
    return [] if on_battery else [CautionOut(code=caution.code, detail=caution.detail) for caution in AT_THE_MAINS]


def table_out(row: PoolTableRow) -> TableOut:
    """Write a table as its message: every part there, null where nothing was stated."""
    profile = row.profile
    purchase = {"gap_s": 120, "ends_on_start": False, **profile.get("purchase", {})}
    power, controller = profile.get("power"), profile.get("controller")
    box, licence = profile.get("cash_box"), profile.get("licence")
    return TableOut(
        id=row.id,
        venue_id=row.venue_id,
        label=row.label,
        frame_number=profile.get("frame_number"),
        accepts=profile["accepts"],
        purchase=PurchaseOut(**purchase),
        power=power and PowerOut(**{"chemistry": "unknown", "nominal_volts": 12, "capacity_ah": None, **power}),
        meters=[MeterOut(**{"unit_value": None, **meter}) for meter in profile.get("meters", [])],
        controller=None if controller is None else _controller_out(controller),
        cash_box=CashBoxOut(**{"coins_max": None, "notes_max": None, "value_max": None, **box}) if box else None,
        licence=licence and LicenceOut(**{"expires_on": None, **licence}),
    )


def _controller_out(controller: dict[str, Any]) -> ControllerOut:
    blank = dict.fromkeys(LadderLimitsOut.model_fields)
    values = {**dict.fromkeys(ControllerOut.model_fields), **controller}
    for kind in ("games", "minutes"):
        values[kind] = None if values[kind] is None else LadderLimitsOut(**{**blank, **values[kind]})
    values["take_over"] = [TakeOverOut(**item) for item in controller.get("take_over", [])]
    return ControllerOut(**values)


def move_out(row: StayRow) -> MoveOut:
    """Write a move as its message."""
    return MoveOut(
        id=row.id,
        table_id=row.pool_table_id,
        to=row.place,
        venue_id=row.venue_id,
        moved_at=row.from_at,
        meters=row.meters,
        box=row.box,
        void=row.voided_at and VoidedOut(reason=row.void_reason, voided_at=row.voided_at, voided_by=row.voided_by),
        placed_at_void=_placed_at_void(row),
    )


def _placed_at_void(row: StayRow) -> PlacedAtVoidOut | None:
    if row.void_placed_at is None or row.placed_at_voided_at is None:
        return None
    return PlacedAtVoidOut(
        placed_at=row.void_placed_at,
        reason=row.placed_at_void_reason,
        voided_at=row.placed_at_voided_at,
        voided_by=row.placed_at_voided_by,
    )
