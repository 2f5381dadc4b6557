"""Levels, tolerances and limits as received; a table's health as sent."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..controllers.schemas import EffectOut
from ..controllers.settings_differences import Against
from ..pool_tables.equipment import MeterCounts
from ..pool_tables.schemas import CautionOut
from ..pricing.lines import Kind
from ..readings.meters import DeltaKind
from ..readings.schemas import Volts, VoltsOut
from ..schedules.schemas import TariffRefOut
from ..web.schema_types import Count, Date, Id, In, Instant, LocalInstant, MoneyOut, Out, TimeOfDay
from .battery_forecast import WhyNot
from .battery_verdict import BatteryVerdict, Because
from .clock_forecast import WhoChanges
from .clock_offset import CannotTell
from .clock_verdict import Cause, ClockVerdict
from .state_of_charge import Rest

DecimalOut = Annotated[str, Limits(pattern=r"^-?[0-9]+(\.[0-9]+)?$")]
"""A figure that is no money, as a decimal string."""
Range = Annotated[list[int], Limits(min_length=2, max_length=2)]
DecimalRange = Annotated[list[DecimalOut], Limits(min_length=2, max_length=2)]


class BatteryLevelsIn(In):
    """Two levels of a battery, as resting voltages of a 12 V battery at 80 °F; a 6 V battery has half of each."""

    plan_charge_volts: Annotated[
        Volts, Limits(description="Plan a charge at or below this resting voltage, in volts, such as `12.40`.")
    ]
    charge_now_volts: Annotated[
        Volts,
        Limits(description="Charge now at or below this resting voltage, in volts; below `plan_charge_volts`."),
    ]


class ChemistriesIn(In):
    """Levels by chemistry; an absent chemistry has its default levels."""

    flooded: Annotated[BatteryLevelsIn, Limits(description="Levels of flooded (wet) batteries.")] | MISSING = MISSING
    agm: Annotated[BatteryLevelsIn, Limits(description="Levels of AGM batteries.")] | MISSING = MISSING
    gel: Annotated[BatteryLevelsIn, Limits(description="Levels of gel batteries.")] | MISSING = MISSING
    unknown: (
        Annotated[BatteryLevelsIn, Limits(description="Levels of batteries without a stated chemistry.")] | MISSING
    ) = MISSING


class BatterySettingsIn(In):
    """How batteries are judged; an absent field has its default."""

    levels: Annotated[ChemistriesIn, Limits(description="Voltages at which to charge, by chemistry.")] | MISSING = (
        MISSING
    )
    rest_minutes: (
        Annotated[
            StrictInt,
            Limits(
                ge=0, le=10_080, description="Minutes of rest after use or charging before a voltage counts as rested."
            ),
        ]
        | MISSING
    ) = MISSING
    plan_within_days: (
        Annotated[
            StrictInt,
            Limits(
                ge=0, le=365, description="Plan a charge when the forecast reaches the level within this many days."
            ),
        ]
        | MISSING
    ) = MISSING
    soon_after_charge_days: (
        Annotated[
            StrictInt,
            Limits(ge=0, le=60, description="Suspect a battery that is low within this many days after a charge."),
        ]
        | MISSING
    ) = MISSING


class ClockSettingsIn(In):
    """How clocks are judged; an absent field has its default."""

    tolerance_s: (
        Annotated[
            StrictInt, Limits(ge=0, le=1799, description="Seconds by which a clock may be fast or slow without work.")
        ]
        | MISSING
    ) = MISSING


class CashSettingsIn(In):
    """When cash is due at the bank; an absent field has its default."""

    bank_within_days: (
        Annotated[
            StrictInt,
            Limits(
                ge=0,
                le=365,
                description="Days after a collection until a bag that is not banked becomes work; 7 by default.",
            ),
        ]
        | MISSING
    ) = MISSING


class FaultSettingsIn(In):
    """When a table fails too often; an absent field has its default."""

    again: (
        Annotated[StrictInt, Limits(ge=2, le=50, description="Faults reported of one table that make it work.")]
        | MISSING
    ) = MISSING
    within_days: (
        Annotated[StrictInt, Limits(ge=1, le=366, description="The days within which they were reported.")] | MISSING
    ) = MISSING


class SettingsIn(In):
    """All levels, tolerances and limits: an absent field goes back to its default."""

    battery: (
        Annotated[BatterySettingsIn, Limits(description="How batteries are judged; absent: all defaults.")] | MISSING
    ) = MISSING
    clock: Annotated[ClockSettingsIn, Limits(description="How clocks are judged; absent: all defaults.")] | MISSING = (
        MISSING
    )
    cash: (
        Annotated[CashSettingsIn, Limits(description="When cash is due at the bank; absent: the default.")] | MISSING
    ) = MISSING
    faults: (
        Annotated[FaultSettingsIn, Limits(description="When a table fails too often; absent: all defaults.")] | MISSING
    ) = MISSING


class BatteryLevelsOut(Out):
    """Resting voltages of a 12 V battery at 80 °F."""

    plan_charge_volts: VoltsOut
    charge_now_volts: VoltsOut


class ChemistriesOut(Out):
    """Levels by chemistry."""

    flooded: BatteryLevelsOut
    agm: BatteryLevelsOut
    gel: BatteryLevelsOut
    unknown: BatteryLevelsOut


class BatterySettingsOut(Out):
    """How batteries are judged."""

    levels: ChemistriesOut
    rest_minutes: int
    plan_within_days: int
    soon_after_charge_days: int


class ClockSettingsOut(Out):
    """How clocks are judged."""

    tolerance_s: int


class CashSettingsOut(Out):
    """When cash is due at the bank."""

    bank_within_days: int


class FaultSettingsOut(Out):
    """When a table fails too often."""

    again: int
    within_days: int


class SettingsOut(Out):
    """The levels, tolerances and limits in force."""

    battery: BatterySettingsOut
    clock: ClockSettingsOut
    cash: CashSettingsOut
    faults: FaultSettingsOut


class ForecastOut(Out):
    """The date on which the battery reaches the charge-now level by a robust line, with its band and its basis."""

    reaches_on: Date
    earliest_on: Date
    latest_on: Annotated[Date | None, Limits(description="Null: it may never get there.")]
    level_volts: VoltsOut
    mv_per_day: DecimalOut
    band_mv_per_day: DecimalRange
    readings: int
    rest: Rest
    temperature_corrected: bool


class NoForecastOut(Out):
    """Why there is no forecast."""

    code: WhyNot
    detail: str


class BatteryHealthOut(Out):
    """The newest voltage judged. An unknown chemistry has a range and no single figure."""

    read_at: Instant
    volts: VoltsOut
    state_percent: DecimalOut | None
    spread_percent: DecimalRange
    basis: Annotated[str | None, Limits(description="The table of voltages that the figure comes from.")]
    rest: Rest
    temperature_corrected: bool
    verdict: BatteryVerdict
    level: Literal["plan_charge", "charge_now"]
    level_volts: VoltsOut
    because: Because
    why: str
    caveats: list[str]
    forecast: ForecastOut | None
    why_no_forecast: NoForecastOut | None


class MomentOut(Out):
    """The offset of the clock at a coming instant."""

    what: Literal["price_change", "recurring_event"]
    name: str
    at: LocalInstant
    offset_s: Range
    verdict: ClockVerdict
    clock_change: WhoChanges


class WrongPriceOut(Out):
    """Minutes a week of one tariff sold in place of another; null is closed."""

    sells: TariffRefOut | None
    instead_of: TariffRefOut | None
    minutes: int


class MovedChangeOut(Out):
    """A change of price that the table makes at the wrong time."""

    due_at: LocalInstant
    made_at: LocalInstant
    before: TariffRefOut | None
    after: TariffRefOut | None


class ClockHealthOut(Out):
    """The newest clock reading judged. The offset is a range of seconds, positive where the table is ahead."""

    read_at: Instant
    offset_s: Range
    known_within_s: Annotated[
        int | None,
        Limits(description="The true offset may differ by multiples of this, in seconds; null: it is known exactly."),
    ]
    cannot_tell: list[CannotTell]
    verdict: ClockVerdict
    cause: Cause
    why: str
    change_at: Annotated[LocalInstant | None, Limits(description="The clock change that nobody made at the table.")]
    drift_s_per_day: DecimalOut | None
    drift_range_s_per_day: DecimalRange | None = Limits(
        description="The range that the minutes shown allow; a range across zero shows no drift yet."
    )
    drift_ppm: DecimalOut | None
    drift_readings: int | None
    coming: list[MomentOut]
    wrong_price: list[WrongPriceOut]
    wrong_changes: list[MovedChangeOut]


class MeterDeltaOut(Out):
    """A count to review: kept, and left out of the takings."""

    from_at: Instant | None
    to_at: Instant
    before: Count | None
    value: Count


class DisagreementOut(Out):
    """Another money meter that contradicts this one, with both figures."""

    meter: str
    amount: MoneyOut
    other_amount: MoneyOut
    apart: MoneyOut


class MeterHealthOut(Out):
    """A meter's newest value, its step since the reading before, and its count since ``since_at``."""

    name: str
    counts: MeterCounts
    read_at: Instant
    value: Count
    kind: DeltaKind
    delta: Annotated[Count | None, Limits(description="Null: unknown, review the meter.")]
    since_at: Instant
    counted: Count
    amount: Annotated[MoneyOut | None, Limits(description="The money counted since then; null for other meters.")]
    needs_review: list[MeterDeltaOut]
    disagreement: DisagreementOut | None


class ValueFoundOut(Out):
    """A value that differs."""

    name: str
    wanted: str
    found: str


class SettingsDifferenceOut(Out):
    """Settings found that differ from the keyed or from the listed prices."""

    read_at: Instant
    against: Against
    day: str
    from_: Annotated[TimeOfDay, Limits(alias="from")]
    to: TimeOfDay
    sells: Annotated[Kind | None, Limits(description="Null: the difference concerns the day, or free play.")]
    values: list[ValueFoundOut]
    effects: list[EffectOut]


class TableHealthOut(Out):
    """A table's health; where a part is null, the sentence beside it gives the reason."""

    table_id: Id
    currency: str
    battery: BatteryHealthOut | None
    why_no_battery: str | None
    clock: ClockHealthOut | None
    why_no_clock: str | None
    meters: list[MeterHealthOut]
    settings: list[SettingsDifferenceOut]
    cautions: list[CautionOut]
