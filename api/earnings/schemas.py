"""Earnings as sent: every figure a decimal string of its currency, every row with what it adds up."""

from datetime import date as calendar_date
from typing import Annotated, Literal

from pydantic import Field

from ..web.schema_types import Date, Id, MoneyOut, Out, WrittenId

GroupingName = Literal["table", "venue", "agreement", "week", "month", "year", "denomination"]
SharePercent = Annotated[str, Field(pattern=r"^-?[0-9]{1,12}\.[0-9]$")]
WeeksText = Annotated[str, Field(pattern=r"^[0-9]{1,9}\.[0-9]{2}$")]


class EarningsAmountsOut(Out):
    """What was earned in a period: gross = refunds + tax + venue_share + operator_share; profit = operator_share − expenses."""

    gross: MoneyOut
    refunds: Annotated[MoneyOut, Field(description="Refunds, house money and test money given back.")]
    tax: MoneyOut
    venue_share: MoneyOut
    operator_share: MoneyOut
    unsettled: Annotated[MoneyOut, Field(description="Part of the gross that no agreement has divided yet.")]
    expenses: MoneyOut
    profit: MoneyOut
    games: Annotated[int, Field(description="Games counted by the meters.")]
    minutes: Annotated[int, Field(description="Minutes counted by the meters.")]
    table_weeks: Annotated[WeeksText, Field(description="Weeks of tables that the money belongs to, to two decimals.")]


class EarningsRowOut(EarningsAmountsOut):
    """One row; fields that it is not grouped by are null."""

    currency: str
    table_id: Id | None
    table: str | None
    venue_id: Id | None
    venue: str | None
    agreement_id: Annotated[Id | None, Field(description="The agreement by which the money was divided.")]
    week: Annotated[calendar_date | None, Field(description="The Monday of the week.")]
    month: str | None
    year: str | None
    denomination: MoneyOut | None
    before: Annotated[EarningsAmountsOut | None, Field(description="The period compared with, if one was asked for.")]
    gross_change_percent: Annotated[SharePercent | None, Field(description="Null where there was no gross before.")]
    collection_ids: list[WrittenId]
    entry_ids: Annotated[list[WrittenId], Field(description="The entries of the ledger that book these collections.")]
    expense_entry_ids: list[Id]


class EarningsTotalOut(EarningsAmountsOut):
    """The whole of one currency: amounts of different currencies are never added."""

    currency: str


class NotYetCollectedOut(Out):
    """Days of a table whose money is still in its box, and an estimate of it at the table's usual rate."""

    table_id: Id
    table: str
    venue_id: Id
    from_: Annotated[Date, Field(alias="from")]
    to: Annotated[Date, Field(description="Exclusive.")]
    currency: str
    estimate: Annotated[MoneyOut | None, Field(description="An estimate, not a count; null without a usual rate.")]


class EarningsOut(Out):
    """Earnings of the trading days from ``from`` up to, not including, ``to``."""

    from_: Annotated[Date, Field(alias="from")]
    to: Date
    by: list[GroupingName]
    rows: list[EarningsRowOut]
    totals: list[EarningsTotalOut]
    not_yet_collected: list[NotYetCollectedOut]
    notice: str


class PlacedTableOut(Out):
    """A table with its place among those of its currency, and possible reasons for it."""

    table_id: Id
    table: str
    venue_id: Id
    venue: str
    place: Annotated[int, Field(description="1 is the table that takes in most a week.")]
    a_week: Annotated[MoneyOut, Field(description="Takings a week, less refunds.")]
    gross: MoneyOut
    games: int
    table_weeks: WeeksText
    first_price: Annotated[
        MoneyOut | None, Field(description="The first price of the tariff that it sells for most hours a week.")
    ]
    hours_sold: Annotated[str | None, Field(description="Hours a week in which it sells, to one decimal.")]
    days_out_of_order: str
    why: list[str]
    collection_ids: list[Id]


class RankingOut(Out):
    """The best and the worst tables of one currency; the very worst first."""

    currency: str
    tables: int
    middle_a_week: MoneyOut
    best: list[PlacedTableOut]
    worst: list[PlacedTableOut]


class BestAndWorstOut(Out):
    """Tables by what a week of theirs takes in."""

    from_: Annotated[Date, Field(alias="from")]
    to: Date
    rankings: list[RankingOut]
    notice: str
