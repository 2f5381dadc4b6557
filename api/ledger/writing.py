"""Writes the books as messages: entries, balances, statements and years; minor units become decimal strings."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from uuid import UUID

from api.ledger.accounts import ACCOUNTS
from api.ledger.chain import Bad
from api.ledger.extract import Balances
from api.ledger.journal import Entry
from api.ledger.models import (
    AccountBalanceOut,
    AccountNamesOut,
    AccountOut,
    BadEntryOut,
    CarriedOut,
    EntryOut,
    FiguresOut,
    PostedEntryOut,
    PostingOut,
    StandingOut,
    StatementLineOut,
    StatementOut,
    ThresholdOut,
    VenueYearOut,
)
from api.ledger.posting import Leaf, Posting
from api.ledger.statement import Figures, Statement
from api.ledger.year_totals import YearTotals
from api.pricing.money import format_money


def entry_out(entry: Entry) -> EntryOut:
    """Write an entry."""
    return EntryOut(
        number=entry.number,
        id=UUID(entry.id),
        kind=entry.kind,
        on=entry.on,
        recorded_at=entry.recorded_at,
        currency=entry.currency,
        venue_id=_id(entry.venue_id),
        postings=[_posting_out(posting, entry.currency) for posting in entry.postings],
        reference=entry.reference,
        source_id=_id(entry.source_id),
        previous_hash=entry.previous_hash,
        hash=entry.hash,
    )


def posted_out(entry: Entry, cautions: Iterable[str]) -> PostedEntryOut:
    """Write an entry that was just posted, with what is odd about it."""
    return PostedEntryOut(**entry_out(entry).model_dump(), cautions=list(cautions))


def _posting_out(posting: Posting, currency: str) -> PostingOut:
    amount = format_money(posting.amount_minor, currency)
    return PostingOut(account=posting.account, venue_id=_id(posting.venue_id), amount=amount)


def _id(text: str | None) -> UUID | None:
    return None if text is None else UUID(text)


def balance_code(leaf: Leaf, currency: str) -> str:
    """Return a balance in one word, by which a list goes on after it: ``bank:USD``."""
    return f"{leaf.code}:{currency}"


def balances_out(balances: Balances) -> Iterator[tuple[str, AccountBalanceOut]]:
    """Yield every balance with its code, in the order of the chart, then the venue's id, then the currency."""
    for leaf, currency in sorted(balances, key=lambda key: (key[0].place, key[1])):
        account = ACCOUNTS[leaf.account]
        yield (
            balance_code(leaf, currency),
            AccountBalanceOut(
                account=account.code,
                root=account.root,
                holds=account.holds,
                venue_id=_id(leaf.venue_id),
                currency=currency,
                balance=format_money(balances[leaf, currency], currency),
            ),
        )


def bad_out(bad: Bad) -> BadEntryOut:
    """Write the first bad entry: what it shows may be anything."""
    return BadEntryOut(place=bad.place, number=str(bad.number), id=str(bad.id), why=bad.why)


def names_out(names: Mapping[str, str]) -> AccountNamesOut:
    """Write the operator's names of accounts beside the chart."""
    chart = [AccountOut(code=a.code, root=a.root, per_venue=a.per_venue, holds=a.holds) for a in ACCOUNTS.values()]
    missing = [code for code in ACCOUNTS if code not in names]
    return AccountNamesOut(names=dict(names), missing=missing, accounts=chart)


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
