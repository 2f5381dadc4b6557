"""A venue's statement over a period, as values: what was payable to it, what each entry changed, what is payable now.

- opening + opening balances + venue's share + refunds and house money − loan repaid − paid to the venue = closing, per
  line and in all.
- The loan: opening + opening balances + advanced − repaid − written off = closing.
- A reversal is a line of its own with every amount below zero; no entry is left out (L1).
- All amounts come from the entries themselves (L2); the caller adds what settlements carried forward, and the payees of
  the period (L6).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date

from ..ledger.entry import Entry
from ..ledger.export.period import ExportPeriod
from ..ledger.posting import Posting, mirror
from ..pricing.errors import domain_error
from ..pricing.money import format_money
from ..venues.dated_fact import PayeeSpell
from ..venues.dates_in_words import date_in_words


@dataclass(frozen=True, slots=True)
class Figures:
    """Sums of entries that concern one venue, in minor units.

    ``venue_share`` is before the loan's repayment; ``refunds_and_house_money`` went back to the venue; ``paid_to_venue``
    is cash at visits and later payments; ``opening_balance`` was payable to the venue when the books began.
    """

    counted: int = 0
    tax: int = 0
    first_money: int = 0
    venue_share: int = 0
    refunds_and_house_money: int = 0
    loan_repaid: int = 0
    paid_to_venue: int = 0
    opening_balance: int = 0
    loan_advanced: int = 0
    loan_opening_balance: int = 0
    loan_written_off: int = 0

    def __add__(self, other: Figures) -> Figures:
        return Figures(*(getattr(self, name) + getattr(other, name) for name in _NAMES))

    def __neg__(self) -> Figures:
        return Figures(*(-getattr(self, name) for name in _NAMES))

    @property
    def owed_delta(self) -> int:
        return (
            self.opening_balance
            + self.venue_share
            + self.refunds_and_house_money
            - self.loan_repaid
            - self.paid_to_venue
        )

    @property
    def loan_delta(self) -> int:
        return self.loan_opening_balance + self.loan_advanced - self.loan_repaid - self.loan_written_off


_NAMES = tuple(field.name for field in fields(Figures))


@dataclass(frozen=True, slots=True)
class StatementLine:
    """One entry as the venue sees it, with the balance payable to the venue and its loan after it."""

    number: int
    on: date
    kind: str
    reference: str
    figures: Figures
    owed_after: int
    loan_after: int


@dataclass(frozen=True, slots=True)
class Statement:
    """A venue's period in one currency, minor units; refuses to exist if it does not add up."""

    venue_id: str
    currency: str
    period: ExportPeriod
    opening_owed: int
    opening_loan: int
    lines: tuple[StatementLine, ...]
    totals: Figures
    closing_owed: int
    closing_loan: int
    carried_forward: tuple[tuple[str, int], ...] = ()
    payees: tuple[PayeeSpell, ...] = ()
    departed_on: date | None = None

    @property
    def last_word(self) -> str | None:
        """What the last statement of a venue that has left says; None while it was of the route to the end (A3)."""
        if self.departed_on is None or self.departed_on > self.period.to_on:
            return None
        left = f"The venue left the route after {date_in_words(self.departed_on)}."
        open_ = [
            *([f"payable to the venue {self._said(self.closing_owed)}"] if self.closing_owed > 0 else []),
            *([f"payable by the venue {self._said(-self.closing_owed)}"] if self.closing_owed < 0 else []),
            *([f"loan to be repaid {self._said(self.closing_loan)}"] if self.closing_loan else []),
        ]
        return f"{left} {'Still open: ' + ', '.join(open_) if open_ else 'Nothing is owed either way'}."

    def _said(self, minor: int) -> str:
        return f"{format_money(minor, self.currency)} {self.currency}"

    def __post_init__(self) -> None:
        closing = self.closing_owed, self.closing_loan
        sums = self.opening_owed + self.totals.owed_delta, self.opening_loan + self.totals.loan_delta
        if closing != sums or self.totals != sum((line.figures for line in self.lines), Figures()):
            raise domain_error("statement_does_not_add_up", where="closing", found=closing, expected=str(sums))


def statement(
    entries: Iterable[Entry],
    *,
    venue_id: str,
    currency: str,
    period: ExportPeriod,
    carried_forward: Mapping[str, int] | None = None,
    payees: tuple[PayeeSpell, ...] = (),
    departed_on: date | None = None,
) -> Statement:
    """Return a venue's statement from all entries up to the period's end, in any order.

    ``carried_forward`` is what first money and the minimum still wait for at the period's end, by name (D2); ``payees``
    are those of the period, in turn (L6).
    """
    mine = [entry for entry in entries if entry.currency == currency and entry.venue_id == venue_id]
    known = sorted((entry for entry in mine if entry.on <= period.to_on), key=lambda entry: (entry.on, entry.number))
    before = [entry for entry in known if entry.on not in period]
    owed = opening_owed = -_sum(before, "owed_to_venues")
    loan = opening_loan = _sum(before, "venue_loans")
    lines = []
    for entry in known[len(before) :]:
        figures = figures_of_entry(entry)
        owed, loan = owed + figures.owed_delta, loan + figures.loan_delta
        if figures != Figures():
            lines.append(StatementLine(entry.number, entry.on, entry.kind, entry.reference, figures, owed, loan))
    return Statement(
        venue_id=venue_id,
        currency=currency,
        period=period,
        opening_owed=opening_owed,
        opening_loan=opening_loan,
        lines=tuple(lines),
        totals=sum((line.figures for line in lines), Figures()),
        closing_owed=-_sum(known, "owed_to_venues"),
        closing_loan=_sum(known, "venue_loans"),
        carried_forward=tuple((carried_forward or {}).items()),
        payees=payees,
        departed_on=departed_on,
    )


def figures_of_entry(entry: Entry) -> Figures:
    """Return one entry's amounts; a reversal has those of the entry it takes back, below zero."""
    return -_read(mirror(entry.postings)) if entry.kind == "reversal" else _read(entry.postings)


def _read(postings: tuple[Posting, ...]) -> Figures:
    """Read the postings of an entry that is no reversal: the account on the other side tells its kind (see ``kinds``)."""
    net: Counter[str] = Counter()
    for posting in postings:
        net[posting.account] += posting.amount_minor
    owed, loan = -net["owed_to_venues"], net["venue_loans"]
    if "opening_equity" in net:
        return Figures(opening_balance=owed, loan_opening_balance=loan)
    if "write_offs" in net:
        return Figures(loan_written_off=-loan)
    if "bank" in net:
        return Figures(paid_to_venue=-owed, loan_advanced=loan)
    counted = sum(p.amount_minor for p in postings if p.account == "cash_in_bags" and p.amount_minor > 0)
    paid, share = counted - net["cash_in_bags"], net["venue_share"]
    return Figures(
        counted=counted,
        tax=-net["tax_payable"],
        first_money=-net["first_money"],
        venue_share=share,
        refunds_and_house_money=owed - share - loan + paid,
        loan_repaid=-loan,
        paid_to_venue=paid,
    )


def _sum(entries: Iterable[Entry], account: str) -> int:
    return sum(p.amount_minor for entry in entries for p in entry.postings if p.account == account)
