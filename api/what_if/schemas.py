"""Two lists of prices to compare, as received, and the comparison, as sent: a sentence, figures, what they cannot show."""

from typing import Annotated

from pydantic import MISSING, Field, StrictInt

from ..pricing.lines import PrepaidKind
from ..tariffs.schemas import TariffIn
from ..web.schema_types import Date, Id, In, Money, MoneyOut, Out

Elasticity = Annotated[
    str,
    Field(
        pattern=r"^-?[0-9](\.[0-9]{1,3})?$",
        description="Change of play in per cent for each per cent by which the price rises, from -9.999 to 0; 0: none.",
        examples=["-0.8"],
    ),
]
PercentOut = Annotated[str, Field(pattern=r"^-?[0-9]{1,12}\.[0-9]$")]
GamesAtPace = Annotated[str, Field(pattern=r"^[0-9]{1,16}\.[0-9]$")]


class PricesIn(In):
    """One list of prices: exactly one of a published tariff, a draft of one, and a published schedule."""

    tariff_id: Annotated[Id | MISSING, Field(description="A published tariff.")] = MISSING
    tariff: Annotated[TariffIn | MISSING, Field(description="A draft of a tariff.")] = MISSING
    schedule_id: Annotated[Id | MISSING, Field(description="A published schedule, with its weekly windows.")] = MISSING


class WhatIfIn(In):
    """Two lists of prices, and the intake to compare them by: that of one venue or one table."""

    current: Annotated[PricesIn, Field(description="The prices to compare with.")]
    other: Annotated[PricesIn, Field(description="The prices to compare.")]
    venue_id: Annotated[Id | MISSING, Field(description="Compare by the intake of this venue.")] = MISSING
    table_id: Annotated[Id | MISSING, Field(description="Instead: compare by the intake of this table.")] = MISSING
    from_: Annotated[Date, Field(alias="from", description="The first trading date on which a box was emptied.")]
    to: Annotated[Date, Field(description="The trading date after the last one.")]
    amounts: (
        Annotated[
            list[Money],
            Field(
                min_length=1,
                max_length=50,
                description="The amounts to compare; absent: the coins and notes of the intake and all prices.",
            ),
        ]
        | MISSING
    ) = MISSING
    elasticity: Elasticity | MISSING = MISSING
    minutes_a_game: (
        Annotated[StrictInt, Field(ge=1, le=240, description="Minutes that a game takes: compares games with minutes.")]
        | MISSING
    ) = MISSING


class AmountUnderBothOut(Out):
    """What an amount buys in one purchase under each list, and the money left over."""

    amount: MoneyOut
    current_units: int
    current_left: MoneyOut
    other_units: int
    other_left: MoneyOut
    current_games: Annotated[GamesAtPace | None, Field(description="At the pace stated; null without one.")]
    other_games: GamesAtPace | None


class IntakeUnderBothOut(Out):
    """What the intake buys under each list: piece by piece, and at most, all of it at the best price."""

    taken_in: MoneyOut
    current_units: int
    other_units: int
    current_units_at_most: int
    other_units_at_most: int
    break_even_percent: Annotated[
        PercentOut | None,
        Field(description="Share of play that may be lost; below 0: growth needed. Null where one buys nothing."),
    ]
    play_percent: Annotated[
        PercentOut | None, Field(description="Change of play at the elasticity assumed; null without one.")
    ]
    takings: Annotated[MoneyOut | None, Field(description="Takings at the elasticity assumed; null without one.")]
    takings_change: MoneyOut | None


class PieceCountOut(Out):
    """So many coins or notes of a denomination."""

    denomination: MoneyOut
    count: int


class PriceToHandleOut(Out):
    """A price of a list, and the fewest coins and notes that pay it; null where they cannot pay it exactly."""

    price: MoneyOut
    units: int
    pieces: list[PieceCountOut] | None


class KindComparedOut(Out):
    """One kind under each list."""

    current_kind: PrepaidKind
    other_kind: PrepaidKind
    sentence: str
    amounts: list[AmountUnderBothOut]
    intake: IntakeUnderBothOut
    current_prices: list[PriceToHandleOut]
    other_prices: list[PriceToHandleOut]


class WindowComparedOut(Out):
    """What both lists sell at some times of the week; null: nothing is sold."""

    when: Annotated[str, Field(description="Days and times of the trading week, such as mon-thu 15:00-18:00.")]
    minutes_a_week: int
    current: str | None
    other: str | None
    kinds: list[KindComparedOut]


class WhatIfOut(Out):
    """Two lists of prices side by side."""

    sentence: str
    currency: str
    from_: Annotated[Date, Field(alias="from")]
    to: Date
    taken_in: MoneyOut
    pieces: Annotated[list[PieceCountOut], Field(description="Coins and notes counted at that time.")]
    games: Annotated[int, Field(description="Games counted by the meters of the same boxes.")]
    windows: list[WindowComparedOut]
    assumed: list[str]
    cannot_know: list[str]
    collection_ids: list[Id]
