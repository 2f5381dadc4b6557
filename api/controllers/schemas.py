"""Keyings and settings sheets as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING
from pydantic import Field as Limits

from ..pool_tables.schemas import CautionOut
from ..readings.schemas import FoundDayOut
from ..schedules.schemas import Owner
from ..web.schema_types import Id, In, Instant, MoneyOut, Name, Out, PageOf, Text, TimeOfDay

Basis = Literal["listed", "keyed"]


class KeyingIn(In):
    """A schedule that somebody keyed into a table."""

    schedule_id: Id
    keyed_at: Instant
    by: Name
    note: Text | MISSING = MISSING


class KeyingOut(Out):
    """A keying as recorded."""

    id: Id
    table_id: Id
    schedule_id: Id
    keyed_at: Instant
    by: str
    note: str


StartsFrom = Literal["blank", "keyed", "found"]


class PlaceOut(Out):
    """Where something is wanted: the controller's day (or a date), the times, the name of the schedule's entry."""

    day: str
    from_: Annotated[TimeOfDay, Limits(alias="from")]
    to: TimeOfDay
    name: str


class EffectOut(Out):
    """How many units an amount buys on the table, and how many it should buy."""

    sells: Literal["games", "minutes"]
    amount: MoneyOut
    wanted: int
    found: int


class CannotHoldOut(Out):
    """One thing that the controller cannot hold: what is asked, its limit, what would have to change, what happens instead."""

    code: str
    sells: Literal["games", "minutes", "metered"] | None
    found: str
    limit: str
    change: str
    instead: str
    places: list[PlaceOut]
    effects: list[EffectOut]


class ValueOut(Out):
    """One value to key; null where it belongs to the day, the window or the kind as a whole."""

    window: int | None
    sells: Literal["games", "minutes"] | None
    rung: int | None
    name: str
    value: str


class PlanStepOut(Out):
    """One thing to do on a day of the controller, in words and as values."""

    kind: Literal["key", "take_over", "switch_off"]
    day: str
    from_day: str | None
    words: str
    counts: int
    values: list[ValueOut]


class PlanOut(Out):
    """The steps, what they count together, and from what they start: nothing known, what was keyed, what was found.

    ``shortest`` is false where the search for the shortest was cut short.
    """

    starts_from: StartsFrom
    starts_from_schedule_id: Id | None
    steps: list[PlanStepOut]
    counts: int
    shortest: bool


class SheetOut(Out):
    """What a table's controller must hold; what it cannot hold comes first."""

    cannot_hold: list[CannotHoldOut]
    table_id: Id
    venue_id: Id
    currency: str
    schedule_id: Id
    schedule_of: Owner
    holds_from: Instant
    days: list[FoundDayOut]
    plan: PlanOut
    cautions: list[CautionOut]


class KeyingPage(PageOf[KeyingOut]):
    """A page of keyings."""
