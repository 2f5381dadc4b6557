"""HTTP for the books: entries, the feed, balances, the check of the chain, exports, statements and the year's totals."""

from itertools import islice
from operator import attrgetter
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import MISSING
from sqlmodel import Session

from ..pool_tables.service import venue_and_currency_on
from ..pricing.money import exponent
from ..store.changes import note_all
from ..store.db import stop_of
from ..venues import service as venues_service
from ..web.auth import AccountantDep, OwnerDep, Principal, allow
from ..web.csv_answer import CSV, CsvAnswer, dialect_of
from ..web.dependencies import NowDep, PreviewDep, SessionDep
from ..web.errors import http_problem
from ..web.long_answer import long_answer
from ..web.openapi import problems
from ..web.operation import Route
from ..web.page_parameters import Limit, link_next
from ..web.pagination import Page, write_page
from ..web.schema_types import INT64_MAX, Currency, Date, Id, value_or
from . import queries, service
from .convert import entry_out, names_out, posted_out
from .entry import Entry
from .export.beancount import journal_beancount
from .export.csv_journal import Profile, journal_csv
from .export.period import Close, Opening
from .export.plain_text_ledger import journal_ledger
from .schemas import (
    AccountBalancePage,
    AccountNamesIn,
    AccountNamesOut,
    EntryIn,
    EntryOut,
    EntryPage,
    EntryReversalIn,
    PostedEntryOut,
)

router = APIRouter(prefix="/v1", tags=["ledger"], route_class=Route)
PosterDep = Annotated[Principal, allow("poster")]
From = Annotated[Date | None, Query(alias="from", description="The first date; without it, the first booked.")]
To = Annotated[Date | None, Query(description="The last date, included; without it, the last booked.")]
ExportFormat = Literal["csv", "beancount", "ledger"]
ExportProfile = Annotated[Profile | None, Query(description="Of a csv; two_column where it is not named.")]
NamesOf = Annotated[
    Literal["own", "ours"] | None,
    Query(description="Your own names of accounts, or ours; without it, your own as soon as there are any."),
]
OpeningOf = Annotated[
    Opening,
    Query(
        description="`balances` begins with the balances before the period, for the first period that you load or for "
        "one loaded alone. `none`, the default of every format, leaves them out: periods loaded one after the other "
        "then count each amount once."
    ),
]
CloseOf = Annotated[
    Close | None,
    Query(
        description="`year` books income and expense of each year into `retained_earnings` on 31 December. Use it for "
        "every period that you load, or for none."
    ),
]
_TEXT = "text/plain; charset=utf-8"
_PLAIN: dict[str, Any] = {"text/plain": {"schema": {"type": "string"}}}


@router.post("/ledger/entries", status_code=201, responses=problems(409))
def post_ledger_entry(
    session: SessionDep,
    principal: PosterDep,
    now: NowDep,
    entry: EntryIn,
    response: Response,
    preview: PreviewDep,
) -> PostedEntryOut:
    """Post what was done, by its kind: money banked, paid, spent, lent, written off, or brought in at the start.

    A deposit names the bags (`bags`) that were banked: the report of cash in hand follows them. An expense says what
    for (`what`) and may name a table: without a venue it is then of the venue where the table was on that date. What takes more out of an account than there is, is posted with a caution; a write-off of it is refused.
    """
    entry, of_currency = _at_its_venue(session, entry)
    currency = service.entry_currency(entry, venue_currency=of_currency, known=venues_service.currencies(session))
    posted, cautions = service.post_owner_entry(session, entry, currency=currency, now=now)
    _note_bags(session, posted)
    if not preview:
        response.headers["Location"] = f"/v1/ledger/entries/{posted.id}"
    return posted_out(posted, cautions)


@router.post("/ledger/entries/{entry_id}/reversal", status_code=201, responses=problems(409))
def reverse_ledger_entry(
    session: SessionDep,
    principal: PosterDep,
    now: NowDep,
    entry_id: Id,
    reversal: EntryReversalIn,
    response: Response,
    preview: PreviewDep,
) -> PostedEntryOut:
    """Take back an entry that an owner posted, by its mirror image; a collection is taken back by its own reversal."""
    posted, cautions = service.reverse_owner_entry(session, entry_id, on=reversal.on, reason=reversal.reason, now=now)
    _note_bags(session, queries.get_entry(session, entry_id))
    if not preview:
        response.headers["Location"] = f"/v1/ledger/entries/{posted.id}"
    return posted_out(posted, cautions)


def _at_its_venue(session: Session, entry: EntryIn) -> tuple[EntryIn, str | None]:
    """Return an entry with its venue, which is its table's on that date where it names none, and their currency."""
    table_id, venue_id = value_or(entry.table_id, None), value_or(entry.venue_id, None)
    if venue_id is not None:
        currency = venues_service.fix_currency(session, venue_id).currency
    if table_id is None:
        return entry, None if venue_id is None else currency
    table_venue_id, table_currency = venue_and_currency_on(session, table_id, entry.on)
    if venue_id is None:
        return entry.model_copy(update={"venue_id": table_venue_id or MISSING}), table_currency
    if currency != table_currency:
        raise http_problem("currency_differs", where="venue_id", found=currency, expected=table_currency)
    return entry, currency


def _note_bags(session: Session, entry: Entry) -> None:
    """Note that bags were banked, or that they were not after all: whose they are, the books do not know."""
    if entry.bags is not None:
        note_all(session)


@router.get("/ledger/entries", responses=problems(409))
def list_ledger_entries(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: AccountantDep,
    limit: Limit = 100,
    after: Annotated[int, Query(ge=0, le=INT64_MAX, description="The `cursor` of the answer before.")] = 0,
) -> EntryPage:
    """Return the accounting feed: the entries that follow a cursor, in order; none is ever skipped or repeated.

    `next` is null where there are no more for now; `cursor` is always where to go on, now or later.
    """
    entries, more = queries.page_entries(session, after=after, limit=limit)
    found = Page(entries, entries[-1].number if more else None, attrgetter("number"))
    page = write_page(found, lambda some: [entry_out(entry) for entry in some])
    cursor = str(page.next or (entries[-1].number if entries else after))
    next_ = None if page.next is None else cursor
    link_next(request, response, next_)
    return EntryPage(items=list(page.rows), next=next_, cursor=cursor)


@router.get("/ledger/entries/{entry_id}", responses=problems(409))
def get_ledger_entry(session: SessionDep, principal: AccountantDep, entry_id: Id) -> EntryOut:
    """Return an entry of the journal."""
    return entry_out(queries.get_entry(session, entry_id))


@router.get("/ledger/accounts", responses=problems(409))
def list_account_balances(
    request: Request,
    response: Response,
    session: SessionDep,
    principal: AccountantDep,
    venue_id: Annotated[Id | None, Query(description="Only the accounts of this venue.")] = None,
    on: Annotated[Date | None, Query(description="Balances at the end of this date.")] = None,
    limit: Limit = 500,
    after: Annotated[
        str | None, Query(pattern=r"^[a-z_]{1,40}(:[0-9a-f-]{36})?:[A-Z]{3}$", description="The `next` of the page.")
    ] = None,
) -> AccountBalancePage:
    """Return what every account sums to, by venue and currency, in the order of the chart of accounts."""
    written = list(islice(service.page_balances(session, venue_id=venue_id, up_to=on, after=after), limit + 1))
    next_ = written[limit - 1][0] if len(written) > limit else None
    link_next(request, response, next_)
    return AccountBalancePage(items=[balance for _, balance in written[:limit]], next=next_)


@router.get(
    "/ledger/export",
    response_class=Response,
    responses={**problems(409), 200: {"content": {**CSV, **_PLAIN}, "description": "The journal of a period."}},
)
def export_ledger(
    request: Request,
    session: SessionDep,
    asker: AccountantDep,
    now: NowDep,
    from_on: From = None,
    to: To = None,
    format: Annotated[ExportFormat, Query(description="For a spreadsheet, or for plain-text accounting.")] = "csv",
    profile: ExportProfile = None,
    names: NamesOf = None,
    opening: OpeningOf = "none",
    close: CloseOf = None,
    currency: Annotated[Currency | None, Query(description="One currency alone; without it, all of them.")] = None,
) -> Response:
    """Export a period of the journal. Consecutive periods loaded one after the other give the service's own balances.

    Start your books with the first period, or with `opening=balances`; leave opening balances out of later periods.
    Plain-text files assert the closing balance of every account, so a missing period is an error when they are loaded.
    The same export of the same books is the same to the byte. An account without a name of your own is refused, with
    all the others that lack one.
    """
    if profile is not None and format != "csv":
        raise http_problem("invalid", where="profile", found=profile, expected="no profile: only a csv has one")
    if currency is not None:
        exponent(currency)  # an unknown one is refused: nothing booked in it would look like an empty period
    part = queries.read_extract(
        session, from_on=from_on, to_on=to, opening=opening, close=close, currency=currency, now=now
    )
    own_chart, venues = service.own_chart(session, names), queries.venues_in_books(session)
    name = "-".join(("journal", str(part.period.from_on), str(part.period.to_on), *([currency] if currency else [])))
    if format == "csv":
        dialect = dialect_of(request, usual="csv")
        lines = journal_csv(part, profile=profile or "two_column", venues=venues, own_chart=own_chart, dialect=dialect)
        return long_answer(lines, media_type=CsvAnswer.media_type, file_name=f"{name}.csv", stop=stop_of(session))
    write = journal_beancount if format == "beancount" else journal_ledger
    lines = write(part, venues=venues, own_chart=own_chart)
    return long_answer(lines, media_type=_TEXT, file_name=f"{name}.{format}", stop=stop_of(session))


@router.get("/ledger/account-names", responses=problems())
def get_account_names(session: SessionDep, principal: AccountantDep) -> AccountNamesOut:
    """Return your own names of accounts, beside the chart of accounts."""
    return names_out(service.read_names(session))


@router.put("/ledger/account-names", responses=problems())
def put_account_names(session: SessionDep, principal: OwnerDep, names: AccountNamesIn) -> AccountNamesOut:
    """Replace your own names of accounts, all of them; exports use them as soon as there are any."""
    return names_out(service.put_names(session, names.names))
