"""Pool tables and their moves as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, BeforeValidator, StrictInt, WithJsonSchema
from pydantic import Field as Limits

from ..pricing.ladder import Counting
from ..pricing.week import Weekday
from ..web.schema_types import (
    METER_NAME_PATTERN,
    Count,
    Date,
    Id,
    In,
    Instant,
    Money,
    MoneyOut,
    Name,
    Out,
    PageOf,
    TimeOfDay,
    VoidedOut,
    Yes,
    not_a_number,
)
from .controller import ControllerClock
from .equipment import Chemistry, MeterCounts, MeterResets
from .place import OwnPlace, Place


class CautionOut(Out):
    """One thing to mind while doing the work."""

    code: str
    detail: str


PowerKind = Literal["battery", "mains"]
BoxOnMove = Literal["emptied", "travels"]
MeterName = Annotated[str, Limits(pattern=METER_NAME_PATTERN, description="A short name, such as cash.")]
NominalVolts = Annotated[
    Literal[6, 12], WithJsonSchema({"type": "integer", "minimum": 6, "maximum": 12, "multipleOf": 6})
]
"""As an enum its values would have no names in a generated client."""
Amount = Annotated[str, Limits(pattern=r"^[0-9]{1,6}(\.[0-9]{1,3})?$"), BeforeValidator(not_a_number)]


class PurchaseIn(In):
    """When the table ends a purchase: after some seconds without money, or when a game starts."""

    gap_s: Annotated[StrictInt, Limits(ge=1, le=86_400)] = 120
    ends_on_start: Yes = False


class PowerIn(In):
    """What feeds the table's electronics."""

    kind: PowerKind
    chemistry: Chemistry | MISSING = MISSING
    nominal_volts: NominalVolts | MISSING = MISSING
    capacity_ah: Amount | MISSING = MISSING


class MeterIn(In):
    """A meter of the table: what it counts, what one count is worth, how many digits it has, when it is reset."""

    name: MeterName
    counts: MeterCounts
    unit_value: Money | MISSING = MISSING
    digits: Annotated[StrictInt, Limits(ge=1, le=18)]
    resets: MeterResets


class GamesLimitsIn(In):
    """What the controller can hold of a games ladder."""

    prices_max: Annotated[StrictInt, Limits(ge=0, le=50, description="0: it does not sell them.")] | MISSING = MISSING
    price_step: Money | MISSING = MISSING


class MinutesLimitsIn(In):
    """What the controller can hold of a minutes ladder."""

    prices_max: Annotated[StrictInt, Limits(ge=0, le=50, description="0: it does not sell them.")] | MISSING = MISSING
    price_step: Money | MISSING = MISSING
    units_step: Annotated[StrictInt, Limits(ge=1, le=1440)] | MISSING = MISSING
    units_min: Annotated[StrictInt, Limits(ge=1, le=100_000)] | MISSING = MISSING
    units_max: Annotated[StrictInt, Limits(ge=1, le=100_000)] | MISSING = MISSING


class TakeOverIn(In):
    """A day whose settings the controller lets other days take over."""

    from_: Annotated[Weekday, Limits(alias="from")]
    to: Annotated[list[Weekday], Limits(min_length=1, max_length=6)]


class ControllerIn(In):
    """What the operator states of the table's controller; an absent field sets no limit unless its description says otherwise."""

    games: GamesLimitsIn | MISSING = MISSING
    minutes: MinutesLimitsIn | MISSING = MISSING
    kinds_at_once: Yes | MISSING = MISSING
    free: (
        Annotated[Yes, Limits(description="It has a setting for free play; absent: it has no such setting.")] | MISSING
    ) = MISSING
    windows_per_day: Annotated[StrictInt, Limits(ge=1, le=48)] | MISSING = MISSING
    counting: (
        Annotated[Counting, Limits(description="How it counts the money of a purchase. Absent: it can be keyed.")]
        | MISSING
    ) = MISSING
    day_turns_at: Annotated[TimeOfDay | MISSING, Limits(description="When its day ends; absent: midnight.")] = MISSING
    take_over: (
        Annotated[
            list[TakeOverIn], Limits(max_length=49, description="Absent: no day can take over another's settings.")
        ]
        | MISSING
    ) = MISSING
    clock: Annotated[ControllerClock, Limits(description="weekday: it knows no dates; absent: weekday.")] | MISSING = (
        MISSING
    )
    changes_for_summer_time: (
        Annotated[Yes, Limits(description="Its clock changes by itself; absent: somebody sets it.")] | MISSING
    ) = MISSING


class CashBoxIn(In):
    """What the cash box holds at most."""

    coins_max: Annotated[StrictInt, Limits(ge=1, le=1_000_000)] | MISSING = MISSING
    notes_max: Annotated[StrictInt, Limits(ge=1, le=1_000_000)] | MISSING = MISSING
    value_max: Money | MISSING = MISSING


class LicenceIn(In):
    """The licence or permit that the table carries."""

    number: Name
    expires_on: Date | MISSING = MISSING


Accepts = Annotated[list[Money], Limits(min_length=1, max_length=40, description="Coins and notes it takes.")]


Meters = Annotated[list[MeterIn], Limits(max_length=20)]


FrameNumber = Annotated[Name, Limits(description="The number on its frame.")]


class TableIn(In):
    """A pool table to make, at its first venue."""

    label: Name
    frame_number: FrameNumber | MISSING = MISSING
    accepts: Accepts
    placed_at: Annotated[
        Instant | MISSING, Limits(description="Since when it has been there; absent: since before its first reading.")
    ] = MISSING
    purchase: PurchaseIn | MISSING = MISSING
    power: PowerIn | MISSING = MISSING
    meters: Meters | MISSING = MISSING
    controller: ControllerIn | MISSING = MISSING
    cash_box: CashBoxIn | MISSING = MISSING
    licence: LicenceIn | MISSING = MISSING


class TableChangeIn(In):
    """What to change of a table: absent fields stay, null removes a part."""

    label: Name | MISSING = MISSING
    frame_number: FrameNumber | None | MISSING = MISSING
    accepts: Accepts | MISSING = MISSING
    purchase: PurchaseIn | MISSING = MISSING
    power: PowerIn | None | MISSING = MISSING
    meters: Meters | MISSING = MISSING
    controller: ControllerIn | None | MISSING = MISSING
    cash_box: CashBoxIn | None | MISSING = MISSING
    licence: LicenceIn | None | MISSING = MISSING


class PurchaseOut(Out):
    """When the table ends a purchase."""

    gap_s: int
    ends_on_start: bool


class PowerOut(Out):
    """What feeds the table's electronics."""

    kind: PowerKind
    chemistry: Chemistry
    nominal_volts: int
    capacity_ah: str | None


class MeterOut(Out):
    """A meter of the table."""

    name: str
    counts: MeterCounts
    unit_value: MoneyOut | None
    digits: int
    resets: MeterResets


class LadderLimitsOut(Out):
    """What the controller can hold of one kind's ladder; null is no limit stated."""

    prices_max: int | None
    price_step: MoneyOut | None
    units_step: int | None
    units_min: int | None
    units_max: int | None


class TakeOverOut(Out):
    """A day whose settings other days can take over."""

    from_: Annotated[Weekday, Limits(alias="from")]
    to: list[Weekday]


class ControllerOut(Out):
    """What the operator states of the table's controller; null is no limit stated."""

    games: LadderLimitsOut | None
    minutes: LadderLimitsOut | None
    kinds_at_once: bool | None
    free: bool | None
    windows_per_day: int | None
    counting: Counting | None
    day_turns_at: TimeOfDay | None
    take_over: list[TakeOverOut]
    clock: ControllerClock | None
    changes_for_summer_time: bool | None


class CashBoxOut(Out):
    """What the cash box holds at most."""

    coins_max: int | None
    notes_max: int | None
    value_max: MoneyOut | None


class LicenceOut(Out):
    """The licence that the table carries."""

    number: str
    expires_on: Date | None


class TableOut(Out):
    """A pool table, and its venue (null: in the workshop)."""

    id: Id
    venue_id: Id | None
    label: str
    frame_number: str | None
    accepts: list[MoneyOut]
    purchase: PurchaseOut
    power: PowerOut | None
    meters: list[MeterOut]
    controller: ControllerOut | None
    cash_box: CashBoxOut | None
    licence: LicenceOut | None


class MoveIn(In):
    """A move of a table to another venue, or (null) to the workshop or to storage, with its meters as it left."""

    venue_id: Id | None
    to: (
        Annotated[OwnPlace, Limits(description="Where it goes if not to a venue; absent: to the workshop.")] | MISSING
    ) = MISSING
    moved_at: Instant
    meters: Annotated[dict[MeterName, Count], Limits(max_length=20)] | MISSING = MISSING
    box: BoxOnMove = "emptied"


class PlacedAtVoidOut(VoidedOut):
    """The time that a table was stated to have come at, why it was voided and when, and by whom."""

    placed_at: Instant


class MoveOut(Out):
    """A move as recorded."""

    id: Id
    table_id: Id
    to: Place
    venue_id: Id | None
    moved_at: Instant
    meters: dict[str, int]
    box: BoxOnMove
    void: VoidedOut | None
    placed_at_void: Annotated[
        PlacedAtVoidOut | None,
        Limits(description="Of the first place, if its time was voided: it was there since before its first reading."),
    ]


class MovePage(PageOf[MoveOut]):
    """A page of moves."""


class TablePage(PageOf[TableOut]):
    """A page of tables."""
