"""Between reports as values and as sent."""

from dataclasses import fields
from uuid import UUID

from ..pricing.money import format_money
from .schemas import (
    CarriedOut,
    FiguresOut,
    StandingOut,
    StatementLineOut,
    StatementOut,
    ThresholdOut,
    VenueYearOut,
)
from .statement import Figures, Statement
from .year_totals import YearTotals


def _figures_out(figures: Figures, currency: str) -> FiguresOut:
    return FiguresOut(**{field.name: format_money(getattr(figures, field.name), currency) for field in fields(figures)})


def statement_out(told: Statement, *, venue: str) -> StatementOut:
    """Write a statement; ``venue`` is the venue's name."""

    def standing(owed: int, loan: int) -> StandingOut:
        return StandingOut(owed=format_money(owed, told.currency), loan=format_money(loan, told.currency))

    return StatementOut(
        venue_id=UUID(told.venue_id),
        venue=venue,
        currency=told.currency,
        from_on=told.period.from_on,
        to_on=told.period.to_on,
        opening=standing(told.opening_owed, told.opening_loan),
        lines=[
            StatementLineOut(
                number=line.number,
                on=line.on,
                kind=line.kind,
                reference=line.reference,
                figures=_figures_out(line.figures, told.currency),
                after=standing(line.owed_after, line.loan_after),
            )
            for line in told.lines
        ],
        totals=_figures_out(told.totals, told.currency),
        closing=standing(told.closing_owed, told.closing_loan),
        carried_forward=[
            CarriedOut(name=name, amount=format_money(amount, told.currency)) for name, amount in told.carried_forward
        ],
    )


def venue_year_out(totals: YearTotals, *, venue: str, legal_name: str) -> VenueYearOut:
    """Write a venue's year."""
    threshold, currency = totals.threshold, totals.currency
    return VenueYearOut(
        venue_id=UUID(totals.venue_id),
        venue=venue,
        legal_name=legal_name,
        currency=currency,
        figures=_figures_out(totals.figures, currency),
        given=format_money(totals.given, currency),
        threshold=threshold
        and ThresholdOut(
            amount=None if threshold.amount_minor is None else format_money(threshold.amount_minor, currency),
            form=threshold.form,
            source=threshold.source,
            mark=threshold.mark,
        ),
        reaches=totals.reaches,
    )
