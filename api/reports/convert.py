"""Between reports as values and as sent."""

from dataclasses import fields
from uuid import UUID

from ..pricing.money import format_money
from ..venues.dated_fact import PayeeSpell
from .schemas import (
    CarriedOut,
    FiguresOut,
    PayeeOut,
    StatementLineOut,
    StatementOut,
    ThresholdOut,
    VenueBalanceOut,
    VenueYearOut,
)
from .statement import Figures, Statement
from .year_totals import YearTotals


def _figures_out(figures: Figures, currency: str) -> FiguresOut:
    return FiguresOut(**{field.name: format_money(getattr(figures, field.name), currency) for field in fields(figures)})


def _payee_out(spell: PayeeSpell) -> PayeeOut:
    payee = spell.payee
    return PayeeOut(
        from_on=spell.from_on,
        to_on=spell.to_on,
        payee=payee.payee,
        legal_name=payee.legal_name,
        tax_number=payee.tax_number,
    )


def statement_out(found: Statement, *, venue: str) -> StatementOut:
    """Write a statement; ``venue`` is the venue's name."""

    def balance(owed: int, loan: int) -> VenueBalanceOut:
        return VenueBalanceOut(
            payable_to_venue=format_money(owed, found.currency), loan=format_money(loan, found.currency)
        )

    return StatementOut(
        venue_id=UUID(found.venue_id),
        venue=venue,
        payees=[_payee_out(spell) for spell in found.payees],
        currency=found.currency,
        from_on=found.period.from_on,
        to_on=found.period.to_on,
        opening=balance(found.opening_owed, found.opening_loan),
        lines=[
            StatementLineOut(
                number=line.number,
                on=line.on,
                kind=line.kind,
                reference=line.reference,
                figures=_figures_out(line.figures, found.currency),
                after=balance(line.owed_after, line.loan_after),
            )
            for line in found.lines
        ],
        totals=_figures_out(found.totals, found.currency),
        closing=balance(found.closing_owed, found.closing_loan),
        carried_forward=[
            CarriedOut(name=name, amount=format_money(amount, found.currency)) for name, amount in found.carried_forward
        ],
    )


def venue_year_out(totals: YearTotals, *, venue: str) -> VenueYearOut:
    """Write a venue's year under one payee."""
    threshold, currency = totals.threshold, totals.currency
    return VenueYearOut(
        venue_id=UUID(totals.venue_id),
        venue=venue,
        payee=_payee_out(totals.spell),
        currency=currency,
        figures=_figures_out(totals.figures, currency),
        total_to_venue=format_money(totals.total_to_venue, currency),
        total_to_payee=format_money(totals.total_to_payee, currency),
        threshold=threshold
        and ThresholdOut(
            amount=None if threshold.amount_minor is None else format_money(threshold.amount_minor, currency),
            form=threshold.form,
            source=threshold.source,
            mark=threshold.mark,
        ),
        over_threshold=totals.over_threshold,
    )
