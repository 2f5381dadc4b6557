"""Quotes and resolved weeks as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, Discriminator, StrictInt
from pydantic import Field as Limits

from ..controllers.schemas import BasisAsked
from ..controllers.sells import Basis
from ..pricing.lines import PrepaidKind
from ..pricing.timetable import Owner
from ..pricing.week import EntryKind, Weekday
from ..schedules.schemas import TariffRefOut
from ..tariffs.schemas import TariffIn
from ..web.errors import ProblemOut
from ..web.schema_types import (
    AT_PATTERN,
    AskedDay,
    AskedTime,
    Date,
    Id,
    In,
    LocalInstant,
    Money,
    MoneyOut,
    Out,
    TimeOfDay,
)
from .price_grid import GridStatus

AtText = Annotated[
    str,
    Limits(
        pattern=AT_PATTERN,
        description="An instant; without an offset it is the venue's wall clock. In an address, + is written %2B.",
        examples=["2026-12-01T21:00"],
    ),
]
AskedUnits = Annotated[StrictInt, Limits(ge=1, le=10_000)]
Players = Annotated[StrictInt, Limits(ge=1, le=100)]
OfferKind = Literal["games", "minutes", "metered"]


class EventIn(In):
    """Money that goes in (with its amount), or a game that is started."""

    kind: Literal["insert", "start"]
    at: AtText
    amount: Money | MISSING = MISSING


class ScenarioIn(In):
    """One question about a venue, a table, or a draft tariff; see the fields for the kinds of question."""

    venue_id: Id | MISSING = MISSING
    table_id: Id | MISSING = MISSING
    tariff: Annotated[TariffIn, Limits(description="A draft to price, with time_zone.")] | MISSING = MISSING
    time_zone: Annotated[str, Limits(min_length=1, max_length=64)] | MISSING = MISSING
    basis: BasisAsked | MISSING = MISSING
    at: AtText | MISSING = MISSING
    day: AskedDay | MISSING = MISSING
    time: AskedTime | MISSING = MISSING
    money: Money | MISSING = MISSING
    games: AskedUnits | MISSING = MISSING
    minutes: AskedUnits | MISSING = MISSING
    players: Players | MISSING = MISSING
    events: Annotated[list[EventIn], Limits(min_length=1, max_length=1000)] | MISSING = MISSING
    buys: Annotated[PrepaidKind, Limits(description="What the events buy; games where it is absent.")] | MISSING = (
        MISSING
    )
    from_at: AtText | MISSING = MISSING
    to_at: AtText | MISSING = MISSING


class ScenariosIn(In):
    """Up to 1,000 questions."""

    scenarios: Annotated[list[ScenarioIn], Limits(min_length=1, max_length=1000)]


class WindowOut(Out):
    """Which entry won, of which schedule (null for a draft), from when to when (null: on for over a week)."""

    name: str
    kind: EntryKind
    schedule_id: Id | None
    of: Owner
    from_at: LocalInstant | None
    to_at: LocalInstant | None


class LineOut(Out):
    """A line of an answer; the lines add up to its totals."""

    what: str
    units: int
    amount: MoneyOut


class NextBreakOut(Out):
    """How much more money reaches the next price break, and the units then."""

    add: MoneyOut
    units: int


class LeastOut(Out):
    """The least money; the least that the table can take; separate purchases, where they are cheaper together."""

    money: MoneyOut
    pay: MoneyOut | None
    split: list[MoneyOut]


class _OfferOut(Out):
    kind: OfferKind
    units: int
    spends: MoneyOut
    left: MoneyOut
    per_unit: MoneyOut | None
    lines: list[LineOut]
    least: LeastOut | None


class GamesOfferOut(_OfferOut):
    """Games for the money."""

    kind: Literal["games"]
    next_break: NextBreakOut | None


class MinutesOfferOut(_OfferOut):
    """Minutes for the money, paid first; ``ends_at``: when they run out if they are bought at the time asked about."""

    kind: Literal["minutes"]
    next_break: NextBreakOut | None
    ends_at: LocalInstant | None


class MeteredOfferOut(_OfferOut):
    """Minutes for the money, paid afterwards; ``unlimited``: the price stays within the money as far as is looked ahead."""

    kind: Literal["metered"]
    unlimited: bool


OfferOut = Annotated[GamesOfferOut | MinutesOfferOut | MeteredOfferOut, Discriminator("kind")]
"""What one kind gives for the money; ``kind`` says which of the three it is."""


class ListedOut(Out):
    """The listed answer, where the table sells something else: ``detail`` says why in a sentence."""

    detail: str
    status: Literal["open", "closed", "free"]
    opens_at: LocalInstant | None
    tariff: TariffRefOut | None
    window: WindowOut
    offers: list[OfferOut]


class QuoteOut(Out):
    """What money buys, or the least that buys it: here, then.

    ``basis`` says how it is known: settings ``found`` by a reading, a schedule ``keyed``, or what is ``listed``; ``since``
    when. Where a table sells something else than is listed, a caution says why: ``not_keyed_yet``, ``keyed_early``,
    ``keyed_elsewhere``, ``cannot_hold`` or ``found_otherwise``; ``listed`` has the listed answer. Where nothing is known of
    its controller, the answer is the listed one, with the caution ``never_keyed``.
    """

    venue_id: Id | None
    table_id: Id | None
    basis: Basis
    since: LocalInstant | None
    at: LocalInstant
    trading_on: Date
    currency: str
    money: MoneyOut | None
    status: Literal["open", "closed", "free"]
    opens_at: LocalInstant | None
    tariff: TariffRefOut | None
    window: WindowOut
    payable: bool | None
    next_payable: MoneyOut | None
    cautions: list[str]
    offers: list[OfferOut]
    listed: ListedOut | None


class PurchaseStepOut(Out):
    """The state after one event of a purchase."""

    at: LocalInstant
    kind: Literal["insert", "start"]
    granted: int
    credit: int
    left: MoneyOut
    ends_at: LocalInstant | None
    tariff: TariffRefOut | None
    caution: str | None


class _PlaceAnswerOut(Out):
    kind: Literal["purchase", "metered"]
    venue_id: Id | None
    table_id: Id | None
    basis: Basis
    since: LocalInstant | None
    currency: str
    cautions: list[str]


class QuoteAnswerOut(QuoteOut):
    """The answer to a scenario: what money buys, or the least money for a number of units."""

    kind: Literal["quote"]


class PurchaseAnswerOut(_PlaceAnswerOut):
    """The answer to a scenario of events: the state after each, and all money in = all money spent + left."""

    kind: Literal["purchase"]
    steps: list[PurchaseStepOut]
    units: int
    money: MoneyOut
    spends: MoneyOut
    left: MoneyOut
    ends_at: LocalInstant | None


class MeteredAnswerOut(_PlaceAnswerOut):
    """The answer to a scenario of metered play from one instant to another."""

    kind: Literal["metered"]
    from_at: LocalInstant
    to_at: LocalInstant
    total: MoneyOut
    minutes_billed: int
    lines: list[LineOut]


AnswerOut = Annotated[QuoteAnswerOut | PurchaseAnswerOut | MeteredAnswerOut, Discriminator("kind")]
"""The answer to a scenario; ``kind`` says which of the three it is."""


class ResultOut(Out):
    """An answer, or the problem that prevents it."""

    answer: AnswerOut | None
    problem: ProblemOut | None


class ResultsOut(Out):
    """One result a scenario, in order."""

    results: list[ResultOut]


class GridLineOut(Out):
    """What an amount buys in a window of a trading day at a venue, for one player.

    Units are null where their kind is not sold; a window is null where the venue has no prices on that day.
    ``metered_minutes`` is how long metered time lasts; null also where it is free of charge for as long as is looked
    ahead. ``…_left`` is what the purchase leaves over.
    """

    venue_id: Id
    venue: str
    currency: str
    on: Date
    window: str | None
    window_kind: EntryKind | None
    from_at: LocalInstant | None
    to_at: LocalInstant | None
    tariff: TariffRefOut | None
    status: GridStatus
    opens_at: LocalInstant | None
    amount: MoneyOut
    games: int | None
    games_left: MoneyOut | None
    minutes: int | None
    minutes_left: MoneyOut | None
    metered_minutes: int | None
    metered_left: MoneyOut | None


class PriceGridOut(Out):
    """The price grid: venues by name, their windows in time order, amounts from the smallest on."""

    items: list[GridLineOut]


class SpanOut(Out):
    """A stretch of a trading day in which one entry holds, and how that is known (``basis``).

    ``tariff`` is null where nothing is sold; its id is null where the table sells prices that no tariff has, and
    ``schedule_id`` where a reading found them.
    """

    from_at: LocalInstant
    to_at: LocalInstant
    from_local: TimeOfDay
    to_local: TimeOfDay
    name: str
    kind: EntryKind
    of: Owner
    basis: Basis
    schedule_id: Id | None
    tariff: TariffRefOut | None


class WeekDayOut(Out):
    """One trading day, resolved."""

    on: Date
    day: Weekday
    spans: list[SpanOut]


class WeekOut(Out):
    """The trading week of a date, Monday first."""

    venue_id: Id
    table_id: Id | None
    days: list[WeekDayOut]
