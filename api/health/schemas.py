"""The health of a table as sent."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..controllers.differences import Against
from ..controllers.schemas import EffectOut
from ..pool_tables.schemas import CautionOut
from ..pricing.lines import Kind
from ..readings.meters import Counts as Counted
from ..readings.meters import Kind as DeltaKind
from ..readings.schemas import Volts, VoltsOut
from ..schedules.schemas import TariffRefOut
from ..web.schema_types import Count, Date, Id, In, Instant, LocalInstant, MoneyOut, Out, TimeOfDay
from .battery_forecast import WhyNot
from .battery_verdict import Because, Verdict
from .clock_offset import CannotTell
from .clock_verdict import Cause
from .clock_verdict import Verdict as ClockVerdict
from .state_of_charge import Rest

DecimalOut = Annotated[str, Limits(pattern=r"^-?[0-9]+(\.[0-9]+)?$")]
"""A figure that is no money, as a decimal string."""
Range = Annotated[list[int], Limits(min_length=2, max_length=2)]
DecimalRange = Annotated[list[DecimalOut], Limits(min_length=2, max_length=2)]


class BatteryLevelsIn(In):
    """Resting voltages of a 12 V battery at 80 °F: at which a charge is planned, and at which it is due."""

    plan_charge_volts: Volts
    charge_now_volts: Volts


class ChemistriesIn(In):
    """Levels by chemistry; what is absent has the default."""

    flooded: BatteryLevelsIn | MISSING = MISSING
    agm: BatteryLevelsIn | MISSING = MISSING
    gel: BatteryLevelsIn | MISSING = MISSING
    unknown: BatteryLevelsIn | MISSING = MISSING


class BatterySettingsIn(In):
    """How batteries are judged; what is absent has the default."""

    levels: ChemistriesIn | MISSING = MISSING
    rest_minutes: Annotated[StrictInt, Limits(ge=0, le=10_080)] | MISSING = MISSING
    plan_within_days: Annotated[StrictInt, Limits(ge=0, le=365)] | MISSING = MISSING
    soon_after_charge_days: Annotated[StrictInt, Limits(ge=0, le=60)] | MISSING = MISSING


class ClockSettingsIn(In):
    """How clocks are judged; what is absent has the default."""

    tolerance_s: Annotated[StrictInt, Limits(ge=0, le=1799)] | MISSING = MISSING


class SettingsIn(In):
    """The operator's levels and tolerances, all of them: what is absent goes back to its default."""

    battery: BatterySettingsIn | MISSING = MISSING
    clock: ClockSettingsIn | MISSING = MISSING


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


class SettingsOut(Out):
    """The operator's levels and tolerances in force."""

    battery: BatterySettingsOut
    clock: ClockSettingsOut


class ForecastOut(Out):
    """When the battery reaches the service level by a robust line, with its band, and what it stands on."""

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
    """The newest voltage judged. Of an unknown chemistry there is a spread and no single figure."""

    read_at: Instant
    volts: VoltsOut
    state_percent: DecimalOut | None
    spread_percent: DecimalRange
    basis: Annotated[str | None, Limits(description="The table of voltages by which the figure was read.")]
    rest: Rest
    temperature_corrected: bool
    verdict: Verdict
    level: Literal["plan_charge", "charge_now"]
    level_volts: VoltsOut
    because: Because
    why: str
    caveats: list[str]
    forecast: ForecastOut | None
    why_no_forecast: NoForecastOut | None


class MomentOut(Out):
    """What the clock will be off by at a coming instant."""

    what: Literal["price_change", "recurring_event"]
    name: str
    at: LocalInstant
    offset_s: Range
    verdict: ClockVerdict
    clock_change: Literal["none", "by_itself", "by_hand", "not_known"]


class WrongPriceOut(Out):
    """How long a week which tariff is sold in place of which; null is closed."""

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
    modulo_s: Annotated[int | None, Limits(description="The offset is known only up to multiples of this.")]
    cannot_tell: list[CannotTell]
    verdict: ClockVerdict
    cause: Cause
    why: str
    change_at: Annotated[LocalInstant | None, Limits(description="The clock change that was not made.")]
    drift_s_per_day: DecimalOut | None
    drift_range_s_per_day: DecimalRange | None = Limits(
        description="What the minutes shown allow: where it reaches over zero, no drift is shown yet."
    )
    drift_ppm: DecimalOut | None
    drift_readings: int | None
    coming: list[MomentOut]
    wrong_price: list[WrongPriceOut]
    wrong_changes: list[MovedChangeOut]


class MeterDeltaOut(Out):
    """A count that nobody can explain: kept, and no takings made of it."""

    from_at: Instant | None
    to_at: Instant
    before: Count | None
    value: Count


class DisagreementOut(Out):
    """Another money meter that tells another story, with both figures."""

    meter: str
    amount: MoneyOut
    other_amount: MoneyOut
    apart: MoneyOut


class MeterHealthOut(Out):
    """A meter's newest count, what it added since the reading before, and what was counted since ``since_at``."""

    name: str
    counts: Counted
    read_at: Instant
    value: Count
    kind: DeltaKind
    delta: Annotated[Count | None, Limits(description="Null: nobody can say.")]
    since_at: Instant
    counted: Count
    amount: Annotated[MoneyOut | None, Limits(description="What was counted since then, of a money meter.")]
    needs_review: list[MeterDeltaOut]
    disagreement: DisagreementOut | None


class ValueFoundOut(Out):
    """A value that differs."""

    name: str
    wanted: str
    found: str


class SettingsDifferenceOut(Out):
    """Settings found that differ from what was keyed, or from what is listed."""

    read_at: Instant
    against: Against
    day: str
    from_: Annotated[TimeOfDay, Limits(alias="from")]
    to: TimeOfDay
    sells: Annotated[Kind | None, Limits(description="Null: the day or free play as such.")]
    values: list[ValueFoundOut]
    effects: list[EffectOut]


class TableHealthOut(Out):
    """A table's health; where a part is null, the sentence beside it says why."""

    table_id: Id
    currency: str
    battery: BatteryHealthOut | None
    why_no_battery: str | None
    clock: ClockHealthOut | None
    why_no_clock: str | None
    meters: list[MeterHealthOut]
    settings: list[SettingsDifferenceOut]
    cautions: list[CautionOut]
