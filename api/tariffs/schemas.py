"""Tariffs as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, StrictInt
from pydantic import Field as Limits

from ..pricing.ladder import Counting
from ..pricing.rate import Per, TierMode
from ..web.schema_types import Currency, Id, In, Instant, Money, MoneyOut, Name, Out, PageOf

TariffCode = Annotated[
    str, Limits(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$", description="A short name of its own.")
]

UnitsIn = Annotated[StrictInt, Limits(ge=1, le=100_000)]
MinutesIn = Annotated[StrictInt, Limits(ge=1, le=525_600)]


class PriceIn(In):
    """An amount and the games or minutes that it buys."""

    price: Annotated[Money, Limits(description="What these units cost, as a decimal string.", examples=["4.00"])]
    units: Annotated[UnitsIn, Limits(description="How many games or minutes the price buys.")]


class LadderIn(In):
    """Prices, cheapest first, each buying more than the one before; the first is the plain price."""

    prices: Annotated[
        list[PriceIn], Limits(min_length=1, max_length=50, description="Prices, strictly rising, and their units.")
    ]
    counting: (
        Annotated[
            Counting,
            Limits(
                description="How the controller counts the money of one purchase. repeat (the default): the highest price "
                "that the money reaches is sold, and the rest starts from the first price. climb: each price is reached "
                "once, money between prices buys at the first, and from the top price the count starts over. climb_once: "
                "as climb, but past the top price only the first price follows."
            ),
        ]
        | MISSING
    ) = MISSING


class TierIn(In):
    """A price from an elapsed minute on: under ``add`` for every ``per_minutes``, under ``set`` for the whole time."""

    from_minutes: Annotated[StrictInt, Limits(ge=0, le=525_600)]
    price: Money
    per_minutes: MinutesIn | MISSING = MISSING
    step_minutes: MinutesIn | MISSING = MISSING


class MaximumIn(In):
    """The most that the whole play costs, or each period of ``per_minutes``."""

    amount: Money
    per_minutes: MinutesIn | MISSING = MISSING


class MeteredIn(In):
    """Time paid afterwards."""

    tiers: Annotated[list[TierIn], Limits(min_length=1, max_length=50)]
    tier_mode: TierMode | MISSING = MISSING
    start_fee: Money | MISSING = MISSING
    per: Per | MISSING = MISSING
    minimum: Money | MISSING = MISSING
    maximum: MaximumIn | MISSING = MISSING


class TariffIn(In):
    """A tariff to publish: games, minutes and metered time, any of them, or free."""

    code: TariffCode
    name: Name
    currency: Currency
    games: LadderIn | MISSING = MISSING
    minutes: LadderIn | MISSING = MISSING
    metered: MeteredIn | MISSING = MISSING
    free: Literal[True] | MISSING = MISSING


class PriceOut(Out):
    """A price, and the units that it buys."""

    price: MoneyOut
    units: int


class LadderOut(Out):
    """A prepaid ladder."""

    prices: list[PriceOut]
    counting: Counting


class TierOut(Out):
    """A tier of metered time; under ``set`` without the last two."""

    from_minutes: int
    price: MoneyOut
    per_minutes: int | None
    step_minutes: int | None


class MaximumOut(Out):
    """The most that the whole play costs, or each period of ``per_minutes``."""

    amount: MoneyOut
    per_minutes: int | None


class MeteredOut(Out):
    """Time paid afterwards."""

    start_fee: MoneyOut
    tier_mode: TierMode
    per: Per
    tiers: list[TierOut]
    minimum: MoneyOut
    maximum: MaximumOut | None


class AdviceOut(Out):
    """Something worth knowing about a tariff: the case, what it is compared with, the purchases that do better."""

    code: str
    kind: Literal["games", "minutes", "metered"]
    detail: str
    amount: MoneyOut | None
    units: int | None
    instead_amount: MoneyOut | None
    instead_units: int | None
    parts: list[MoneyOut]


class TariffCheckOut(Out):
    """A tariff that could be published, and advice about it."""

    code: str
    name: str
    currency: str
    free: bool
    games: LadderOut | None
    minutes: LadderOut | None
    metered: MeteredOut | None
    advice: list[AdviceOut]


class TariffOut(TariffCheckOut):
    """A published version of a tariff."""

    id: Id
    version: int
    published_at: Instant


class TariffPage(PageOf[TariffOut]):
    """A page of tariffs."""


class CountingObservationIn(In):
    """One purchase as somebody made it at the table, with nothing left in it from before."""

    inserted: Annotated[
        list[Money],
        Limits(min_length=1, max_length=50, description="The coins and notes put in, in order.", examples=[["3.00"]]),
    ]
    shown: Annotated[
        list[Annotated[StrictInt, Limits(ge=0, le=1_000_000)]],
        Limits(
            min_length=1,
            max_length=50,
            description="The games or minutes that the table showed, none of them played yet: one number after each coin, "
            "or a single number at the end.",
            examples=[[4]],
        ),
    ]


class CountingSettingsIn(In):
    """Prices that may be in the controller."""

    prices: Annotated[
        list[PriceIn], Limits(min_length=1, max_length=50, description="Prices, strictly rising, and their units.")
    ]
    counting: (
        Annotated[Counting, Limits(description="The way of counting, where it is known; absent: all ways are tried.")]
        | MISSING
    ) = MISSING


class CountingCheckIn(In):
    """What somebody saw at a table, and the settings that its controller may have."""

    currency: Annotated[Currency, Limits(description="ISO 4217 code of the amounts.", examples=["USD"])]
    settings: (
        Annotated[
            list[CountingSettingsIn],
            Limits(
                min_length=1,
                max_length=20,
                description="The settings that the controller may have; absent: prices are read from the observations.",
            ),
        ]
        | MISSING
    ) = MISSING
    observations: Annotated[
        list[CountingObservationIn],
        Limits(max_length=20, description="Purchases made at the table; none yet asks for the first sum to put in."),
    ]
    accepts: (
        Annotated[
            list[Money],
            Limits(
                min_length=1,
                max_length=50,
                description="The coins and notes that the table takes: the next sum is then one that they make up.",
            ),
        ]
        | MISSING
    ) = MISSING


class CountingCandidateOut(Out):
    """Prices counted one way; ``settings`` is the index of the settings sent, null where prices were read from sums."""

    settings: int | None
    counting: Counting
    prices: list[PriceOut]


class CountingRuledOutOut(CountingCandidateOut):
    """A candidate that cannot be, and the observation that rules it out: which one, its money, the units shown there and
    the units that this candidate would have shown. The last five are null where no controller can count these prices so.
    """

    detail: str
    observation: int | None
    coin: int | None
    money: MoneyOut | None
    shown: int | None
    expected: int | None


class CountingOutcomeOut(Out):
    """If the table then shows ``units``, these of the candidates that fit (by index) remain."""

    units: int
    fits: list[int]


class CountingNextSumOut(Out):
    """The cheapest sum that tells the remaining candidates apart, and what each number shown would say."""

    money: MoneyOut
    outcomes: list[CountingOutcomeOut]


class CountingCheckOut(Out):
    """The candidates that fit everything that was seen, those ruled out, and the next sum to put in, null if none helps."""

    detail: str
    fits: list[CountingCandidateOut]
    ruled_out: list[CountingRuledOutOut]
    next_sum: CountingNextSumOut | None
