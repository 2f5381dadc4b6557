"""Reports as sent."""

from typing import Literal

from ..web.schema_types import Count, Currency, Date, Id, Instant, MoneyOut, Out


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

    chart: Literal["ewma", "cusum"]
    side: Literal["over", "short"]
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
    """Taxes by area and period, of the collections that stand."""

    from_on: Date
    to_on: Date
    items: list[TaxLineOut]
    notice: str


class FiguresOut(Out):
    """What entries say about one venue. ``share`` is before the loan; ``returned`` its refunds and house money."""

    counted: MoneyOut
    tax: MoneyOut
    first_money: MoneyOut
    share: MoneyOut
    returned: MoneyOut
    loan_repaid: MoneyOut
    paid: MoneyOut
    brought_in: MoneyOut
    loan_advanced: MoneyOut
    loan_brought_in: MoneyOut
    loan_written_off: MoneyOut


class StandingOut(Out):
    """What a venue is owed, and what it owes of its loans."""

    owed: MoneyOut
    loan: MoneyOut


class StatementLineOut(Out):
    """One entry as the venue sees it, and how things stand after it."""

    number: Count
    on: Date
    kind: str
    reference: str
    figures: FiguresOut
    after: StandingOut


class CarriedOut(Out):
    """What waits to be taken first from later collections."""

    name: str
    amount: MoneyOut


class StatementOut(Out):
    """A venue's statement: opening + brought in + share + returned − loan repaid − paid = closing."""

    venue_id: Id
    venue: str
    currency: str
    from_on: Date
    to_on: Date
    opening: StandingOut
    lines: list[StatementLineOut]
    totals: FiguresOut
    closing: StandingOut
    carried_forward: list[CarriedOut]


class ThresholdOut(Out):
    """From what total a year's payments to one payee are reported, by which form, and who says so."""

    amount: MoneyOut | None
    form: str
    source: str
    mark: str


class VenueYearOut(Out):
    """One venue's year. ``given`` is what it got of its own; ``reaches`` is null where no threshold is known."""

    venue_id: Id
    venue: str
    legal_name: str
    currency: str
    figures: FiguresOut
    given: MoneyOut
    threshold: ThresholdOut | None
    reaches: bool | None


class YearReportOut(Out):
    """Every venue's year, for the year's tax form. Arithmetic on what was entered: no tax advice."""

    year: int
    items: list[VenueYearOut]
