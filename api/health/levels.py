"""The operator's levels and tolerances: when to charge a battery, how far off a clock may be, when cash is due at the
bank, how often a table may fail.

- B5 Levels are settings with defaults by chemistry; a level that is not set is the default.
- J2 A table that fails again and again is work: three faults in ninety days by default (*our own choice*).
- K3 The tolerance of a clock is a setting, two minutes by default.
- O4 Within how many days a bag is to be banked is a setting, a week by default.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ..pool_tables.equipment import Chemistry
from .battery_verdict import DEFAULT_LEVELS, BatteryLevels, BatterySettings
from .clock_verdict import ClockSettings


@dataclass(frozen=True, slots=True)
class FaultLimits:
    """How many faults, reported within how many days, are too many for one table."""

    again: int = 3
    within_days: int = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What tables are judged by."""

    by_chemistry: Mapping[Chemistry, BatteryLevels] = field(default_factory=lambda: dict(DEFAULT_LEVELS))
    battery: BatterySettings = field(default_factory=BatterySettings)
    clock: ClockSettings = field(default_factory=ClockSettings)
    bank_within_days: int = 7
    faults: FaultLimits = field(default_factory=FaultLimits)
