"""Keyings and settings sheets as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, WrapValidator
from pydantic import Field as Limits

from ..pool_tables.schemas import CautionOut
from ..pricing.lines import Kind, PrepaidKind
from ..pricing.timetable import Owner
from ..readings.schemas import FoundDayOut
from ..web.batch import one_by_one
from ..web.feed import ChangeOut, ChangePageOf
from ..web.schema_types import Date, Id, In, Instant, MoneyOut, Name, Out, PageOf, Text, TimeOfDay, VoidedOut
from .plan import StepKind

BasisAsked = Literal["listed"]

KEYINGS_MAX = 100


class KeyingIn(In):
    """A schedule that somebody keyed into a table."""

    id: Annotated[
        Id | MISSING,
        Limits(
            description="An id that you make, once: the same keying sent again changes nothing. Absent: one is made."
        ),
    ] = MISSING
    schedule_id: Annotated[
        Id, Limits(description="The schedule that was keyed: of the table's own, or of a venue in its currency.")
    ]
    keyed_at: Annotated[Instant, Limits(description="When it was keyed; at most five minutes ahead.")]
    by: Annotated[Name, Limits(description="Who keyed it.")]
    for_on: Annotated[
        Date | MISSING,
        Limits(
            description="Keyed for this trading date only, at a controller that knows weekdays and no dates: the "
            "weekday sells what the schedule lists on the date, until the schedule is keyed back."
        ),
    ] = MISSING
    note: Annotated[Text, Limits(description="Anything worth knowing about it.")] | MISSING = MISSING


class SentKeyingIn(KeyingIn):
    """A keying of a batch: the sender makes its id."""

    id: Annotated[Id, Limits(description="An id that you make, once: the same keying sent again changes nothing.")]
    table_id: Annotated[Id, Limits(description="The table that it was keyed into.")]


class KeyingsIn(In):
    """A batch of keyings, each judged on its own."""

    keyings: Annotated[
        list[Annotated[SentKeyingIn, WrapValidator(one_by_one)]],
        Limits(max_length=KEYINGS_MAX, description="At most 100 keyings, in any order."),
    ]


class KeyingOut(Out):
    """A keying as recorded; a voided one stays on record and does not count."""

    id: Id
    table_id: Id
    schedule_id: Id
    for_on: Date | None
    keyed_at: Instant
    by: str
    note: str
    voided: VoidedOut | None


StartsFrom = Literal["blank", "keyed", "found"]


class PlaceOut(Out):
    """Where something is wanted: the controller's day (or a date), the times, the name of the schedule's entry."""

    day: str
    from_: Annotated[TimeOfDay, Limits(alias="from")]
    to: TimeOfDay
    name: str


class EffectOut(Out):
    """How many units an amount buys on the table, and how many it should buy."""

    sells: PrepaidKind
    amount: MoneyOut
    wanted: int
    found: int


class CannotHoldOut(Out):
    """One thing that the controller cannot hold: what is asked, its limit, what would have to change, what happens instead."""

    code: str
    sells: Kind | None
    found: str
    limit: str
    change: str
    instead: str
    places: list[PlaceOut]
    effects: list[EffectOut]


class ValueOut(Out):
    """One value to key; null where it belongs to the day, the window or the kind as a whole."""

    window: int | None
    sells: PrepaidKind | None
    price_number: int | None
    name: str
    value: str


class PlanStepOut(Out):
    """One thing to do on a day of the controller, in words and as values."""

    kind: StepKind
    day: str
    from_day: str | None
    words: str
    values_to_key: int
    values: list[ValueOut]


class PlanOut(Out):
    """The steps, how many values they key in all, and what they start from: nothing known, what was keyed, what was found.

    Taking over a day's settings counts as one value. ``shortest`` is false where a shorter plan may exist.
    """

    starts_from: StartsFrom
    steps: list[PlanStepOut]
    values_to_key: int
    shortest: bool


class SheetOut(Out):
    """What a table's controller must hold; what it cannot hold comes first.

    ``days_now`` is what it holds now as far as is known, null where nothing is: old beside new.
    """

    cannot_hold: list[CannotHoldOut]
    table_id: Id
    venue_id: Id
    currency: str
    schedule_id: Id
    schedule_of: Owner
    holds_from: Instant
    days: list[FoundDayOut]
    days_now: list[FoundDayOut] | None
    plan: PlanOut
    cautions: list[CautionOut]


class KeyingPage(PageOf[KeyingOut]):
    """A page of keyings."""


class KeyingChangeOut(ChangeOut):
    """A keying that was recorded or voided, as it is now."""

    keying: KeyingOut


class KeyingChangePage(ChangePageOf[KeyingChangeOut]):
    """A page of the keyings that have changed."""
