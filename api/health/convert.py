"""The operator's settings as they travel and as tables are judged by them; a table's health as its message."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time, tzinfo
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from ..controllers.schemas import EffectOut
from ..controllers.settings_differences import SettingsDifference
from ..pool_tables.schemas import CautionOut
from ..pricing import DomainError, Fault, format_money
from ..pricing.money import round_half_up
from ..readings.units import millivolts, write_volts
from ..schedules.convert import tariff_ref
from ..schedules.schemas import TariffRefOut
from .battery_forecast import Forecast
from .battery_verdict import DEFAULT_LEVELS, BatteryHealth, BatteryLevels, BatterySettings
from .clock_verdict import ClockSettings
from .levels import FaultLimits, Levels
from .meter_health import MeterHealth
from .schemas import (
    BatteryHealthOut,
    BatteryLevelsOut,
    BatterySettingsOut,
    CashSettingsOut,
    ChemistriesOut,
    ClockHealthOut,
    ClockSettingsOut,
    DisagreementOut,
    FaultSettingsOut,
    ForecastOut,
    MeterDeltaOut,
    MeterHealthOut,
    MomentOut,
    MovedChangeOut,
    NoForecastOut,
    SettingsDifferenceOut,
    SettingsIn,
    SettingsOut,
    TableHealthOut,
    ValueFoundOut,
    WrongPriceOut,
)
from .table_health import ClockOutlook, TableHealth


def read_settings(message: SettingsIn) -> Levels:
    """Return what tables are judged by; refuse levels that are not in order, all mistakes at once."""
    terms: Mapping[str, Any] = message.model_dump()
    battery = dict(terms.get("battery", {}))
    by_chemistry, faults = dict(DEFAULT_LEVELS), list[Fault]()
    for chemistry, volts in battery.pop("levels", {}).items():
        plan_volts, now_volts = volts["plan_charge_volts"], volts["charge_now_volts"]
        if millivolts(now_volts) < millivolts(plan_volts):
            by_chemistry[chemistry] = BatteryLevels(millivolts(plan_volts), millivolts(now_volts))
        else:
            where = f"battery.levels.{chemistry}.charge_now_volts"
            faults.append(Fault("bad_levels", where, now_volts, f"below plan_charge_volts, which is {plan_volts}"))
    if faults:
        raise DomainError(*faults)
    return Levels(
        by_chemistry=by_chemistry,
        battery=replace(BatterySettings(), **battery),
        clock=replace(ClockSettings(), **terms.get("clock", {})),
        **terms.get("cash", {}),
        faults=replace(FaultLimits(), **terms.get("faults", {})),
    )


def levels_out(levels: Levels) -> SettingsOut:
    """Write what tables are judged by."""
    by_chemistry = {
        chemistry: BatteryLevelsOut(
            plan_charge_volts=write_volts(level.plan_charge_mv), charge_now_volts=write_volts(level.charge_now_mv)
        )
        for chemistry, level in levels.by_chemistry.items()
    }
    return SettingsOut(
        battery=BatterySettingsOut(
            levels=ChemistriesOut(**by_chemistry),
            rest_minutes=levels.battery.rest_minutes,
            plan_within_days=levels.battery.plan_within_days,
            soon_after_charge_days=levels.battery.soon_after_charge_days,
        ),
        clock=ClockSettingsOut(tolerance_s=levels.clock.tolerance_s),
        cash=CashSettingsOut(bank_within_days=levels.bank_within_days),
        faults=FaultSettingsOut(again=levels.faults.again, within_days=levels.faults.within_days),
    )


def health_out(table_id: UUID, health: TableHealth) -> TableHealthOut:
    """Write a table's health as its message."""
    facts = health.facts
    return TableHealthOut(
        table_id=table_id,
        currency=facts.currency,
        battery=health.battery and _battery_out(health.battery),
        why_no_battery=health.why_no_battery,
        clock=health.clock and _clock_out(health.clock, facts.zone),
        why_no_clock=health.why_no_clock,
        meters=[_meter_out(meter, facts.currency) for meter in health.meters],
        settings=[
            _difference_out(
                row, facts.settings.taken_at, turns_at=facts.sells.held.controller.day_turns_at, currency=facts.currency
            )
            for row in health.settings
            if facts.settings and facts.sells
        ],
        cautions=[CautionOut(code=caution.code, detail=caution.detail) for caution in health.cautions],
    )


def _battery_out(health: BatteryHealth) -> BatteryHealthOut:
    state, why_not = health.state, health.why_no_forecast
    return BatteryHealthOut(
        read_at=health.reading.taken_at,
        volts=write_volts(health.reading.battery_mv),
        state_percent=None if state.percent is None else str(state.percent),
        spread_percent=[str(end) for end in state.spread_percent],
        basis=state.basis,
        rest=health.rest,
        temperature_corrected=state.temperature_corrected,
        verdict=health.verdict,
        level="plan_charge" if health.level == "plan_charge_mv" else "charge_now",
        level_volts=write_volts(health.level_mv),
        because=health.because,
        why=health.why,
        caveats=list(health.caveats),
        forecast=health.forecast and _forecast_out(health.forecast),
        why_no_forecast=why_not and NoForecastOut(code=why_not.code, detail=why_not.detail),
    )


def _forecast_out(forecast: Forecast) -> ForecastOut:
    return ForecastOut(
        reaches_on=forecast.reaches_on,
        earliest_on=forecast.earliest_on,
        latest_on=forecast.latest_on,
        level_volts=write_volts(forecast.level_mv),
        mv_per_day=_decimal(forecast.mv_per_day),
        band_mv_per_day=[_decimal(slope) for slope in forecast.band_mv_per_day],
        readings=forecast.n,
        rest=forecast.rest,
        temperature_corrected=forecast.temperature_corrected,
    )


def _clock_out(outlook: ClockOutlook, zone: tzinfo) -> ClockHealthOut:
    health, wrong = outlook.health, outlook.wrong

    def tariff(id_: str | None) -> TariffRefOut | None:
        return None if id_ is None else tariff_ref(outlook.tariffs[id_])

    return ClockHealthOut(
        read_at=health.reading.taken_at,
        offset_s=[health.offset.low_s, health.offset.high_s],
        known_within_s=health.offset.known_within_s,
        cannot_tell=list(health.offset.cannot_tell),
        verdict=health.verdict,
        cause=health.cause,
        why=health.why,
        change_at=health.change and health.change.at.astimezone(zone),
        drift_s_per_day=health.drift and _decimal(health.drift.s_per_day),
        drift_range_s_per_day=health.drift and [_decimal(end) for end in health.drift.range_s_per_day],
        drift_ppm=health.drift and _decimal(health.drift.ppm),
        drift_readings=health.drift and health.drift.n,
        coming=[
            MomentOut(
                what=moment.what,
                name=moment.name,
                at=moment.predicted.at.astimezone(zone),
                offset_s=[moment.predicted.low_s, moment.predicted.high_s],
                verdict=moment.predicted.verdict,
                clock_change=moment.predicted.clock_change,
            )
            for moment in outlook.moments
        ],
        wrong_price=[
            WrongPriceOut(
                sells=tariff(pair.sells),
                instead_of=tariff(pair.instead_of),
                minutes=round_half_up(Fraction(pair.seconds, 60)),
            )
            for pair in (wrong.pairs if wrong else ())
        ],
        wrong_changes=[
            MovedChangeOut(
                due_at=change.due_at.astimezone(zone),
                made_at=change.made_at.astimezone(zone),
                before=tariff(change.from_key),
                after=tariff(change.to_key),
            )
            for change in (wrong.changes if wrong else ())
        ],
    )


def _meter_out(health: MeterHealth, currency: str) -> MeterHealthOut:
    meter, newest, apart = health.meter, health.newest, health.disagreement
    return MeterHealthOut(
        name=meter.name,
        counts=meter.counts,
        read_at=newest.to_at,
        value=newest.value,
        kind=newest.kind,
        delta=newest.delta,
        since_at=health.since_at,
        counted=health.counted,
        amount=None if meter.unit_minor is None else format_money(health.counted * meter.unit_minor, currency),
        needs_review=[
            MeterDeltaOut(from_at=delta.from_at, to_at=delta.to_at, before=delta.before, value=delta.value)
            for delta in health.reviews
        ],
        disagreement=apart
        and DisagreementOut(
            meter=apart.other.meter,
            amount=format_money(apart.one.least_minor, currency),
            other_amount=format_money(apart.other.least_minor, currency),
            apart=format_money(apart.apart_minor, currency),
        ),
    )


def _difference_out(
    row: SettingsDifference, read_at: datetime, *, turns_at: int, currency: str
) -> SettingsDifferenceOut:
    start, end = (time(*divmod((turns_at + minute) % 1440, 60)) for minute in (row.starts, row.ends))
    return SettingsDifferenceOut(
        read_at=read_at,
        against=row.against,
        day=row.day,
        from_=start,
        to=end,
        sells=row.sells,
        values=[ValueFoundOut(name=value.name, wanted=value.wanted, found=value.found) for value in row.values],
        effects=[
            EffectOut(
                sells=effect.sells,
                amount=format_money(effect.amount, currency),
                wanted=effect.wanted,
                found=effect.found,
            )
            for effect in row.effects
        ],
    )


def _decimal(figure: Fraction) -> str:
    """Write a figure with two decimals."""
    return str(Decimal(round_half_up(figure * 100)).scaleb(-2))
