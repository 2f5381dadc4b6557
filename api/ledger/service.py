"""The books in the database: what is posted, what it sums to, and what the operator calls its accounts.

- There is one chain; its end is held while an entry is added, until the commit: numbers follow the order of commits,
  so that whoever has seen a number has seen all below it, on PostgreSQL too (L4).
- Balances are sums of postings (L2).
- What happened is recorded even where it takes more than the books know of, or is booked ahead, with a caution; only
  a write-off of more than there is, and a second reversal or one of a reversal, are refused.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from uuid import UUID

from sqlalchemy import bindparam, delete
from sqlalchemy import select as select_columns
from sqlmodel import Session, SQLModel, col, func, select

from ..pricing.money import format_money, parse_money
from ..store.clock import new_id
from ..store.db import lock
from ..store.sequence import next_number
from ..web.errors import http_problem
from ..web.schema_types import value_or
from .accounts import ACCOUNTS
from .bags import bags_text, must_be_of_an_entry
from .chain import with_hash
from .convert import balances_out
from .entry import GENESIS, Entry
from .entry_kinds import account_for, owner_postings
from .export.period import Balances
from .posting import Leaf, Posting, mirror
from .queries import get_entry
from .rows import AccountNameRow, EntryRow, PostingRow, RecordDigestRow
from .schemas import AccountBalanceOut, EntryIn
from .source_digest import DigestKind, record_digest

_NEW_ENTRY = SQLModel.metadata.tables[EntryRow.__tablename__].insert()
_NEW_POSTING = SQLModel.metadata.tables[PostingRow.__tablename__].insert()
_LAST = select_columns(col(EntryRow.number), col(EntryRow.hash)).order_by(col(EntryRow.number).desc()).limit(1)
_AHEAD = timedelta(hours=14)
"""How far the earliest zone's date is ahead of UTC."""


def lock_accounts(session: Session, venue_id: UUID) -> None:
    """Let nobody else settle or post at a venue until this transaction ends.

    What is decided from the balance of a venue's account, its loan above all, is read after this. The ledger's own
    lock guards the accounts that no venue has.
    """
    lock(session, f"cash:{venue_id}")


def post_entry(
    session: Session,
    *,
    kind: str,
    on: date,
    currency: str,
    postings: Sequence[Posting],
    reference: str,
    source_id: UUID | None,
    now: datetime,
    table_id: UUID | None = None,
    id: UUID | None = None,
    source_digest: str | None = None,
    bags: str | None = None,
) -> UUID:
    """Add an entry to the end of the chain, and return its id; whoever else posts waits until this transaction ends.

    ``source_id`` is what it was made from: the collection, or the entry that a reversal takes back, and
    ``source_digest`` the digest of those stored facts; ``bags`` are those that it names, as stored; ``id`` is new if None. Refuses what ``Entry``
    refuses; a source posted twice or an unknown venue is a conflict.

    Locks, in this order: the accounts of the venue, the ledger. Take every other lock before.
    """
    for venue_id in sorted({posting.venue_id for posting in postings if posting.venue_id}):
        lock_accounts(session, UUID(venue_id))
    lock(session, "ledger")
    number, previous_hash = session.connection().execute(_LAST).first() or (0, GENESIS)
    entry = with_hash(
        Entry(
            id=str(id or new_id()),
            number=number + 1,
            kind=kind,
            on=on,
            recorded_at=next_number(session, "entries", now=now).at,
            currency=currency,
            postings=tuple(postings),
            reference=reference,
            source_id=None if source_id is None else str(source_id),
            previous_hash=previous_hash,
            table_id=None if table_id is None else str(table_id),
            source_digest=source_digest,
            bags=bags,
        )
    )
    _append(session, entry)
    return UUID(entry.id)


def _append(session: Session, entry: Entry) -> None:
    """Store the postings, then the entry that closes them."""
    postings = [
        {
            "entry_number": entry.number,
            "place": place,
            "account": posting.account,
            "venue_id": None if posting.venue_id is None else UUID(posting.venue_id),
            "amount_minor": posting.amount_minor,
        }
        for place, posting in enumerate(entry.postings)
    ]
    values = {
        "number": entry.number,
        "id": UUID(entry.id),
        "kind": entry.kind,
        "booked_on": entry.on,
        "recorded_at": entry.recorded_at,
        "currency": entry.currency,
        "reference": entry.reference,
        "source_id": None if entry.source_id is None else UUID(entry.source_id),
        "previous_hash": entry.previous_hash,
        "hash": entry.hash,
        "pool_table_id": None if entry.table_id is None else UUID(entry.table_id),
        "source_digest": entry.source_digest,
        "bags": entry.bags,
    }
    connection = session.connection()
    connection.execute(_NEW_POSTING, postings)
    connection.execute(_NEW_ENTRY, values)


_of_account = (
    select_columns(func.coalesce(func.sum(PostingRow.amount_minor), 0))
    .join(EntryRow, col(EntryRow.number) == col(PostingRow.entry_number))
    .where(col(PostingRow.account) == bindparam("account"), col(EntryRow.currency) == bindparam("currency"))
)
_BALANCE = {
    False: _of_account.where(col(PostingRow.venue_id) == bindparam("venue_id")),
    True: _of_account.where(col(PostingRow.venue_id).is_(None)),
}
"""Of one venue's account; of one that no venue has."""


def columns_of(row: SQLModel) -> dict[str, object]:
    """Return the values of a row by column."""
    return {name: getattr(row, name) for name in type(row).model_fields}


def keep_digest(
    session: Session, kind: DigestKind, subject_id: UUID, rows: Mapping[str, Sequence[SQLModel]], *, now: datetime
) -> None:
    """Keep the digest of a record that bears money, and of the digest kept before it: a later change shows.

    ``rows`` are the stored rows by table. Locks: the counter ``digests``; take every other lock but feeds before.
    """
    number = next_number(session, "digests", now=now).number
    before = session.exec(select(RecordDigestRow.digest).where(RecordDigestRow.number == number - 1)).first()
    digest = record_digest({table: [columns_of(row) for row in found] for table, found in rows.items()}, before=before)
    session.add(RecordDigestRow(number=number, kind=kind, subject_id=subject_id, digest=digest))
    session.flush()


def balance(session: Session, *, account: str, venue_id: UUID | None, currency: str) -> int:
    """Return the sum of an account, of one venue where it is kept per venue: minor units, debit positive."""
    asked = {"account": account, "venue_id": venue_id, "currency": currency}
    return int(session.connection().execute(_BALANCE[venue_id is None], asked).scalar_one())


def loan_balance(session: Session, *, venue_id: UUID, currency: str) -> int:
    """Return what a venue still owes of its loans, in minor units."""
    return balance(session, account="venue_loans", venue_id=venue_id, currency=currency)


def read_balances(session: Session, *, venue_id: UUID | None = None, up_to: date | None = None) -> Balances:
    """Return the sum of every account by leaf and currency: of one venue or all, up to a date or all.

    All are read by entry, each with its postings beside it, as both are stored: by account would be in no such order.
    """
    posted = col(PostingRow.entry_number) == col(EntryRow.number)
    query = select(PostingRow.account, PostingRow.venue_id, EntryRow.currency, func.sum(PostingRow.amount_minor))
    query = query.group_by(col(PostingRow.account), col(PostingRow.venue_id), col(EntryRow.currency))
    if venue_id is None:
        query = query.select_from(EntryRow).outerjoin(PostingRow, posted)
    else:
        query = query.join(EntryRow, posted).where(PostingRow.venue_id == venue_id)
    if up_to is not None:
        query = query.where(EntryRow.booked_on <= up_to)
    return {
        (Leaf(account, None if of is None else str(of)), currency): int(amount)
        for account, of, currency, amount in session.exec(query)
        if account is not None
    }


def page_balances(
    session: Session, *, venue_id: UUID | None, up_to: date | None, after: str | None
) -> Iterator[tuple[str, AccountBalanceOut]]:
    """Yield the balances that follow a code (``bank:USD``), each with its own, in the order of the chart."""
    sums = read_balances(session, venue_id=venue_id, up_to=up_to)
    if after is not None:
        *leaf, currency = after.split(":")
        last = Leaf(*leaf).place, currency
        sums = {key: amount for key, amount in sums.items() if (key[0].place, key[1]) > last}
    yield from balances_out(sums)


def entry_currency(message: EntryIn, *, venue_currency: str | None, known: Sequence[str]) -> str:
    """Return the currency of an owner's entry: its venue's, else the one it names, else the only one there is."""
    named = value_or(message.currency, None)
    if venue_currency is not None:
        if named not in (None, venue_currency):
            raise http_problem("currency_differs", where="currency", found=named, expected=venue_currency)
        return venue_currency
    if named is None and len(known) != 1:
        expected = f"one of {', '.join(known)}" if known else "a currency, since there is no venue yet"
        raise http_problem("invalid", where="currency", found="nothing", expected=expected)
    return named or known[0]


def post_owner_entry(session: Session, message: EntryIn, *, currency: str, now: datetime) -> tuple[Entry, list[str]]:
    """Post what an owner did, in the currency given; return the entry and what is odd about it.

    Locks, in this order: the accounts of the venue, the ledger; balances are read after both.

    Refuses a write-off of more than there is (``above_balance``), and what ``account_for`` and ``owner_postings``
    refuse.
    """
    venue_id, table_id = value_or(message.venue_id, None), value_or(message.table_id, None)
    account = account_for(
        kind=message.kind,
        what=value_or(message.what, None),
        account=value_or(message.account, None),
        of_table=table_id is not None,
    )
    bags: list[str] = value_or(message.bags, [])
    must_be_of_an_entry(bags, kind=message.kind, of_venue=venue_id is not None)
    postings = owner_postings(
        kind=message.kind,
        amount_minor=parse_money(message.amount, currency, where="amount"),
        venue_id=None if venue_id is None else str(venue_id),
        account=account,
    )
    posted_id = post_entry(
        session,
        kind=message.kind,
        on=message.on,
        currency=currency,
        postings=postings,
        reference=value_or(message.reference, ""),
        source_id=None,
        now=now,
        table_id=table_id,
        bags=bags_text(bags),
    )
    cautions = [
        f"{posting.account} has {format_money(had, currency)}, less than {format_money(abs(posting.amount_minor), currency)}."
        for posting in postings
        if (had := _overdrawn(session, posting, currency)) is not None
    ]
    if cautions and message.kind == "write_off":
        expected = "at most what there is to write off"
        raise http_problem("above_balance", where="amount", found=message.amount, expected=expected, detail=cautions[0])
    return get_entry(session, posted_id), cautions + _not_come_yet(message.on, now=now)


def _not_come_yet(on: date, *, now: datetime) -> list[str]:
    """Say so where a date has not come anywhere: a transfer may be booked ahead, but so may a slip of the pen."""
    latest = (now.astimezone(UTC) + _AHEAD).date()
    return [f"{on} has not come yet."] if on > latest else []


def _overdrawn(session: Session, posting: Posting, currency: str) -> int | None:
    """Return what an account had before a posted line, if the line took out more; a bank may lend, so None for it."""
    kind = ACCOUNTS[posting.account].kind
    sign = {"asset": 1, "liability": -1}.get(kind, 0)
    if sign * posting.amount_minor >= 0 or posting.account == "bank":
        return None
    venue_id = None if posting.venue_id is None else UUID(posting.venue_id)
    left = sign * balance(session, account=posting.account, venue_id=venue_id, currency=currency)
    return left + abs(posting.amount_minor) if left < 0 else None


def reverse_entry(session: Session, entry_id: UUID, *, on: date, reference: str, now: datetime) -> UUID:
    """Post the mirror image of an entry (L2), and return the id of that; ``reference`` is the reason.

    Refuses a reversal (``reversal_of_reversal``) and what was taken back already (``already_reversed``).
    """
    entry = get_entry(session, entry_id)
    if entry.venue_id is not None:
        lock_accounts(session, UUID(entry.venue_id))
    lock(session, "ledger")
    if entry.kind == "reversal":
        raise http_problem(
            "reversal_of_reversal", where="entry_id", found=entry_id, expected="an entry that is no reversal"
        )
    query = select(EntryRow.number).where(EntryRow.kind == "reversal", EntryRow.source_id == entry_id)
    if (number := session.exec(query).first()) is not None:
        expected = "an entry that was not reversed"
        raise http_problem("already_reversed", where="entry_id", found=f"reversed by entry {number}", expected=expected)
    return post_entry(
        session,
        kind="reversal",
        on=on,
        currency=entry.currency,
        postings=mirror(entry.postings),
        reference=reference,
        source_id=entry_id,
        now=now,
        table_id=None if entry.table_id is None else UUID(entry.table_id),
    )


def reverse_owner_entry(
    session: Session, entry_id: UUID, *, on: date, reason: str, now: datetime
) -> tuple[Entry, list[str]]:
    """Take back an entry that an owner posted; a collection's is taken back with its collection.

    Refuses (``above_balance``) a loan of which less is still owed: collections have repaid the rest.
    """
    entry = get_entry(session, entry_id)
    if entry.kind == "collection":
        expected = "an entry posted by an owner: reverse the collection itself"
        raise http_problem("system_entry", where="entry_id", found=entry.kind, expected=expected)
    reversal_id = reverse_entry(session, entry_id, on=on, reference=reason, now=now)
    for posting in mirror(entry.postings):
        if posting.account == "venue_loans" and (owed := _overdrawn(session, posting, entry.currency)) is not None:
            found, had = (format_money(amount, entry.currency) for amount in (abs(posting.amount_minor), owed))
            expected = (
                f"at most the {had} that the venue still owes: reverse the collections that repaid the rest first"
            )
            raise http_problem("above_balance", where="entry_id", found=found, expected=expected)
    return get_entry(session, reversal_id), _not_come_yet(on, now=now)


def read_names(session: Session) -> dict[str, str]:
    """Return the operator's own names of accounts by code."""
    rows = session.exec(select(AccountNameRow).order_by(col(AccountNameRow.code)))
    return {row.code: row.name for row in rows}


def own_chart(session: Session, names: Literal["own", "ours"] | None) -> dict[str, str] | None:
    """Return the operator's own names where they are asked for, or where there are any and nothing is asked."""
    own = {} if names == "ours" else read_names(session)
    return own if own or names == "own" else None


def put_names(session: Session, names: Mapping[str, str]) -> dict[str, str]:
    """Replace the operator's own names of accounts; refuse an unknown code."""
    lock(session, "account names")
    for code in names:
        account, _, venue_id = code.partition(":")
        known = ACCOUNTS.get(account)
        if known is None or (venue_id and known.per_venue == "never"):
            expected = f"one of {', '.join(ACCOUNTS)}, or one of a venue: owed_to_venues:<venue id>"
            raise http_problem("unknown_account", where=f"names.{code}", found=code, expected=expected)
    session.execute(delete(AccountNameRow))
    session.add_all(AccountNameRow(code=code, name=name) for code, name in names.items())
    session.flush()
    return read_names(session)
