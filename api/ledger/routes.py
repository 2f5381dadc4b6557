"""HTTP for the books: entries, the feed, balances, the check of the chain, exports, statements and the year's totals."""

from collections import Counter
from typing import Annotated, Any, Literal
from uuid import UUID

from fastapi import APIRouter, Query, Request, Response
from sqlmodel import Session

from api.access.asking import Asker, OwnerDep, allow
from api.cash.settling_service import waiting_claims
from api.clock import NowDep
from api.db import SessionDep, discard
from api.errors import refused
from api.ledger import reading_service, service
from api.ledger.beancount_export import journal_beancount
from api.ledger.csv_export import Profile, journal_csv
from api.ledger.extract import Period
from api.ledger.ledger_export import journal_ledger
from api.ledger.models import (
    AccountBalancesOut,
    AccountNamesIn,
    AccountNamesOut,
    EntryFeedOut,
    EntryIn,
    EntryOut,
    EntryReversalIn,
    LedgerCheckOut,
    PostedEntryOut,
    StatementOut,
    YearReportOut,
)
from api.ledger.statement import Statement
from api.ledger.statement_csv import statement_csv, year_csv
from api.ledger.writing import (
    entry_out,
    names_out,
    posted_out,
    statement_out,
    venue_year_out,
)
from api.openapi import problems
from api.paging import Limit, link_next
from api.routing import Route
from api.venues import service as venues
from api.wire import INT64_MAX, Date, Id, given

router = APIRouter(prefix="/v1", tags=["ledger"], route_class=Route)

AccountantDep = Annotated[Asker, allow("accountant")]
VenueDep = Annotated[Asker, allow("accountant", "venue")]
Preview = Annotated[bool, Query(description="The same checks and answer (200), nothing stored.")]
From = Annotated[Date | None, Query(alias="from", description="The first date; without it, the first booked.")]
To = Annotated[Date | None, Query(description="The last date, included; without it, the last booked.")]
ExportFormat = Literal["csv", "beancount", "ledger"]
ExportProfile = Annotated[Profile | None, Query(description="Of a csv; two_column where it is not named.")]
NamesOf = Annotated[
    Literal["own", "ours"] | None,
    Query(description="Your own names of accounts, or ours; without it, your own as soon as there are any."),
]
Month = Annotated[str | None, Query(pattern=r"^20[0-9]{2}-(0[1-9]|1[0-2])$", description="Such as 2026-11.")]
OrYear = Annotated[int | None, Query(ge=2000, le=2099, description="Instead of a month.")]
Year = Annotated[int, Query(ge=2000, le=2099)]
ReportFormat = Annotated[Literal["json", "csv"], Query()]
_CSV: dict[str, Any] = {"text/csv": {"schema": {"type": "string"}}}
_PLAIN: dict[str, Any] = {"text/plain": {"schema": {"type": "string"}}}


def _csv(text: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return Response(text.encode(), media_type="text/csv; header=present; charset=utf-8", headers=headers)


@router.get("/venues/{venue_id}/statements", responses={**problems(409), 200: {"model": StatementOut, "content": _CSV}})
def get_statement(
    session: SessionDep,
    asker: VenueDep,
    venue_id: Id,
    month: Month = None,
    year: OrYear = None,
    format: ReportFormat = "json",
) -> Response:
    """Return a venue's statement over a month or a year: what it was owed, what changed it, what it is owed now."""
    told, name = _statement(session, asker, venue_id, month=month, year=year)
    if format == "csv":
        return _csv(statement_csv(told), f"statement-{month or year}")
    return Response(statement_out(told, venue=name).model_dump_json(), media_type="application/json")


@router.get(
    "/venues/{venue_id}/statements.csv",
    response_class=Response,
    responses={**problems(409), 200: {"content": _CSV, "description": "CSV."}},
)
def get_statement_csv(
    session: SessionDep, asker: VenueDep, venue_id: Id, month: Month = None, year: OrYear = None
) -> Response:
    """Say the same as `format=csv`: one line an entry, between the opening and the closing balance."""
    told, _ = _statement(session, asker, venue_id, month=month, year=year)
    return _csv(statement_csv(told), f"statement-{month or year}")


def _statement(
    session: Session, asker: Asker, venue_id: UUID, *, month: str | None, year: int | None
) -> tuple[Statement, str]:
    asker.must_see_venue(venue_id)
    venue = venues.get_venue(session, venue_id)
    if (month is None) == (year is None):
        found = "neither" if year is None else "both"
        raise refused("invalid", where="month", found=found, expected="one of month and year")
    period = Period.of_month(*map(int, month.split("-"))) if month else Period.of_year(year or 0)
    carried: Counter[str] = Counter()
    for claim in waiting_claims(session, venue_id, until_on=period.to_on):
        carried[claim.name or claim.code] += claim.amount
    told = reading_service.read_statement(
        session, venue_id=venue_id, currency=venue.currency, period=period, carried_forward=carried
    )
    return told, venue.name


@router.post("/ledger/entries", status_code=201, responses=problems(409))
def post_ledger_entry(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    entry: EntryIn,
    response: Response,
    validate_only: Preview = False,
) -> PostedEntryOut:
    """Post what an owner did by its kind: money banked, paid, lent, written off, or brought in when the books begin.

    What takes more out of an account than there is, is posted with a caution; a write-off of it is refused.
    """
    venue_id = given(entry.venue_id, None)
    venue_currency = None if venue_id is None else venues.get_venue(session, venue_id).currency
    currency = service.entry_currency(entry, venue_currency=venue_currency, known=venues.currencies(session))
    posted, cautions = service.post_owner_entry(session, entry, currency=currency, now=now)
    _answer_post(session, response, posted.id, validate_only=validate_only)
    return posted_out(posted, cautions)


@router.post("/ledger/entries/{entry_id}/reversal", status_code=201, responses=problems(409))
def reverse_ledger_entry(
    session: SessionDep,
    asker: OwnerDep,
    now: NowDep,
    entry_id: Id,
    reversal: EntryReversalIn,
    response: Response,
    validate_only: Preview = False,
) -> PostedEntryOut:
    """Take back an entry that an owner posted, by its mirror image; a collection is taken back by its own reversal."""
    posted, cautions = service.reverse_owner_entry(session, entry_id, on=reversal.on, reason=reversal.reason, now=now)
    _answer_post(session, response, posted.id, validate_only=validate_only)
    return posted_out(posted, cautions)


def _answer_post(session: Session, response: Response, entry_id: str, *, validate_only: bool) -> None:
    if validate_only:
        discard(session)
        response.status_code = 200
    else:
        response.headers["Location"] = f"/v1/ledger/entries/{entry_id}"


@router.get("/ledger/entries", responses=problems(409))
def list_ledger_entries(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: AccountantDep,
    limit: Limit = 100,
    after: Annotated[int, Query(ge=0, le=INT64_MAX, description="The `cursor` of the answer before.")] = 0,
) -> EntryFeedOut:
    """Return the accounting feed: the entries that follow a cursor, in order; none is ever skipped or repeated.

    `next` is null where there are no more for now; `cursor` is always where to go on, now or later.
    """
    entries, more = reading_service.page_entries(session, after=after, limit=limit)
    cursor = str(entries[-1].number if entries else after)
    next_ = cursor if more else None
    link_next(request, response, next_)
    return EntryFeedOut(items=[entry_out(entry) for entry in entries], next=next_, cursor=cursor)


@router.get("/ledger/entries/{entry_id}", responses=problems(409))
def get_ledger_entry(session: SessionDep, asker: AccountantDep, entry_id: Id) -> EntryOut:
    """Return an entry of the journal."""
    return entry_out(reading_service.get_entry(session, entry_id))


@router.get("/ledger/accounts", responses=problems(409))
def list_account_balances(
    request: Request,
    response: Response,
    session: SessionDep,
    asker: AccountantDep,
    venue_id: Annotated[Id | None, Query(description="Only the accounts of this venue.")] = None,
    on: Annotated[Date | None, Query(description="As they stood at the end of this date.")] = None,
    limit: Limit = 500,
    after: Annotated[
        str | None, Query(pattern=r"^[a-z_]{1,40}(:[0-9a-f-]{36})?:[A-Z]{3}$", description="The `next` of the page.")
    ] = None,
) -> AccountBalancesOut:
    """Return what every account sums to, by venue and currency, in the order of the chart of accounts."""
    written = service.page_balances(session, venue_id=venue_id, up_to=on, after=after)
    next_ = written[limit - 1][0] if len(written) > limit else None
    link_next(request, response, next_)
    return AccountBalancesOut(items=[balance for _, balance in written[:limit]], next=next_)


@router.get("/ledger/verify", responses=problems())
def verify_ledger(session: SessionDep, asker: AccountantDep) -> LedgerCheckOut:
    """Follow the chain of entries from the first to the last, and name the first that does not fit."""
    return reading_service.check_ledger(session)


@router.get(
    "/ledger/export",
    response_class=Response,
    responses={**problems(409), 200: {"content": {**_CSV, **_PLAIN}, "description": "The journal of a period."}},
)
def export_ledger(
    session: SessionDep,
    asker: AccountantDep,
    now: NowDep,
    from_on: From = None,
    to: To = None,
    format: Annotated[ExportFormat, Query(description="For a spreadsheet, or for plain-text accounting.")] = "csv",
    profile: ExportProfile = None,
    names: NamesOf = None,
) -> Response:
    """Export a period of the journal that balances on its own: opening balances, entries, closing balances.

    The same export of the same books is the same to the byte. An account without a name of your own is refused, with
    all the others that lack one.
    """
    if profile is not None and format != "csv":
        raise refused("invalid", where="profile", found=profile, expected="no profile: only a csv has one")
    part = reading_service.read_extract(session, from_on=from_on, to_on=to, now=now)
    own_chart = service.own_chart(session, names)
    name = f"journal-{part.period.from_on}-{part.period.to_on}"
    if format == "csv":
        return _csv(journal_csv(part, profile=profile or "two_column", own_chart=own_chart), name)
    write = journal_beancount if format == "beancount" else journal_ledger
    venue_names = {venue_id: name for venue_id, (name, _) in venues.payees(session).items()}
    text = write(part, own_chart=own_chart, venue_names=venue_names)
    headers = {"Content-Disposition": f'attachment; filename="{name}.{format}"'}
    return Response(text.encode(), media_type="text/plain; charset=utf-8", headers=headers)


@router.get(
    "/ledger/export.csv",
    response_class=Response,
    responses={**problems(409), 200: {"content": _CSV, "description": "CSV."}},
)
def export_ledger_csv(
    session: SessionDep,
    asker: AccountantDep,
    now: NowDep,
    from_on: From = None,
    to: To = None,
    profile: ExportProfile = None,
    names: NamesOf = None,
) -> Response:
    """Say the same as `GET /v1/ledger/export?format=csv`."""
    return export_ledger(session, asker, now, from_on, to, "csv", profile, names)


@router.get("/ledger/account-names", responses=problems())
def get_account_names(session: SessionDep, asker: AccountantDep) -> AccountNamesOut:
    """Return your own names of accounts, and the chart that they stand for."""
    return names_out(service.read_names(session))


@router.put("/ledger/account-names", responses=problems())
def put_account_names(session: SessionDep, asker: OwnerDep, names: AccountNamesIn) -> AccountNamesOut:
    """Replace your own names of accounts, all of them; exports use them as soon as there are any."""
    return names_out(service.put_names(session, names.names))


@router.get("/reports/year", responses={**problems(409), 200: {"model": YearReportOut, "content": _CSV}})
def get_year_report(session: SessionDep, asker: AccountantDep, year: Year, format: ReportFormat = "json") -> Response:
    """Return what each venue was given in a calendar year, beside the threshold of the year's tax form. No tax advice."""
    if format == "csv":
        return get_year_report_csv(session, asker, year)
    payees = venues.payees(session)
    totals = reading_service.read_year(session, year)
    items = [venue_year_out(x, venue=payees[x.venue_id][0], legal_name=payees[x.venue_id][1]) for x in totals]
    return Response(YearReportOut(year=year, items=items).model_dump_json(), media_type="application/json")


@router.get(
    "/reports/year.csv",
    response_class=Response,
    responses={**problems(409), 200: {"content": _CSV, "description": "CSV."}},
)
def get_year_report_csv(session: SessionDep, asker: AccountantDep, year: Year) -> Response:
    """Say the same as `GET /v1/reports/year?format=csv`: one line a venue."""
    return _csv(year_csv(reading_service.read_year(session, year), venues.payees(session)), f"year-{year}")
