"""The verdict on a table's battery, by its voltage readings.

- B5 Verdicts are ``good``, ``plan_charge``, ``charge_now`` and ``replace_suspected``, each with the level that decided
  it. A voltage at a level has reached it. Levels are settings with defaults by chemistry.
- B5 ``plan_charge`` also comes from the forecast: the service level will be reached within so many days.
- B5 ``replace_suspected`` needs a battery that was charged and did not hold its charge, in one of two ways:
  ``low_soon_after_charge``: of the readings at rest within three days after the last charge, the best one is already at
  the level at which a charge is planned; ``empties_faster``: after the last charge it was at the service level in at
  most half the time that it surely held after every earlier charge. Both are reasons to charge fully once more and
  read again, not proof.
- R5 A charge or a new battery starts a new series; a reading that reports the work is the first of it.
- Readings from before the battery was replaced do not count.
- B2 Where the temperature moved the voltage, the sentence gives both: what was read, and what it is at 80 °F.
- R4 A voltage at which no battery of this size rests is judged like any other, with the remark that it is odd.

A table on mains has no battery: see ``ON_MAINS``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from fractions import Fraction
from typing import Literal

from ..pool_tables.cautions import AT_A_BATTERY, Caution
from ..pool_tables.equipment import Chemistry
from ..pricing.errors import domain_error
from ..pricing.money import round_half_up
from ..readings.units import is_odd, write_volts
from ..venues.dates_in_words import date_in_words
from .battery_forecast import DAY_S, Forecast, ForecastSettings, MarkedReading, NoForecast, forecast
from .state_of_charge import (
    Battery,
    Rest,
    StateOfCharge,
    SupplyReading,
    at_temperature,
    rest_of,
    state_of_charge,
)

BatteryVerdict = Literal["good", "plan_charge", "charge_now", "replace_suspected"]

Level = Literal["plan_charge_mv", "charge_now_mv"]
Because = Literal["voltage", "forecast", "low_soon_after_charge", "empties_faster"]
ON_MAINS = "The table runs on mains and has no battery."


@dataclass(frozen=True, slots=True)
class BatteryLevels:
    """Resting voltages of a 12 V battery at 80 °F, in millivolts: at or under ``plan_charge_mv`` a charge is planned; at
    or under ``charge_now_mv``, the service level, it is due. Scaled for a 6 V battery."""

    plan_charge_mv: int
    charge_now_mv: int

    def __post_init__(self) -> None:
        if not 0 < self.charge_now_mv < self.plan_charge_mv:
            raise domain_error(
                "bad_levels",
                where="charge_now_mv",
                found=f"{self.charge_now_mv} with plan_charge_mv {self.plan_charge_mv}",
                expected="above 0 and below plan_charge_mv",
            )


DEFAULT_LEVELS: dict[Chemistry, BatteryLevels] = {
    # Recharge when resting at 12.4 V or below (seen second-hand); the 50 % row of the first flooded table.
    "flooded": BatteryLevels(12_400, 12_240),
    # The 75 % and 50 % rows of their tables: below 75 % for long, plates sulfate (seen second-hand).
    "agm": BatteryLevels(12_600, 12_300),
    "gel": BatteryLevels(12_650, 12_350),
    # As flooded: the levels that every chemistry has reached by then.
    "unknown": BatteryLevels(12_400, 12_240),
}


@dataclass(frozen=True, slots=True)
class BatterySettings:
    """The operator's settings: rest time (B3), forecast (B4), how soon a forecast plans a charge, how soon is soon."""

    rest_minutes: int = 480
    plan_within_days: int = 14
    soon_after_charge_days: int = 3
    forecast: ForecastSettings = field(default_factory=ForecastSettings)


@dataclass(frozen=True, slots=True)
class BatteryHistory:
    """A table's battery on record: readings in any order, its charges, and its last replacement."""

    readings: Sequence[SupplyReading]
    charged_at: Sequence[datetime] = ()
    replaced_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class BatteryHealth:
    """The newest reading judged. ``level_mv`` is the level that decided, as this battery would show it.

    ``caveats`` are sentences on what weakens the answer: rest (B3), temperature (B2), chemistry (B1).
    """

    reading: SupplyReading
    state: StateOfCharge
    rest: Rest
    verdict: BatteryVerdict
    level: Level
    level_mv: int
    because: Because
    why: str
    caveats: tuple[str, ...]
    forecast: Forecast | None
    why_no_forecast: NoForecast | None
    cautions: tuple[Caution, ...]


def judge_battery(
    battery: Battery,
    history: BatteryHistory,
    *,
    now: datetime,
    zone: tzinfo,
    levels: BatteryLevels | None = None,
    settings: BatterySettings | None = None,
) -> BatteryHealth | None:
    """Return the verdict on a battery; None without a reading since it was last charged or replaced.

    ``zone`` is the venue's, for the parts of the day and the dates. ``levels`` default to those of the chemistry.
    """
    settings = settings or BatterySettings()
    case = _Case(battery, levels or DEFAULT_LEVELS[battery.chemistry], settings, _cycles(history, settings))
    current = case.cycles[-1].marked
    if not current:
        return None
    newest = current[-1]
    outlook = case.outlook(zone)
    verdict, level, because, why = _decide(case, outlook, now=now, zone=zone)
    reading = newest.reading
    return BatteryHealth(
        reading=reading,
        state=state_of_charge(
            battery,
            reading.battery_mv,
            temperature_tenths_c=reading.temperature_tenths_c,
            doubt_mv=0 if newest.rest == "rested" else settings.forecast.doubt_mv,
        ),
        rest=newest.rest,
        verdict=verdict,
        level=level,
        level_mv=case.level_mv(level),
        because=because,
        why=why,
        caveats=_caveats(battery, newest),
        forecast=outlook if isinstance(outlook, Forecast) else None,
        why_no_forecast=outlook if isinstance(outlook, NoForecast) else None,
        cautions=() if verdict == "good" else AT_A_BATTERY,
    )


@dataclass(frozen=True, slots=True)
class _Cycle:
    """The readings from one charge (None: from the start, or from a new battery) until the next, in time order."""

    charged_at: datetime | None
    marked: tuple[MarkedReading, ...]


@dataclass(frozen=True, slots=True)
class _Case:
    """One battery with its levels and its cycles: what the rules below ask about."""

    battery: Battery
    levels: BatteryLevels
    settings: BatterySettings
    cycles: tuple[_Cycle, ...]

    def level_mv(self, level: Level) -> int:
        return int(self.battery.from_12_v(getattr(self.levels, level)))

    def voltage(self, reading: SupplyReading) -> Fraction:
        """The reading brought to 80 °F, where the levels are stated (B2)."""
        return at_temperature(self.battery, reading.battery_mv, temperature_tenths_c=reading.temperature_tenths_c)

    def reached(self, level: Level, reading: SupplyReading) -> bool:
        return self.voltage(reading) <= self.level_mv(level)

    def outlook(self, zone: tzinfo) -> Forecast | NoForecast:
        marked = self.cycles[-1].marked
        if self.reached("charge_now_mv", marked[-1].reading):
            return NoForecast("already_reached", "Already at or below the charge-now level.")
        return forecast(
            self.battery,
            marked,
            level_mv=self.level_mv("charge_now_mv"),
            zone=zone,
            settings=self.settings.forecast,
        )


def _cycles(history: BatteryHistory, settings: BatterySettings) -> tuple[_Cycle, ...]:
    """Cut this battery's readings at its charges (R5)."""
    since = history.replaced_at
    charges = sorted(at for at in history.charged_at if since is None or at >= since)
    marked = [
        MarkedReading(reading, rest_of(reading, charged_at=charges, rest_minutes=settings.rest_minutes))
        for reading in sorted(history.readings, key=lambda reading: reading.taken_at)
        if since is None or reading.taken_at >= since
    ]
    starts: list[datetime | None] = [None, *charges]
    ends: list[datetime | None] = [*charges, None]
    return tuple(
        _Cycle(
            start,
            tuple(
                item
                for item in marked
                if (start is None or item.reading.taken_at >= start) and (end is None or item.reading.taken_at < end)
            ),
        )
        for start, end in zip(starts, ends, strict=True)
    )


def _decide(
    case: _Case, outlook: Forecast | NoForecast, *, now: datetime, zone: tzinfo
) -> tuple[BatteryVerdict, Level, Because, str]:
    """Return the verdict, the level that decided it, what reached that level, and the sentence that says so."""
    newest = case.cycles[-1].marked[-1].reading
    if _low_soon_after_charge(case):
        days = case.settings.soon_after_charge_days
        why = f"At {_volts(case.level_mv('plan_charge_mv'))} or below within {days} days of a charge: suspect the battery."
        return "replace_suspected", "plan_charge_mv", "low_soon_after_charge", f"{why} {_ONCE_MORE}"
    if _empties_faster(case):
        why = (
            f"Reached {_volts(case.level_mv('charge_now_mv'))} in half the time it lasted after earlier charges: "
            "suspect the battery."
        )
        return "replace_suspected", "charge_now_mv", "empties_faster", f"{why} {_ONCE_MORE}"
    levels: tuple[tuple[BatteryVerdict, Level], ...] = (
        ("charge_now", "charge_now_mv"),
        ("plan_charge", "plan_charge_mv"),
    )
    for verdict, level in levels:
        if case.reached(level, newest):
            why = f"{_read(case, newest)}: {_reached(case, level, newest)}.{_reaches(outlook)}"
            return verdict, level, "voltage", why
    if isinstance(outlook, Forecast):
        days = (outlook.reaches_on - now.astimezone(zone).date()).days
        if days <= case.settings.plan_within_days:
            why = f"{_read(case, newest)}: plan a charge.{_reaches(outlook)}"
            return "plan_charge", "charge_now_mv", "forecast", why
    why = f"{_read(case, newest)}: above {_volts(case.level_mv('plan_charge_mv'))}.{_reaches(outlook)}"
    return "good", "plan_charge_mv", "voltage", why


_ONCE_MORE = "Charge it fully once more and read it again before replacing it."


def _low_soon_after_charge(case: _Case) -> bool:
    """Return whether even its best reading at rest soon after the last charge is low; False where there is none."""
    cycle = case.cycles[-1]
    if cycle.charged_at is None:
        return False
    soon_s = cycle.charged_at.timestamp() + case.settings.soon_after_charge_days * DAY_S
    soon = [
        item.reading for item in cycle.marked if item.rest == "rested" and item.reading.taken_at.timestamp() <= soon_s
    ]
    return bool(soon) and all(case.reached("plan_charge_mv", reading) for reading in soon)


def _empties_faster(case: _Case) -> bool:
    """Return whether it was at the service level in at most half the time it surely held after every earlier charge.

    The last time is taken long (until it was seen at the level), the earlier ones short (until it was last seen above
    it); earlier charges after which it never was at the level do not count.
    """
    times = [_held_s(case, cycle) for cycle in case.cycles if cycle.charged_at is not None]
    last = times.pop() if times else None
    surely_held_s = [held[0] for held in times if held is not None]
    return last is not None and bool(surely_held_s) and 2 * last[1] <= min(surely_held_s)


def _held_s(case: _Case, cycle: _Cycle) -> tuple[float, float] | None:
    """Return for how long after its charge it was last seen above the service level, and when first at it; or None.

    Readings that were not at rest do not count: under use any battery reads low.
    """
    if cycle.charged_at is None:
        return None
    above_s = 0.0
    for item in cycle.marked:
        if item.rest == "not_rested":
            continue
        after_s = item.reading.taken_at.timestamp() - cycle.charged_at.timestamp()
        if case.reached("charge_now_mv", item.reading):
            return above_s, after_s
        above_s = after_s
    return None


def _caveats(battery: Battery, newest: MarkedReading) -> tuple[str, ...]:
    rest, heat = newest.rest, newest.reading.temperature_tenths_c
    volts = newest.reading.battery_mv
    sentences = (
        (
            is_odd(volts, nominal_volts=battery.nominal_volts),
            f"{_volts(volts)} is odd for a {battery.nominal_volts} V battery: read it again.",
        ),
        (
            rest == "not_rested",
            "Not read at rest: a battery reads low soon after use, high soon after charging.",
        ),
        (rest == "rest_unknown", "Rest before the reading not stated."),
        (heat is None, "No temperature given: a cold battery reads low."),
        (battery.chemistry == "unknown", "Chemistry not stated: only a range can be given."),
    )
    return tuple(sentence for applies, sentence in sentences if applies)


def _read(case: _Case, reading: SupplyReading) -> str:
    """Say a voltage as it was read, and where the temperature moves it also as it is compared (B2)."""
    compared_mv = round_half_up(case.voltage(reading))
    read = _volts(reading.battery_mv)
    return read if compared_mv == reading.battery_mv else f"{read} ({_volts(compared_mv)} at 80 °F)"


def _volts(millivolts: int) -> str:
    """Write millivolts with as many decimals as they need, at least two: 12.399 V is not 12.40 V."""
    return f"{write_volts(millivolts)} V"


def _reached(case: _Case, level: Level, reading: SupplyReading) -> str:
    """Say which level a voltage has reached, and what to do."""
    what_to_do = {"plan_charge_mv": "plan a charge", "charge_now_mv": "charge now"}
    side = "below" if case.voltage(reading) < case.level_mv(level) else "at"
    return f"{side} {_volts(case.level_mv(level))}, {what_to_do[level]}"


def _reaches(outlook: Forecast | NoForecast) -> str:
    """Say when it reaches the service level, where that can be foretold."""
    if isinstance(outlook, NoForecast):
        return ""
    return f" Reaches {_volts(outlook.level_mv)} (charge now) about {date_in_words(outlook.reaches_on)}."
