"""What a controller holds now, as a plan starts from it: what was keyed last, with the days found since laid over.

- S3: a day found is more certain than the same day keyed; of a day found twice the later counts. A day found that this
  controller's settings cannot express says nothing.
- Without a keying only a whole week found is enough; else nothing is known and every value is keyed.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..pool_tables.controller import Controller
from ..pricing.errors import DomainError
from ..pricing.week import WEEKDAYS
from .keyed_values import cells_of, day_of
from .week_settings import Day, WeekSettings


def laid_over(keyed: WeekSettings | None, found: Sequence[Day], controller: Controller) -> WeekSettings | None:
    """Return the settings that the controller holds, the days of ``found`` over those keyed; None where not known."""
    days = {day.day: day for day in keyed.days} if keyed else {}
    days |= {day.day: day for day in found if _is_expressible(day, controller)}
    if any(name not in days for name in WEEKDAYS):
        return None
    dated = sorted(name for name in days if name not in WEEKDAYS)
    return WeekSettings(tuple(days[name] for name in (*WEEKDAYS, *dated)))


def _is_expressible(day: Day, controller: Controller) -> bool:
    try:
        return day_of(day.day, cells_of(day, controller), controller) == day
    except DomainError:
        return False
