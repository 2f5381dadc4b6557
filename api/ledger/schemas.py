"""The books as sent and received."""

from typing import Annotated, Literal

from pydantic import MISSING, StringConstraints
from pydantic import Field as Limits

from ..web.schema_types import Count, Currency, Date, Id, In, Instant, Money, MoneyOut, Name, Out, Text, Words
from .accounts import AccountKind, PerVenue
from .entry import REFERENCE_CHARACTERS_MAX
from .entry_kinds import EXPENSE_NAMES, OWNER_KINDS

OwnerKind = Literal[OWNER_KINDS]  # type: ignore[valid-type]
Expense = Literal[EXPENSE_NAMES]  # type: ignore[valid-type]

OpenedAccount = Literal["bank", "cash_in_bags", "tax_payable", "owed_to_venues", "venue_loans"]
Reference = Annotated[Text, Limits(max_length=REFERENCE_CHARACTERS_MAX)]
AccountCode = Annotated[str, StringConstraints(pattern=r"^[a-z_]{1,40}(:[0-9a-f-]{36})?$")]


class EntryIn(In):
    """An entry that an owner posts by kind. Without a venue, ``currency`` may be left out where all venues have one.

    ``account`` says which balance an opening brings in, where it is not the first of ``bank`` or ``owed_to_venues``.
    """

    kind: OwnerKind
    amount: Money
    venue_id: Id | MISSING = MISSING
    table_id: Annotated[
        Id | MISSING, Limits(description="The table that an expense, a licence payment or a table sale is of.")
    ] = MISSING
    what: Annotated[Expense, Limits(description="What an expense was for.")] | MISSING = MISSING
    on: Date
    currency: Currency | MISSING = MISSING
    account: OpenedAccount | MISSING = MISSING
    bags: Annotated[
        list[Name] | MISSING,
        Limits(
            min_length=1,
            max_length=200,
            description="Of a deposit or of cash written off: the bags that the cash was in, as collections name "
            "them; for one that names none, the collection's id.",
        ),
    ] = MISSING
    reference: Reference | MISSING = MISSING


class EntryReversalIn(In):
    """Why an entry is taken back, and the date that its mirror image is booked for."""

    reason: Annotated[Words, Limits(max_length=REFERENCE_CHARACTERS_MAX)]
    on: Date


class PostingOut(Out):
    """One line of an entry: debit above zero, credit below."""

    account: str
    venue_id: Id | None
    amount: MoneyOut


class EntryOut(Out):
    """An entry of the journal; ``hash`` covers all of it and the hash of the entry before.

    ``source_digest`` is the digest of the stored facts that it books: the collection with its settlement, or the
    reversal. It is null where there are none, and in entries of earlier releases.
    """

    number: Count
    id: Id
    kind: str
    on: Date
    recorded_at: Instant
    currency: str
    venue_id: Id | None
    table_id: Id | None
    postings: list[PostingOut]
    reference: str
    source_id: Id | None
    source_digest: str | None
    bags: Annotated[list[str], Limits(description="The bags that a deposit, or cash written off, names.")]
    previous_hash: str
    hash: str


class PostedEntryOut(EntryOut):
    """An entry as it was posted, or would be, and what is odd about it."""

    cautions: list[str]


class EntryPage(Out):
    """A stretch of the accounting feed. Ask again with ``cursor`` as ``after``, now or later: nothing is skipped."""

    items: list[EntryOut]
    next: str | None
    cursor: str


class AccountBalanceOut(Out):
    """What an account sums to in one currency: debit above zero, credit below."""

    account: str
    kind: AccountKind
    holds: str
    venue_id: Id | None
    currency: str
    balance: MoneyOut


class AccountBalancePage(Out):
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
    """Whether the chain of entries holds, and whether what it books is as it was recorded.

    Keep ``last_hash`` elsewhere: a later journal must still contain it. Keep ``records``, how many agreements, closed jobs,
    retirements and reversals have a digest, and ``last_record_digest`` beside it: the digest with that number must stay the
    same. ``altered_entries`` has the numbers of entries
    whose collection, settlement or reversal was changed since, ``altered_collections`` the ids of changed collections,
    settled or not, ``altered_records`` the ids of changed agreements, closed jobs, retirements (by their last move) and reversals:
    the first 100 of each. An id that was changed itself is named as it is stored.
    """

    ok: bool
    entries: Count
    first_bad: BadEntryOut | None
    last_hash: str | None
    records: Count
    last_record_digest: str | None
    altered_entries: list[int]
    altered_collections: list[str]
    altered_records: list[str]


class AccountNamesIn(In):
    """Your own names of accounts, by code: ``bank``, or ``owed_to_venues:<venue id>`` for one venue's leaf."""

    names: Annotated[dict[AccountCode, Name], Limits(max_length=10_000)]


class AccountOut(Out):
    """One account of the chart."""

    code: str
    kind: AccountKind
    per_venue: PerVenue
    holds: str


class AccountNamesOut(Out):
    """Your own names of accounts, the accounts that have none yet, and the whole chart."""

    names: dict[str, str]
    missing: list[str]
    accounts: list[AccountOut]
