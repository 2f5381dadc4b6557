"""HTTP for reports."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from ..health.queries import levels_in_force
from ..ledger.export.period import ExportPeriod
from ..ledger.schemas import LedgerCheckOut
from ..venues import service as venues_service
from ..web.auth import AccountantDep, AccountantOrVenueDep, StaffDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.errors import Problem, http_problem
from ..web.metrics import Metrics
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import TEXT_PATTERN, Date, Id
from . import queries
from .cash_csv import cash_csv
from .convert import cash_in_hand_out, statement_out, venue_year_out
from .schemas import CashInHandOut, DifferencesOut, StatementOut, TaxReportOut, YearReportOut
from .statement_csv import statement_csv, year_csv

router = APIRouter(prefix="/v1", tags=["cash"], route_class=Route)
CollectorName = Annotated[
    str | None,
    Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Who collected; only an owner may ask."),
]


@router.get("/ledger/verify", responses=problems())
def verify_ledger(request: Request, session: SessionDep, principal: AccountantDep) -> LedgerCheckOut:
    """Follow the chain of entries; name the first that does not fit, and each record that was changed since."""
    found = queries.verify_books(session)
    metrics: Metrics = request.app.state.metrics
    metrics.ledger_verified.set(found.entries if found.first_bad is None else found.first_bad.place - 1)
    return found


@router.get("/reports/differences", responses=problems())
def get_differences(
    session: SessionDep,
    principal: AccountantDep,
    table_id: Annotated[Id | None, Query(description="The table whose differences are charted.")] = None,
    collector: CollectorName = None,
) -> DifferencesOut:
    """Chart counted less expected over time, by money meters only. A reason to look, never an accusation."""
    if (table_id is None) == (collector is None):
        found = "neither" if table_id is None else "both"
        raise http_problem("invalid", where="table_id", found=found, expected="one of table_id and collector")
    if collector is not None:
        if principal.role != "owner":
            raise Problem("forbidden", "Only an owner sees the charts of collectors.")
        return queries.differences_of_collector(session, collector)
    assert table_id is not None
    return queries.differences_of_table(session, table_id)


@router.get("/reports/tax", responses=problems())
def get_tax_report(
    session: SessionDep,
    principal: AccountantDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The last trading date.")],
) -> TaxReportOut:
    """Add up the tax taken out of collections by area, rate and month. Figures, no tax advice."""
    return queries.tax_report(session, from_on=from_, to_on=to)


Month = Annotated[str | None, Query(pattern=r"^20[0-9]{2}-(0[1-9]|1[0-2])$", description="Such as 2026-11.")]
OrYear = Annotated[int | None, Query(ge=2000, le=2099, description="Instead of a month.")]
Year = Annotated[int, Query(ge=2000, le=2099, description="A calendar year.")]
ReportFormat = Annotated[Literal["json", "csv"], Query(description="JSON, or CSV for a spreadsheet.")]


@router.get("/venues/{venue_id}/statements", responses={**problems(409), 200: {"model": StatementOut, "content": CSV}})
def get_statement(
    session: SessionDep,
    principal: AccountantOrVenueDep,
    venue_id: Id,
    month: Month = None,
    year: OrYear = None,
    format: ReportFormat = "json",
) -> Response:
    """Return a venue's statement over a month or a year: opening balance, every entry, closing balance.

    It names the payees of its own period. As CSV it has a line for each entry between opening and closing.
    """
    principal.must_see_venue(venue_id)
    venue = venues_service.get_venue(session, venue_id)
    found = queries.read_statement(session, venue=venue, period=_month_or_year(month, year))
    if format == "csv":
        return CsvAnswer(statement_csv(found), name=f"statement-{month or year}")
    return Response(statement_out(found, venue=venue.name).model_dump_json(), media_type="application/json")


def _month_or_year(month: str | None, year: int | None) -> ExportPeriod:
    if month is not None and year is None:
        return ExportPeriod.of_month(*map(int, month.split("-")))
    if year is not None and month is None:
        return ExportPeriod.of_year(year)
    raise http_problem(
        "invalid", where="month", found="neither" if year is None else "both", expected="one of month and year"
    )


@router.get("/reports/year", responses={**problems(409), 200: {"model": YearReportOut, "content": CSV}})
def get_year_report(
    session: SessionDep, principal: AccountantDep, year: Year, format: ReportFormat = "json"
) -> Response:
    """Return each venue's totals of a calendar year by payee, beside the threshold of the year's tax form.

    Figures only, no tax advice. As CSV it has a line for each venue and payee.
    """
    totals, names = queries.read_year(session, year), venues_service.names(session)
    if format == "csv":
        return CsvAnswer(year_csv(totals, names), name=f"year-{year}")
    items = [venue_year_out(found, venue=names[found.venue_id]) for found in totals]
    return Response(YearReportOut(year=year, items=items).model_dump_json(), media_type="application/json")


@router.get("/reports/cash-in-hand", responses={**problems(), 200: {"model": CashInHandOut, "content": CSV}})
def get_cash_in_hand(session: SessionDep, principal: StaffDep, now: NowDep, format: ReportFormat = "json") -> Response:
    """Return the cash that is not banked, by person and by bag: from the collection to the deposit that names the bag.

    Deposits that name no bag, and what was in bags when the books began, are unassigned; with them the totals are the
    account `cash_in_bags`, always. A bag that is not banked within `bank_within_days` (a setting, seven by default) is
    work. A collector sees their own bags alone.
    """
    person = principal.person if principal.role == "collector" else None
    found = cash_in_hand_out(
        queries.read_cash_in_hand(session),
        queries.not_in_the_books(session, person=person),
        person=person,
        bank_within_days=levels_in_force(session).bank_within_days,
        today=now.date(),
    )
    if format == "csv":
        return CsvAnswer(cash_csv(found.model_dump()), name="cash-in-hand")
    return Response(found.model_dump_json(), media_type="application/json")
