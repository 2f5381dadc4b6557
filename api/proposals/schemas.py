"""Aims for prices, as received, and the ladders that suit them, as sent."""

from typing import Annotated

from pydantic import MISSING, Field, StrictInt

from ..pool_tables.schemas import ControllerIn
from ..pricing.lines import PrepaidKind
from ..tariffs.schemas import AdviceOut, LadderOut
from ..web.schema_types import Currency, Id, In, Money, MoneyOut, Out
from .ladder_search import LadderMeasure


class ProposalsIn(In):
    """What prices should do. Either ``table_id``, or ``currency`` and ``accepts`` and, if it has limits, ``controller``."""

    table_id: Annotated[Id | MISSING, Field(description="The table to sell at: its controller, coins and notes.")] = (
        MISSING
    )
    currency: Annotated[Currency | MISSING, Field(description="Without a table: the currency.")] = MISSING
    accepts: Annotated[
        list[Money] | MISSING,
        Field(min_length=1, max_length=50, description="Without a table: the coins and notes that it would take."),
    ] = MISSING
    controller: Annotated[
        ControllerIn | MISSING, Field(description="Without a table: what its controller can hold.")
    ] = MISSING
    kind: Annotated[PrepaidKind | MISSING, Field(description="What to sell; absent: games.")] = MISSING
    least_an_hour: Annotated[
        Money, Field(description="The least that an hour played without a break should bring.", examples=["12.00"])
    ]
    minutes_a_game: Annotated[
        StrictInt | MISSING, Field(ge=1, le=240, description="Minutes that a game takes; needed for games.")
    ] = MISSING
    mostly: Annotated[
        list[Money] | MISSING,
        Field(
            min_length=1, max_length=10, description="Coins and notes that players mostly put in: none leaves a rest."
        ),
    ] = MISSING
    first_price_max: Annotated[
        Money | MISSING, Field(description="The most that the first price may be; absent: the smallest of mostly.")
    ] = MISSING
    highest_price: Annotated[
        Money | MISSING, Field(description="The most that any price may be; absent: the largest of mostly.")
    ] = MISSING
    prices_max: Annotated[StrictInt | MISSING, Field(ge=1, le=6, description="The most prices; absent: 3.")] = MISSING


class ProposalOut(Out):
    """A ladder that meets the aims: why it is proposed, explained line by line, and what it gives up."""

    best_by: list[LadderMeasure]
    why: list[str]
    ladder: LadderOut
    least_an_hour: Annotated[MoneyOut, Field(description="The least that an hour at full use brings.")]
    lines: list[str]
    gives_up: list[str]
    advice: list[AdviceOut]


class ProposalsOut(Out):
    """Ladders that suit the aims. Nothing is published."""

    sentence: str
    currency: str
    kind: PrepaidKind
    searched: int
    met: int
    proposals: list[ProposalOut]
    cannot_know: list[str]
