"""The date on which a battery reaches its charge-now level: a robust line through like readings.

- B4 Like is compared with like: readings at rest with readings at rest, else those of one mark taken at the same part of
  the day. Their voltages are brought to one temperature only where all of them state one; the answer says which.
- B4 A forecast needs three readings over seven days since the last charge or new battery; else the answer says why
  there is none.
- B3 Readings not at rest are used, with a wider band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from fractions import Fraction
from typing import Literal

from .state_of_charge import Battery, Rest, SupplyReading, at_temperature
from .theil_sen import Trend, evenly, theil_sen

DAY_S = 86_400

_FARTHEST_DAYS = 730
WhyNot = Literal["too_few_readings", "too_short", "already_reached", "not_falling", "too_far_off"]


@dataclass(frozen=True, slots=True)
class MarkedReading:
    """A reading with its mark of rest (B3)."""

    reading: SupplyReading
    rest: Rest


@dataclass(frozen=True, slots=True)
class Forecast:
    """The venue's date on which the line reaches the service level, and the readings behind it.

    ``earliest_on`` and ``latest_on`` are the band's dates (None: it may never get there); slopes are millivolts a day.
    """

    reaches_on: date
    earliest_on: date
    latest_on: date | None
    level_mv: int
    mv_per_day: Fraction
    band_mv_per_day: tuple[Fraction, Fraction]
    n: int
    rest: Rest
    temperature_corrected: bool


@dataclass(frozen=True, slots=True)
class NoForecast:
    """Why there is no date: a code for programs, a sentence for people."""

    code: WhyNot
    detail: str


@dataclass(frozen=True, slots=True)
class ForecastSettings:
    """What makes readings enough and alike: how many, over how many days, how far apart by the clock of the day.

    ``doubt_mv``, on a 12 V battery, is what a reading not at rest may be off by: an allowance, from memory.
    """

    readings_min: int = 3
    days_min: int = 7
    like_within_minutes: int = 180
    doubt_mv: int = 100


def forecast(
    battery: Battery,
    marked: Sequence[MarkedReading],
    *,
    level_mv: int,
    zone: tzinfo,
    settings: ForecastSettings,
) -> Forecast | NoForecast:
    """Return when the battery reaches ``level_mv``, from its readings since the last charge or change (B4)."""
    groups = [group for group in _like(marked, zone, settings) if group]
    enough = [group for group in groups if _why_not(group, settings) is None]
    if not enough:
        return _why_not(max(groups, key=len, default=[]), settings) or _too_few(0, settings)
    group = evenly(enough[0])
    corrected = all(item.reading.temperature_tenths_c is not None for item in group)
    start_s = int(group[0].reading.taken_at.timestamp())
    points = [
        (int(item.reading.taken_at.timestamp()) - start_s, _voltage(battery, item.reading, corrected)) for item in group
    ]
    return _along(
        theil_sen(points),
        group,
        level_mv=level_mv,
        corrected=corrected,
        zone=zone,
        doubt_mv=_doubt(battery, group, settings),
    )


def _along(
    trend: Trend,
    group: Sequence[MarkedReading],
    *,
    level_mv: int,
    corrected: bool,
    zone: tzinfo,
    doubt_mv: Fraction,
) -> Forecast | NoForecast:
    """Follow the line, and the two ends of its band, down to the level."""
    if trend.slope >= 0:
        return NoForecast("not_falling", "The voltage is not falling.")
    first, newest = group[0].reading.taken_at, group[-1].reading.taken_at

    def date_at(level: int | Fraction, slope: Fraction) -> date | None:
        """The date of the crossing, no earlier than the newest reading; None where it is too far off or never."""
        x = trend.reaches(level, slope=slope) if slope < 0 else None
        if x is None or x > newest.timestamp() - first.timestamp() + _FARTHEST_DAYS * DAY_S:
            return None
        return max(_after(first, x), newest).astimezone(zone).date()

    reaches_on = date_at(level_mv, trend.slope)
    if reaches_on is None:
        return NoForecast("too_far_off", f"Falls so slowly that the level is over {_FARTHEST_DAYS} days away.")
    earliest_on = date_at(level_mv + doubt_mv, trend.slope_low) or reaches_on
    latest_on = date_at(level_mv - doubt_mv, trend.slope_high)
    return Forecast(
        reaches_on=reaches_on,
        earliest_on=min(earliest_on, reaches_on),
        latest_on=latest_on and max(latest_on, reaches_on),
        level_mv=level_mv,
        mv_per_day=trend.slope * DAY_S,
        band_mv_per_day=(trend.slope_low * DAY_S, trend.slope_high * DAY_S),
        n=trend.n,
        rest=group[0].rest,
        temperature_corrected=corrected,
    )


def _like(marked: Sequence[MarkedReading], zone: tzinfo, settings: ForecastSettings) -> list[list[MarkedReading]]:
    """Return the groups of like readings in the order of preference, each in time order."""
    ordered = sorted(marked, key=lambda item: item.reading.taken_at)
    by_rest: dict[Rest, list[MarkedReading]] = {"rested": [], "rest_unknown": [], "not_rested": []}
    for item in ordered:
        by_rest[item.rest].append(item)
    return [by_rest["rested"]] + [
        _same_part_of_day(by_rest[rest], zone, settings.like_within_minutes) for rest in ("rest_unknown", "not_rested")
    ]


def _same_part_of_day(group: list[MarkedReading], zone: tzinfo, within_minutes: int) -> list[MarkedReading]:
    """Keep the readings whose time of day at the venue is near the newest one's."""
    if not group:
        return []
    clock = [_minute_of_day(item.reading.taken_at.astimezone(zone)) for item in group]
    apart = [abs(minute - clock[-1]) for minute in clock]
    return [item for item, far in zip(group, apart, strict=True) if min(far, 1440 - far) <= within_minutes]


def _why_not(group: Sequence[MarkedReading], settings: ForecastSettings) -> NoForecast | None:
    if len(group) < settings.readings_min:
        return _too_few(len(group), settings)
    days = (group[-1].reading.taken_at.timestamp() - group[0].reading.taken_at.timestamp()) / DAY_S
    if days < settings.days_min:
        return NoForecast(
            "too_short",
            f"{len(group)} comparable readings over {days:.1f} days; {settings.days_min} days needed.",
        )
    return None


def _too_few(n: int, settings: ForecastSettings) -> NoForecast:
    return NoForecast(
        "too_few_readings",
        f"Comparable readings since the last charge or new battery: {n}; {settings.readings_min} needed.",
    )


def _voltage(battery: Battery, reading: SupplyReading, corrected: bool) -> Fraction:
    heat = reading.temperature_tenths_c if corrected else None
    return at_temperature(battery, reading.battery_mv, temperature_tenths_c=heat)


def _doubt(battery: Battery, group: Sequence[MarkedReading], settings: ForecastSettings) -> Fraction:
    return Fraction(0) if group[0].rest == "rested" else battery.from_12_v(settings.doubt_mv)


def _after(at: datetime, seconds: Fraction) -> datetime:
    # Elapsed time has to be added in an offset that does not change.
    return datetime.fromtimestamp(at.timestamp(), tz=UTC) + timedelta(seconds=int(max(seconds, Fraction(0))))


def _minute_of_day(at: datetime) -> int:
    return at.hour * 60 + at.minute
