"""How full a lead-acid battery is, from the voltage at which it rests.

- B1 State of charge is read off a table for the chemistry: linear between its rows, clamped outside them, scaled by the
  nominal voltage (6 or 12 V). The answer names the table and gives the spread over all tables that could apply; an
  unknown chemistry gets the spread only, no figure.
- B2 With a temperature, the voltage is first brought to the table's own: 0.024 V for every 10 °F on a 12 V battery; a
  cold battery reads low. Without one, the answer says that none was given.
- B3 A reading within the rest time after use or charging is ``not_rested``; one that does not say is ``rest_unknown``.
  Both are used, marked, with a wider spread.

Voltages are millivolts, temperatures tenths of a degree Celsius. All arithmetic is exact; per cent are rounded last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from ..pool_tables.equipment import Chemistry
from ..pricing.errors import DomainError, Fault
from ..pricing.money import round_half_up

Rest = Literal["rested", "not_rested", "rest_unknown"]
# Odd facts are kept and flagged elsewhere; only what no meter near a battery shows is refused.
_MIN_MV, _MAX_MV = 1, 98_999
_COLDEST, _HOTTEST = -1_000, 1_500  # -100 °C … 150 °C


@dataclass(frozen=True, slots=True)
class ChargeTable:
    """Resting voltage of a 12 V battery against state of charge: rising (millivolts, per cent), at its temperature."""

    name: str
    reference_f: int
    rows: tuple[tuple[int, int], ...]

    def percent(self, voltage_mv: Fraction) -> Fraction:
        """Return the state of charge at that voltage of a 12 V battery at the table's own temperature."""
        if voltage_mv <= self.rows[0][0]:
            return Fraction(self.rows[0][1])
        for (low_mv, low), (high_mv, high) in pairwise(self.rows):
            if voltage_mv <= high_mv:
                return low + (voltage_mv - low_mv) * (high - low) / (high_mv - low_mv)
        return Fraction(self.rows[-1][1])


# Battery Council International figures (specific gravity 1.265), as printed in two battery makers' guides. Seen
# second-hand.
FLOODED_80F = ChargeTable("flooded, 80 °F", 80, ((11_890, 0), (12_060, 25), (12_240, 50), (12_450, 75), (12_650, 100)))
# A roadside message sign's operator's manual (2018), flooded deep cycle, 25 °C. Seen second-hand. No row below 10 %.
FLOODED_TEN_STEP = ChargeTable(
    "flooded, ten steps, 25 °C",
    77,
    (
        (11_720, 10),
        (11_880, 20),
        (12_020, 30),
        (12_120, 40),
        (12_200, 50),
        (12_280, 60),
        (12_360, 70),
        (12_460, 80),
        (12_580, 90),
        (12_700, 100),
    ),
)
# An engineers' mailing list. Seen second-hand. It states no temperature; 80 °F, where B2 starts, is assumed.
FLOODED_RULE_OF_THUMB = ChargeTable(
    "flooded, rule of thumb", 80, ((11_600, 0), (12_000, 25), (12_200, 50), (12_400, 75), (12_600, 100))
)
# Ranges of a vehicle maker's owner's manual. Published. No temperature stated; 80 °F assumed.
AGM = ChargeTable("AGM", 80, ((11_800, 0), (12_000, 25), (12_300, 50), (12_600, 75), (12_800, 100)))
# From memory: a hint until a source is found. No temperature stated; 80 °F assumed.
GEL = ChargeTable("gel", 80, ((11_800, 0), (12_000, 25), (12_350, 50), (12_650, 75), (12_850, 100)))
_FLOODED = (FLOODED_80F, FLOODED_TEN_STEP, FLOODED_RULE_OF_THUMB)


TABLES: dict[Chemistry, tuple[ChargeTable, ...]] = {
    "flooded": _FLOODED,
    "agm": (AGM,),
    "gel": (GEL,),
    "unknown": (*_FLOODED, AGM, GEL),
}
"""The tables that could apply to a chemistry; the first gives the figure, unless the chemistry is unknown."""


@dataclass(frozen=True, slots=True)
class Battery:
    """What is built in: its chemistry and its nominal voltage, 6 or 12."""

    chemistry: Chemistry = "unknown"
    nominal_volts: int = 12

    def __post_init__(self) -> None:
        faults = []
        if self.chemistry not in TABLES:
            faults.append(Fault("bad_chemistry", "chemistry", repr(self.chemistry), "flooded, agm, gel or unknown"))
        if self.nominal_volts not in (6, 12):
            faults.append(Fault("bad_nominal_volts", "nominal_volts", repr(self.nominal_volts), "6 or 12"))
        if faults:
            raise DomainError(*faults)

    def on_12_v(self, voltage_mv: int | Fraction) -> Fraction:
        """Return a voltage of this battery as a 12 V battery would show it."""
        return Fraction(voltage_mv) * 12 / self.nominal_volts

    def from_12_v(self, voltage_mv: int | Fraction) -> Fraction:
        """Return a voltage of a 12 V battery as this battery would show it."""
        return Fraction(voltage_mv) * self.nominal_volts / 12


@dataclass(frozen=True, slots=True)
class SupplyReading:
    """A voltage read at an instant, and what was said of temperature and rest (None: nothing)."""

    taken_at: datetime
    battery_mv: int
    temperature_tenths_c: int | None = None
    rested_minutes: int | None = None

    def __post_init__(self) -> None:
        faults = []
        if self.taken_at.tzinfo is None:
            faults.append(Fault("naive_instant", "taken_at", str(self.taken_at), "an instant with an offset"))
        if not _MIN_MV <= self.battery_mv <= _MAX_MV:
            faults.append(Fault("bad_voltage", "battery_mv", str(self.battery_mv), f"{_MIN_MV} to {_MAX_MV}"))
        heat = self.temperature_tenths_c
        if heat is not None and not _COLDEST <= heat <= _HOTTEST:
            faults.append(Fault("bad_temperature", "temperature_tenths_c", str(heat), f"{_COLDEST} to {_HOTTEST}"))
        if self.rested_minutes is not None and self.rested_minutes < 0:
            faults.append(Fault("bad_rest", "rested_minutes", str(self.rested_minutes), "0 or more"))
        if faults:
            raise DomainError(*faults)


@dataclass(frozen=True, slots=True)
class StateOfCharge:
    """Per cent of full, to one decimal: the figure and its table (None where the chemistry is unknown), the spread."""

    percent: Decimal | None
    basis: str | None
    spread_percent: tuple[Decimal, Decimal]
    temperature_corrected: bool


def at_temperature(
    battery: Battery, battery_mv: int, *, temperature_tenths_c: int | None, reference_f: int = 80
) -> Fraction:
    """Return what the battery would read at ``reference_f`` (B2), in millivolts; unchanged without a temperature.

    0.024 V for every 10 °F on a 12 V battery, half of it on a 6 V one (a battery maker's guide, seen second-hand). This
    is not a charger's temperature compensation, which has the other sign.
    """
    if temperature_tenths_c is None:
        return Fraction(battery_mv)
    fahrenheit = Fraction(temperature_tenths_c, 10) * 9 / 5 + 32
    return battery_mv + battery.from_12_v(Fraction(24, 10) * (reference_f - fahrenheit))


def state_of_charge(
    battery: Battery, battery_mv: int, *, temperature_tenths_c: int | None = None, doubt_mv: int = 0
) -> StateOfCharge:
    """Return how full the battery is at that resting voltage (B1, B2).

    ``doubt_mv``, on a 12 V battery, widens the spread to both sides: what a reading that was not at rest may be off by.
    """
    tables = TABLES[battery.chemistry]
    figures = [_percent(table, battery, battery_mv, temperature_tenths_c) for table in tables]
    doubt = int(battery.from_12_v(doubt_mv))
    ends = [
        _percent(table, battery, battery_mv + off, temperature_tenths_c) for table in tables for off in (-doubt, doubt)
    ]
    known = battery.chemistry != "unknown"
    return StateOfCharge(
        percent=_one_decimal(figures[0]) if known else None,
        basis=tables[0].name if known else None,
        spread_percent=(_one_decimal(min(ends)), _one_decimal(max(ends))),
        temperature_corrected=temperature_tenths_c is not None,
    )


def rest_of(reading: SupplyReading, *, charged_at: Sequence[datetime], rest_minutes: int) -> Rest:
    """Return whether the battery was at rest (B3); a charge known to lie less than the rest time back says it was not."""
    since_charge = [reading.taken_at.timestamp() - at.timestamp() for at in charged_at if at <= reading.taken_at]
    if since_charge and min(since_charge) < rest_minutes * 60:
        return "not_rested"
    if reading.rested_minutes is None:
        return "rest_unknown"
    return "rested" if reading.rested_minutes >= rest_minutes else "not_rested"


def _percent(table: ChargeTable, battery: Battery, battery_mv: int, temperature_tenths_c: int | None) -> Fraction:
    at_own = at_temperature(
        battery, battery_mv, temperature_tenths_c=temperature_tenths_c, reference_f=table.reference_f
    )
    return table.percent(battery.on_12_v(at_own))


def _one_decimal(percent: Fraction) -> Decimal:
    return Decimal(round_half_up(percent * 10)).scaleb(-1)
