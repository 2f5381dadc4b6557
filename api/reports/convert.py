"""Between reports as values and as sent."""

from collections.abc import Sequence
from dataclasses import fields
from datetime import date, timedelta
from uuid import UUID

from ..collections.rows import CollectionRow
from ..pricing.money import format_money
from ..venues.dated_fact import PayeeSpell
from .cash_in_hand import Bag, CashInHand, Left, Unassigned, open_bags
from .schemas import (
    BagOut,
    CarriedOut,
    CashInHandOut,
    CashTotalOut,
    FiguresOut,
    NotInTheBooksOut,
    PayeeOut,
    PersonCashOut,
    StatementLineOut,
    StatementOut,
    ThresholdOut,
    UnassignedCashOut,
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
        departed_on=found.departed_on,
        last_word=found.last_word,
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


def cash_in_hand_out(
    found: CashInHand, unsettled: Sequence[CollectionRow], *, person: str | None, bank_within_days: int, today: date
) -> CashInHandOut:
    """Write cash in hand, of one ``person`` alone or of all."""
    left = [one for one in found.left if person in (None, one.filling.person)]
    unassigned = found.unassigned if person is None else ()
    bags = open_bags(left)
    sums: dict[tuple[str, str], int] = {}
    for bag in bags:
        sums[bag.person, bag.currency] = sums.get((bag.person, bag.currency), 0) + bag.in_hand
    return CashInHandOut(
        bank_within_days=bank_within_days,
        totals=_cash_totals(left, unassigned),
        persons=[
            PersonCashOut(person=name, currency=currency, in_hand=format_money(amount, currency))
            for (name, currency), amount in sums.items()
        ],
        bags=[_bag_out(bag, bank_by=bag.first.on + timedelta(days=bank_within_days), today=today) for bag in bags],
        unassigned=[
            UnassignedCashOut(
                entry_id=one.entry.id,
                kind=one.entry.kind,
                on=one.entry.on,
                currency=one.entry.currency,
                amount=format_money(one.amount, one.entry.currency),
                bags=list(one.entry.bags),
                reference=one.entry.reference,
            )
            for one in unassigned
        ],
        not_in_the_books=[
            NotInTheBooksOut(
                collection_id=row.id,
                venue_id=row.venue_id,
                person=row.collector,
                bag=row.bag,
                currency=row.currency,
                counted=format_money(row.counted_minor, row.currency),
                collected_at=row.collected_at,
            )
            for row in unsettled
        ],
    )


def _cash_totals(left: Sequence[Left], unassigned: Sequence[Unassigned]) -> list[CashTotalOut]:
    in_bags, without = CashInHand(tuple(left), ()).totals(), CashInHand((), tuple(unassigned)).totals()
    return [
        CashTotalOut(
            currency=currency,
            in_bags=format_money(in_bags.get(currency, 0), currency),
            unassigned=format_money(without.get(currency, 0), currency),
            total=format_money(in_bags.get(currency, 0) + without.get(currency, 0), currency),
        )
        for currency in sorted({*in_bags, *without})
    ]


def _bag_out(bag: Bag, *, bank_by: date, today: date) -> BagOut:
    return BagOut(
        person=bag.person,
        bag=bag.name,
        currency=bag.currency,
        filled=format_money(bag.filled, bag.currency),
        banked=format_money(bag.filled - bag.in_hand, bag.currency),
        in_hand=format_money(bag.in_hand, bag.currency),
        first_collected_at=bag.first.collected_at,
        bank_by=bank_by,
        late=today > bank_by,
        collections=[one.filling.collection_id for one in bag.left],
        venue_ids=list(dict.fromkeys(one.filling.venue_id for one in bag.left)),
    )
