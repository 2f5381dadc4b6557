"""What is read out of the books in the database: entries, the feed, the check of the chain, extracts, statements, years.

- Damaged books are not reported from: every reader but the check refuses an entry that is no longer valid.
- The check reads a part of the journal at a time, and accepts any stored content.
"""

from collections import Counter
from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from operator import attrgetter, itemgetter
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, and_, type_coerce
from sqlalchemy import extract as part_of
from sqlalchemy import select as select_columns
from sqlalchemy.types import NULLTYPE
from sqlmodel import Session, SQLModel, col, func, select

from ..pricing import DomainError
from ..venues.rows import VenueRow
from ..web.errors import Problem, not_found
from .chain import Record, verify
from .convert import bad_out
from .entry import Entry
from .export.account_names import VenueName
from .export.period import Close, ExportPeriod, Extract, Opening, YearSum, extract
from .posting import Leaf, Posting
from .rows import EntryRow, RecordDigestRow
from .schemas import LedgerCheckOut
from .stored_record import stored_record

_ENTRY, _POSTING = SQLModel.metadata.tables["ledger_entry"], SQLModel.metadata.tables["ledger_posting"]
_ROWS_AT_ONCE = 1_000


def get_entry(session: Session, entry_id: UUID) -> Entry:
    """Return an entry; ``not_found`` for an unknown id."""
    found = read_entries(session, EntryRow.id == entry_id)  # type: ignore[arg-type]
    if not found:
        raise not_found("entry")
    return found[0]


def read_entries(session: Session, *where: ColumnElement[bool], numbers: tuple[int, int] | None = None) -> list[Entry]:
    """Return the entries that fit, in order of number; refuse (``books_damaged``) where one is no longer an entry.

    ``numbers`` are the first and the last number wanted: said of the postings too, else PostgreSQL may read them all.
    """
    query = _journal([*_ENTRY.c, *_POSTING.c], numbers=numbers).where(*where)
    return list(_entries(session.execute(query)))


def _entries(rows: Iterable[Row[Any]]) -> Iterator[Entry]:
    """Yield the entries that rows of the journal are; refuse (``books_damaged``) one that is no longer an entry."""
    try:
        for _, lines in groupby(rows, key=attrgetter("number")):
            yield _entry_of(list(lines))
    except (DomainError, ValueError, TypeError):
        raise Problem("books_damaged") from None


def _journal(columns: Sequence[ColumnElement[Any]], *, numbers: tuple[int, int] | None = None) -> Select[Any]:
    """Return the query of these columns of entries with each of their postings beside them, by number."""
    number, posted = _ENTRY.c.number, _POSTING.c.entry_number
    own = posted == number if numbers is None else and_(posted == number, posted.between(*numbers))
    query = select_columns(*columns).select_from(_ENTRY.outerjoin(_POSTING, own)).order_by(number, _POSTING.c.place)
    return query if numbers is None else query.where(number.between(*numbers))


def _entry_of(lines: Sequence[Row[Any]]) -> Entry:
    head = lines[0]
    return Entry(
        id=str(head.id),
        number=head.number,
        kind=head.kind,
        on=head.booked_on,
        recorded_at=head.recorded_at,
        currency=head.currency,
        postings=tuple(
            Posting(line.account, None if line.venue_id is None else str(line.venue_id), line.amount_minor)
            for line in lines
        ),
        reference=head.reference,
        source_id=None if head.source_id is None else str(head.source_id),
        previous_hash=head.previous_hash,
        hash=head.hash,
        table_id=None if head.pool_table_id is None else str(head.pool_table_id),
        source_digest=head.source_digest,
        bags=head.bags,
    )


def page_entries(session: Session, *, after: int, limit: int) -> tuple[list[Entry], bool]:
    """Return the entries that follow a number, and whether there are more of them (L4)."""
    query = select(EntryRow.number).where(EntryRow.number > after).order_by(col(EntryRow.number)).limit(limit + 1)
    numbers = session.exec(query).all()
    wanted = numbers[:limit]
    return (read_entries(session, numbers=(wanted[0], wanted[-1])) if wanted else []), len(numbers) > limit


def check_ledger(session: Session) -> LedgerCheckOut:
    """Follow the whole chain, one entry at a time, and say whether it holds (L3); see ``baizebook.reports`` for the facts."""
    with _any_text(session), closing(_records(session)) as records:
        bad = verify(records)
    last = select(EntryRow.hash).order_by(col(EntryRow.number).desc()).limit(1)
    return LedgerCheckOut(
        ok=bad is None,
        entries=session.exec(select(func.count()).select_from(EntryRow)).one(),
        first_bad=bad and bad_out(bad),
        last_hash=None if bad else session.exec(last).first(),
        records=0,
        last_record_digest=None,
        altered_entries=[],
        altered_collections=[],
        altered_records=[],
    )


def last_record(session: Session) -> tuple[int, str] | None:
    """Return the number of the last record that has a digest, and the digest; None where there is none."""
    query = select(RecordDigestRow.number, RecordDigestRow.digest).order_by(col(RecordDigestRow.number).desc())
    return session.exec(query.limit(1)).first()


def _records(session: Session) -> Generator[Record]:
    """Stream the journal as it is stored, unchecked: after tampering, a row may be no valid entry."""
    raw = [type_coerce(column, NULLTYPE) for column in (*_ENTRY.c, *_POSTING.c)]
    names = _ENTRY.c.keys()
    number = names.index("number")
    account, venue_id, amount, place = (
        len(names) + _POSTING.c.keys().index(name) for name in ("account", "venue_id", "amount_minor", "place")
    )
    with session.connection().execute(_journal(raw).execution_options(yield_per=_ROWS_AT_ONCE)) as result:
        for _, group in groupby(result, key=itemgetter(number)):
            lines = list(group)
            postings = [
                (line[account], line[venue_id], line[amount], line[place]) for line in lines if line[place] is not None
            ]
            yield stored_record(dict(zip(names, lines[0], strict=False)), postings)


@contextmanager
def _any_text(session: Session) -> Iterator[None]:
    """Read text from SQLite even where its bytes are no UTF-8 any more."""
    driver: Any = session.connection().connection.driver_connection
    if not hasattr(driver, "text_factory"):
        yield
        return
    before, driver.text_factory = driver.text_factory, lambda raw: raw.decode(errors="surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = before


@dataclass(frozen=True, slots=True)
class _PeriodEntries:
    """The entries of a period by date, then number: read from the database each time, a part at a time."""

    session: Session
    where: tuple[ColumnElement[bool], ...]

    def __iter__(self) -> Iterator[Entry]:
        number = _ENTRY.c.number
        query = _journal([*_ENTRY.c, *_POSTING.c]).where(*self.where).order_by(None)
        query = query.order_by(_ENTRY.c.booked_on, number, _POSTING.c.place).execution_options(yield_per=_ROWS_AT_ONCE)
        with self.session.connection().execute(query) as rows:
            yield from _entries(rows)


def read_extract(
    session: Session,
    *,
    from_on: date | None,
    to_on: date | None,
    opening: Opening,
    close: Close | None,
    currency: str | None,
    now: datetime,
) -> Extract:
    """Return a period of the journal; without its dates, from the first date that is booked to the last.

    Its transactions are read while the session lasts. Refuses (``books_damaged``) entries of the period that are none
    any more, and earlier ones that do not sum to zero.
    """
    first, last = session.exec(select(func.min(EntryRow.booked_on), func.max(EntryRow.booked_on))).one()
    today = now.astimezone(UTC).date()
    start = from_on or min(first or today, to_on or date.max)
    period = ExportPeriod(start, to_on or max(last or today, start))
    of_currency = () if currency is None else (_ENTRY.c.currency == currency,)
    entries = _PeriodEntries(session, (_ENTRY.c.booked_on.between(period.from_on, period.to_on), *of_currency))
    sums = _year_sums(session, period, of_currency)
    return extract(entries, period, sums=sums, opening=opening, close=close)


def _year_sums(session: Session, period: ExportPeriod, of_currency: Sequence[ColumnElement[bool]]) -> Iterator[YearSum]:
    """Yield what each leaf sums to by year up to the end of a period, before it and in it, the years in their order."""
    posted = (
        select_columns(
            part_of("year", _ENTRY.c.booked_on).label("year"),
            (_ENTRY.c.booked_on < period.from_on).label("before"),
            _POSTING.c.account,
            _POSTING.c.venue_id,
            _ENTRY.c.currency,
            _POSTING.c.amount_minor,
        )
        .join_from(_POSTING, _ENTRY, _POSTING.c.entry_number == _ENTRY.c.number)
        .where(_ENTRY.c.booked_on <= period.to_on, *of_currency)
        .subquery()
    )
    by = (posted.c.year, posted.c.before, posted.c.account, posted.c.venue_id, posted.c.currency)
    query = select_columns(*by, func.sum(posted.c.amount_minor)).group_by(*by).order_by(posted.c.year)
    balance: Counter[str] = Counter()
    with session.connection().execute(query.execution_options(yield_per=_ROWS_AT_ONCE)) as rows:
        for year_, before_, account, venue_id, currency, amount in rows:
            balance[currency] += amount
            try:
                leaf = Leaf(account, None if venue_id is None else str(venue_id))
            except DomainError:
                raise Problem("books_damaged") from None
            yield YearSum(year=int(year_), before=bool(before_), leaf=leaf, currency=currency, amount=int(amount))
    if any(balance.values()):
        raise Problem("books_damaged")


def venues_in_books(session: Session) -> dict[str, VenueName]:
    """Return each venue's names in exports by its id."""
    query = select(VenueRow.id, VenueRow.name, VenueRow.books_name)
    return {str(venue_id): VenueName(name, in_accounts) for venue_id, name, in_accounts in session.exec(query)}
