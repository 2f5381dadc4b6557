"""Batteries to charge, from their health (B5): now, by a forecast date, or once more before a replacement.

- A charge needed now is due from the reading that showed it. A planned charge is due when the forecast reaches the
  service level; without a forecast, two weeks after the reading.
- A good battery with a forecast comes up two weeks before its date, without a new reading.
"""

from __future__ import annotations

from datetime import datetime, time, timedelta

from ..health.battery_verdict import BatteryHealth
from ..health.table_health import TableHealth
from .work import AT_ONCE, Work

PLAN_DAYS = 14


def charging(health: TableHealth, *, capacity_ah: str | None) -> tuple[Work, ...]:
    """Return the charge that a table's battery needs; ``capacity_ah`` helps to choose the spare."""
    found, battery = health.battery, health.facts.battery
    if found is None or battery is None or (found.verdict == "good" and found.forecast is None):
        return ()
    chemistry = {"unknown": "", "agm": " AGM"}.get(battery.chemistry, f" {battery.chemistry}")
    size = f" of {capacity_ah} Ah" if capacity_ah else ""
    spare = f"a charged {battery.nominal_volts} V{chemistry} battery{size}, or the charger"
    return (
        Work(
            kind="charge_battery",
            code="plan_charge" if found.verdict == "good" else found.verdict,
            due_at=_due_at(found, health),
            reason=" ".join((found.why, *found.caveats)),
            lead_days=PLAN_DAYS if found.verdict == "good" else AT_ONCE,
            bring=(spare, "eye and hand protection", "a voltmeter"),
            needs_key=True,
            dangers=("battery",),
        ),
    )


def _due_at(found: BatteryHealth, health: TableHealth) -> datetime:
    if found.verdict in ("charge_now", "replace_suspected"):
        return found.reading.taken_at
    if found.forecast is not None:
        return datetime.combine(found.forecast.reaches_on, time(), tzinfo=health.facts.zone)
    return found.reading.taken_at + timedelta(days=PLAN_DAYS)
