"""Published schedules as sent, with what the controllers that they reach cannot hold."""

from ..controllers.schemas import CannotHoldOut
from ..schedules.schemas import ScheduleOut
from ..web.schema_types import Date, Id, Out


class DayKeyingOut(Out):
    """A date or event that a weekday clock cannot know: key the day on ``key_on``, and key it back on ``back_on``."""

    on: Date
    key_on: Date
    back_on: Date
    names: list[str]


class TableLimitsOut(Out):
    """What one table's controller cannot hold of a schedule, and the days of the next four weeks to key by hand."""

    table_id: Id
    label: str
    cannot_hold: list[CannotHoldOut]
    key_by_hand: list[DayKeyingOut]


class ScheduleAdviceOut(Out):
    """Something to know about a schedule, never a refusal: a code, a sentence, and the entries that it is about."""

    code: str
    detail: str
    entries: list[str]


class PublishedOut(ScheduleOut):
    """A schedule as published, or as it would be: the tables whose controllers cannot hold it, and advice.

    A table is listed only where something cannot be held, or must be keyed by hand.
    """

    tables: list[TableLimitsOut]
    advice: list[ScheduleAdviceOut]


class RolloutOut(Out):
    """The schedules that a roll-out published, or would publish."""

    tariff: Id
    replacement: Id
    effective_on: Date
    schedules: list[PublishedOut]
