"""What a change of prices did, as sent: a sentence first, then the figures, then what they cannot show."""

from typing import Annotated, Literal

from pydantic import Field

from ..earnings.before_and_after import ChangeVerdict
from ..web.schema_types import Date, Id, MoneyOut, Out

Games = Annotated[str, Field(pattern=r"^-?[0-9]{1,12}\.[0-9]{2}$")]
WhyLeftOut = Literal["changed_otherwise", "too_few_weeks", "nothing_collected"]


class GamesEffectOut(Out):
    """Games a week and table more or less than without the change."""

    effect: Games | None
    interval: Annotated[list[Games] | None, Field(min_length=2, max_length=2, description="Least and most, at 90 %.")]
    verdict: ChangeVerdict


class PriceChangeSideOut(Out):
    """The mean takings a week and table of one side, before and after; null where no table has both."""

    tables: int
    before: MoneyOut | None
    after: MoneyOut | None


class PriceChangeWeekOut(Out):
    """The mean takings a table of one week, counted from the change: -1 is the week before it, 1 the week after it."""

    week: int
    changed: MoneyOut | None
    beside: MoneyOut | None


class PriceChangeTableOut(Out):
    """A table that was looked at, and the collections that its figures add up."""

    table_id: Id
    table: str
    side: Literal["changed", "beside"]
    changed_on: Annotated[Date | None, Field(description="The first whole trading day by the new prices.")]
    weeks_before: int
    weeks_after: int
    before: MoneyOut | None
    after: MoneyOut | None
    collection_ids: list[Id]


class LeftOutOut(Out):
    """A table that was not counted, and why: changed_otherwise, too_few_weeks, nothing_collected."""

    table_id: Id
    table: str
    why: WhyLeftOut


class PriceChangeOut(Out):
    """Takings a week and table more or less than without the change of prices."""

    sentence: str
    verdict: ChangeVerdict
    effect: Annotated[
        MoneyOut | None, Field(description="A week and table; an estimate. Null where a side is missing.")
    ]
    interval: Annotated[
        list[MoneyOut] | None,
        Field(min_length=2, max_length=2, description="Least and most at 90 %; null where there are too few tables."),
    ]
    currency: str
    weeks: Annotated[int, Field(description="The number of weeks looked at on each side, at most.")]
    first_changed_on: Date
    last_changed_on: Date
    games: GamesEffectOut | None
    changed: PriceChangeSideOut
    beside: PriceChangeSideOut
    by_week: list[PriceChangeWeekOut]
    tables: list[PriceChangeTableOut]
    left_out: list[LeftOutOut]
    cannot_know: list[str]
