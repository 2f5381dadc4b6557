"""HTTP for reports."""

from collections import Counter
from typing import Annotated, Any, Literal
from uuid import UUID

from fastapi import APIRouter, Query, Response
from sqlmodel import Session

from ..ledger.export.period import Period
from ..settlements.settling import waiting_claims
from ..venues import service as venues_service
from ..web.auth import Principal, allow
from ..web.dependencies import SessionDep
from ..web.errors import Problem, refused
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import TEXT_PATTERN, Date, Id
from . import queries
from .convert import statement_out, venue_year_out
from .schemas import DifferencesOut, StatementOut, TaxReportOut, YearReportOut
from .statement import Statement
from .statement_csv import statement_csv, year_csv

router = APIRouter(prefix="/v1", tags=["cash"], route_class=Route)
AccountantDep = Annotated[Principal, allow("accountant")]
PreviewParam = Annotated[bool, Query(description="Check and answer as if it were stored, but store nothing.")]
CollectorName = Annotated[
    str | None,
    Query(min_length=1, max_length=120, pattern=TEXT_PATTERN, description="Who collected; only an owner may ask."),
]


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
        raise refused("invalid", where="table_id", found=found, expected="one of table_id and collector")
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


_CSV: dict[str, Any] = {"text/csv": {"schema": {"type": "string"}}}


def _csv(text: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return Response(text.encode(), media_type="text/csv; header=present; charset=utf-8", headers=headers)


VenueDep = Annotated[Principal, allow("accountant", "venue")]
Month = Annotated[str | None, Query(pattern=r"^20[0-9]{2}-(0[1-9]|1[0-2])$", description="Such as 2026-11.")]
OrYear = Annotated[int | None, Query(ge=2000, le=2099, description="Instead of a month.")]
Year = Annotated[int, Query(ge=2000, le=2099)]
ReportFormat = Annotated[Literal["json", "csv"], Query()]


@router.get("/venues/{venue_id}/statements", responses={**problems(409), 200: {"model": StatementOut, "content": _CSV}})
def get_statement(
    session: SessionDep,
    principal: VenueDep,
    venue_id: Id,
    month: Month = None,
    year: OrYear = None,
    format: ReportFormat = "json",
) -> Response:
    """Return a venue's statement over a month or a year: what it was owed, what changed it, what it is owed now."""
    told, name = _statement(session, principal, venue_id, month=month, year=year)
    if format == "csv":
        return _csv(statement_csv(told), f"statement-{month or year}")
    return Response(statement_out(told, venue=name).model_dump_json(), media_type="application/json")


@router.get(
    "/venues/{venue_id}/statements.csv",
    response_class=Response,
    responses={**problems(409), 200: {"content": _CSV, "description": "CSV."}},
)
def get_statement_csv(
    session: SessionDep, principal: VenueDep, venue_id: Id, month: Month = None, year: OrYear = None
) -> Response:
    """Say the same as `format=csv`: one line an entry, between the opening and the closing balance."""
    told, _ = _statement(session, principal, venue_id, month=month, year=year)
    return _csv(statement_csv(told), f"statement-{month or year}")


def _statement(
    session: Session, principal: Principal, venue_id: UUID, *, month: str | None, year: int | None
) -> tuple[Statement, str]:
    principal.must_see_venue(venue_id)
    venue = venues_service.get_venue(session, venue_id)
    if (month is None) == (year is None):
        found = "neither" if year is None else "both"
        raise refused("invalid", where="month", found=found, expected="one of month and year")
    period = Period.of_month(*map(int, month.split("-"))) if month else Period.of_year(year or 0)
    carried: Counter[str] = Counter()
    for claim in waiting_claims(session, venue_id, until_on=period.to_on):
        carried[claim.name or claim.code] += claim.amount
    told = queries.read_statement(
        session, venue_id=venue_id, currency=venue.currency, period=period, carried_forward=carried
    )
    return told, venue.name


@router.get("/reports/year", responses={**problems(409), 200: {"model": YearReportOut, "content": _CSV}})
def get_year_report(
    session: SessionDep, principal: AccountantDep, year: Year, format: ReportFormat = "json"
) -> Response:
    """Return what each venue was given in a calendar year, beside the threshold of the year's tax form. No tax advice."""
    if format == "csv":
        return get_year_report_csv(session, principal, year)
    payees = venues_service.payees(session)
    totals = queries.read_year(session, year)
    items = [venue_year_out(x, venue=payees[x.venue_id][0], legal_name=payees[x.venue_id][1]) for x in totals]
    return Response(YearReportOut(year=year, items=items).model_dump_json(), media_type="application/json")


@router.get(
    "/reports/year.csv",
    response_class=Response,
    responses={**problems(409), 200: {"content": _CSV, "description": "CSV."}},
)
def get_year_report_csv(session: SessionDep, principal: AccountantDep, year: Year) -> Response:
    """Say the same as `GET /v1/reports/year?format=csv`: one line a venue."""
    return _csv(year_csv(queries.read_year(session, year), venues_service.payees(session)), f"year-{year}")
