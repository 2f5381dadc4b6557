"""How tables are played, as sent: counts of meters, what a game or a minute brought, and what was bought at each price."""

from typing import Annotated, Literal

from pydantic import Field

from ..pricing.lines import PrepaidKind
from ..web.schema_types import Date, Id, Instant, MoneyOut, Out
from .played import WhyPrices, WhyWindow

ShareOut = Annotated[str, Field(pattern=r"^[0-9]{1,3}\.[0-9]$")]
MoneyAUnit = Annotated[
    str,
    Field(
        pattern=r"^[0-9]{1,16}(\.[0-9]{1,6})?$",
        description="money ÷ money_units, to a hundredth of the smallest unit of money, halves up.",
    ),
]


class PriceBoughtOut(Out):
    """A price, how many times it was bought, and its share of the units whose prices are known: the least and the most."""

    price: MoneyOut
    units: int
    times_least: int
    times_most: int
    share_percent_least: ShareOut | None
    share_percent_most: ShareOut | None


class PriceUnknownOut(Out):
    """Units of which nobody can tell at what price they were bought, and why."""

    verdict: Literal["cannot_tell"]
    why: WhyPrices
    units: int


class PlayInWindowOut(Out):
    """What was counted between readings that both lie in one window."""

    window: str
    units: int
    money_units: Annotated[int, Field(description="The units between readings whose money was counted too.")]
    money: MoneyOut | None
    money_a_unit: MoneyAUnit | None


class WindowUnknownOut(Out):
    """Units of which nobody can tell in which window they were played, and why."""

    verdict: Literal["cannot_tell"]
    why: WhyWindow
    units: int


class PlayFiguresOut(Out):
    """Games or minutes, the money paid for them, and how both are divided over prices and windows."""

    counted: Annotated[int, Field(description="Games or minutes by the meter, with those started to test.")]
    money: Annotated[MoneyOut | None, Field(description="Put in between readings whose money was counted too.")]
    money_units: Annotated[int, Field(description="Games or minutes sold between the same readings.")]
    money_a_unit: Annotated[MoneyAUnit | None, Field(description="Money per game or minute, as counted.")]
    prices: list[PriceBoughtOut]
    prices_told: Annotated[int, Field(description="The units that the shares of the prices refer to.")]
    prices_unknown: list[PriceUnknownOut]
    windows: list[PlayInWindowOut]
    windows_unknown: list[WindowUnknownOut]


class PlayOfMeterOut(PlayFiguresOut):
    """The figures of one meter, and what they rest on."""

    meter: str
    readings: Annotated[int, Field(description="Readings of this meter in the period, at the table.")]
    from_at: Annotated[Instant | None, Field(description="The first of them; null where there are fewer than two.")]
    to_at: Annotated[Instant | None, Field(description="The last of them.")]
    steps_unknown: Annotated[
        int, Field(description="Times between two readings that count for nothing: the meter went down or was reset.")
    ]
    money_by: Annotated[
        Literal["money_meter", "boxes"] | None, Field(description="Who counted the money; null where nobody did.")
    ]
    money_meter: str | None
    collection_ids: Annotated[list[Id], Field(description="The boxes whose money it is.")]


class PlayOfTableOut(Out):
    """One table while it stood at one venue; null where it has no such meter."""

    table_id: Id
    table: str
    venue_id: Id
    venue: str
    currency: str
    games: PlayOfMeterOut | None
    minutes: PlayOfMeterOut | None


class PlayTotalOut(PlayFiguresOut):
    """All tables of one currency by one kind of meter; currencies and kinds are never added."""

    currency: str
    kind: PrepaidKind


class PlayOut(Out):
    """How tables were played in the trading days from ``from`` up to, not including, ``to``."""

    from_: Annotated[Date, Field(alias="from")]
    to: Date
    rows: list[PlayOfTableOut]
    totals: list[PlayTotalOut]
    notice: str
