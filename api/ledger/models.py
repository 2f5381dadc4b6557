"""The books in the database: entries, their postings, and the operator's own names of accounts; and their messages.

- Entries and postings are only ever added (L1): triggers of the database refuse every change, and every addition to
  an entry that stands. Postings are stored first; the entry that closes them must find at least two that sum to zero.
- A collection has one entry, an entry one reversal: a kind names a source once (L2).
"""

from datetime import date, datetime
from typing import Annotated, Literal
from uuid import UUID

from pydantic import MISSING, StringConstraints
from pydantic import Field as Limits
from sqlalchemy import BigInteger, CheckConstraint, ForeignKeyConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from api.db import Utc
from api.ledger.accounts import PerVenue, Root
from api.ledger.journal import REFERENCE_MOST
from api.ledger.kinds import OWNER_KINDS
from api.wire import Count, Currency, Date, Id, In, Instant, Money, MoneyOut, Name, Out, Text

OwnerKind = Literal[OWNER_KINDS]  # type: ignore[valid-type]
OpenedAccount = Literal["bank", "cash_in_bags", "tax_payable", "owed_to_venues", "venue_loans"]
Reference = Annotated[Text, Limits(max_length=REFERENCE_MOST)]
AccountCode = Annotated[str, StringConstraints(pattern=r"^[a-z_]{1,40}(:[0-9a-f-]{36})?$")]


class EntryRow(SQLModel, table=True):
    """One entry of the journal, sealed by its hash (L3); ``number`` counts from 1 in the order of commits (L4)."""

    __tablename__ = "ledger_entry"
    __table_args__ = (
        UniqueConstraint("id"),
        UniqueConstraint("kind", "source_id"),
        CheckConstraint("number >= 1", name="number"),
        CheckConstraint("length(currency) = 3", name="currency"),
        CheckConstraint("length(hash) = 64 AND length(previous_hash) = 64", name="hashes"),
    )

    number: int = Field(primary_key=True, sa_type=BigInteger, sa_column_kwargs={"autoincrement": False})
    id: UUID
    kind: str
    booked_on: date = Field(index=True)
    recorded_at: datetime = Field(sa_type=Utc)
    currency: str
    reference: str
    source_id: UUID | None = Field(index=True)
    previous_hash: str
    hash: str


class PostingRow(SQLModel, table=True):
    """One line of an entry, in its place; minor units of the entry's currency, debit positive."""

    __tablename__ = "ledger_posting"
    __table_args__ = (
        ForeignKeyConstraint(["entry_number"], ["ledger_entry.number"], deferrable=True, initially="DEFERRED"),
        Index(None, "venue_id", "account"),
        CheckConstraint("place >= 0", name="place"),
        CheckConstraint("amount_minor <> 0", name="amount"),
    )

    entry_number: int = Field(primary_key=True, sa_type=BigInteger, sa_column_kwargs={"autoincrement": False})
    place: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    account: str
    venue_id: UUID | None = Field(foreign_key="venue.id")
    amount_minor: int = Field(sa_type=BigInteger)


class AccountNameRow(SQLModel, table=True):
    """What the operator's own chart calls an account, or one venue's leaf of it (``owed_to_venues:<venue id>``)."""

    __tablename__ = "ledger_account_name"

    code: str = Field(primary_key=True)
    name: str


class EntryIn(In):
    """An entry that an owner posts by kind. Without a venue, ``currency`` may be left out where all venues have one.

    ``account`` says which balance an opening brings in, where it is not the first of ``bank`` or ``owed_to_venues``.
    """

    kind: OwnerKind
    amount: Money
    venue_id: Id | MISSING = MISSING
    on: Date
    currency: Currency | MISSING = MISSING
    account: OpenedAccount | MISSING = MISSING
    reference: Reference | MISSING = MISSING


class EntryReversalIn(In):
    """Why an entry is taken back, and the date that its mirror image is booked for."""

    reason: Annotated[Reference, Limits(min_length=1)]
    on: Date


class PostingOut(Out):
    """One line of an entry: debit above zero, credit below."""

    account: str
    venue_id: Id | None
    amount: MoneyOut


class EntryOut(Out):
    """An entry of the journal; ``hash`` seals all of it and the hash of the entry before."""

    number: Count
    id: Id
    kind: str
    on: Date
    recorded_at: Instant
    currency: str
    venue_id: Id | None
    postings: list[PostingOut]
    reference: str
    source_id: Id | None
    previous_hash: str
    hash: str


class PostedEntryOut(EntryOut):
    """An entry as it was posted, or would be, and what is odd about it."""

    cautions: list[str]


class EntryFeedOut(Out):
    """A stretch of the accounting feed. Ask again with ``cursor`` as ``after``, now or later: nothing is skipped."""

    items: list[EntryOut]
    next: str | None
    cursor: str


class AccountBalanceOut(Out):
    """What an account sums to in one currency: debit above zero, credit below."""

    account: str
    root: Root
    holds: str
    venue_id: Id | None
    currency: str
    balance: MoneyOut


class AccountBalancesOut(Out):
    """A page of balances, in the order of the chart of accounts."""

    items: list[AccountBalanceOut]
    next: str | None


class BadEntryOut(Out):
    """The first entry that does not fit: its place counted from 1, the number and id that it shows, and why."""

    place: Count
    number: str
    id: str
    why: str


class LedgerCheckOut(Out):
    """Whether the chain of entries holds. Keep ``last_hash`` elsewhere: a later journal must still contain it."""

    ok: bool
    entries: Count
    first_bad: BadEntryOut | None
    last_hash: str | None


class AccountNamesIn(In):
    """Your own names of accounts, by code: ``bank``, or ``owed_to_venues:<venue id>`` for one venue's leaf."""

    names: Annotated[dict[AccountCode, Name], Limits(max_length=10_000)]


class AccountOut(Out):
    """One account of the chart."""

    code: str
    root: Root
    per_venue: PerVenue
    holds: str


class AccountNamesOut(Out):
    """Your own names of accounts, the accounts that have none yet, and the whole chart."""

    names: dict[str, str]
    missing: list[str]
    accounts: list[AccountOut]


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
