"""Reports as sent."""

from typing import Annotated

from pydantic import Field as Limits

from ..web.schema_types import Count, Currency, Date, Id, Instant, MoneyOut, Out
from .over_and_short import ChartName, Side


class PointOut(Out):
    """One collection of a chart: its difference as per cent of the expectation, and the charts' values after it."""

    collection_id: Id
    collected_at: Instant
    currency: str
    expected: MoneyOut
    counted: MoneyOut
    difference: MoneyOut
    difference_percent: str
    ewma_percent: str | None
    cusum_high_percent: str | None
    cusum_low_percent: str | None


class SignalOut(Out):
    """One chart's first crossing on one side, and the first collection it points to."""

    chart: ChartName
    side: Side
    seen_at: Id
    points_to: Id
    detail: str


class DifferencesOut(Out):
    """Differences of a table or a collector, charted: a reason to look, never an accusation."""

    table_id: Id | None
    collector: str | None
    points: list[PointOut]
    sigma_percent: str | None
    ewma_limit_percent: str | None
    cusum_limit_percent: str | None
    signals: list[SignalOut]
    notice: str
    why_no_chart: str | None


class TaxLineOut(Out):
    """The tax taken out in one area, at one rate, in one calendar month of trading dates."""

    tax_area: str
    name: str
    rate: str
    month: str
    currency: Currency
    collections: int
    taxed: MoneyOut
    tax: MoneyOut


class TaxReportOut(Out):
    """Taxes by area and period, of collections that were not reversed."""

    from_on: Date
    to_on: Date
    items: list[TaxLineOut]
    notice: str


class FiguresOut(Out):
    """Sums of entries that concern one venue. `venue_share` is before the loan's repayment."""

    counted: MoneyOut
    tax: MoneyOut
    first_money: MoneyOut
    venue_share: MoneyOut
    refunds_and_house_money: MoneyOut
    loan_repaid: MoneyOut
    paid_to_venue: MoneyOut
    opening_balance: MoneyOut
    loan_advanced: MoneyOut
    loan_opening_balance: MoneyOut
    loan_written_off: MoneyOut


class VenueBalanceOut(Out):
    """The balance payable to a venue, and the loan that it has not yet repaid."""

    payable_to_venue: MoneyOut
    loan: MoneyOut


class StatementLineOut(Out):
    """One entry as the venue sees it, and the balances after it."""

    number: Count
    on: Date
    kind: str
    reference: str
    figures: FiguresOut
    after: VenueBalanceOut


class CarriedOut(Out):
    """An amount to be taken first from later collections."""

    name: str
    amount: MoneyOut


class PayeeOut(Out):
    """Whom the venue's money goes to, from a date to a date, both included; what is not known is empty."""

    from_on: Date
    to_on: Date
    payee: str
    legal_name: str
    tax_number: str


class StatementOut(Out):
    """A venue's statement.

    Opening + opening balances + venue's share + refunds and house money − loan repaid − paid to the venue = closing.
    """

    venue_id: Id
    venue: str
    payees: list[PayeeOut]
    currency: str
    from_on: Date
    to_on: Date
    opening: VenueBalanceOut
    lines: list[StatementLineOut]
    totals: FiguresOut
    closing: VenueBalanceOut
    carried_forward: list[CarriedOut]
    departed_on: Annotated[Date | None, Limits(description="The last trading date of a venue that has left the route.")]
    last_word: Annotated[
        str | None,
        Limits(description="Of a venue that had left by the end of the period: what is still owed either way."),
    ]


class ThresholdOut(Out):
    """The total from which a year's payments to one payee are reported, by which form, and the source of the figure."""

    amount: MoneyOut | None
    form: str
    source: str
    mark: str


class VenueYearOut(Out):
    """One venue's year under one payee. `total_to_venue` is what the venue got of its own.

    `total_to_payee` adds up all venues of the payee; `over_threshold` compares it with the threshold, null where none is
    known.
    """

    venue_id: Id
    venue: str
    payee: PayeeOut
    currency: str
    figures: FiguresOut
    total_to_venue: MoneyOut
    total_to_payee: MoneyOut
    threshold: ThresholdOut | None
    over_threshold: bool | None


class YearReportOut(Out):
    """Every venue's year, for the year's tax form. Arithmetic on what was entered: no tax advice."""

    year: int
    items: list[VenueYearOut]


class BagOut(Out):
    """A bag that is not banked, or not all of it; ``bag`` is empty where collections named none:
    a deposit then names each of these collections by its id.
    """

    person: str
    bag: str
    currency: str
    filled: Annotated[MoneyOut, Limits(description="Cash put in by collections that are not fully banked.")]
    banked: Annotated[MoneyOut, Limits(description="Cash taken out again by deposits and write-offs that name it.")]
    in_hand: MoneyOut
    first_collected_at: Annotated[Instant, Limits(description="When the first of those collections was made.")]
    bank_by: Annotated[Date, Limits(description="The date by which it is to be banked.")]
    late: bool
    collections: list[Id]
    venue_ids: list[Id]


class PersonCashOut(Out):
    """What a person has in hand, in one currency."""

    person: str
    currency: str
    in_hand: MoneyOut


class UnassignedCashOut(Out):
    """An entry, or the part of one, that no bag explains: below zero it was banked or written off without a bag."""

    entry_id: Id
    kind: str
    on: Date
    currency: str
    amount: MoneyOut
    bags: list[str]
    reference: str


class CashTotalOut(Out):
    """The balance of cash in bags in the books, in one currency: in bags and unassigned together."""

    currency: str
    in_bags: MoneyOut
    unassigned: MoneyOut
    total: MoneyOut


class NotInTheBooksOut(Out):
    """A collection that has not been settled: its cash is in hand, and not in the books yet."""

    collection_id: Id
    venue_id: Id
    person: str
    bag: str
    currency: str
    counted: MoneyOut
    collected_at: Instant


class CashInHandOut(Out):
    """Cash in hand by person and by bag, what no bag explains, and the totals, which are those of the books.

    A collector's answer has their own bags alone; its totals are of these.
    """

    bank_within_days: int
    totals: list[CashTotalOut]
    persons: list[PersonCashOut]
    bags: list[BagOut]
    unassigned: list[UnassignedCashOut]
    not_in_the_books: list[NotInTheBooksOut]
