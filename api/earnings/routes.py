"""HTTP for what was earned."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from ..venues.service import get_venue
from ..web.auth import AccountantDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id
from ..web.svg_answer import SVG, SvgAnswer
from .convert import best_and_worst_csv, best_and_worst_svg, earnings_csv, earnings_svg
from .schemas import BestAndWorstOut, EarningsOut
from .service import Compare, EarningsQuestion, groupings, read_best_and_worst, read_earnings, reckon
from .shared_expenses import SharedBy

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)

GroupBy = Annotated[
    str,
    Query(
        pattern=r"^[a-z]*(,[a-z]+)*$",
        max_length=80,
        description="What to group by, separated by commas: table, venue, agreement, week, month, year, denomination. Empty: nothing.",
    ),
]


@router.get("/reports/earnings", responses={**problems(409), 200: {"model": EarningsOut, "content": {**CSV, **SVG}}})
def get_earnings(
    request: Request,
    session: SessionDep,
    principal: AccountantDep,
    now: NowDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The trading date after the last one.")],
    by: GroupBy = "venue",
    compare: Annotated[
        Compare | None, Query(description="Also the period just before, or the same dates a year earlier.")
    ] = None,
    venue_id: Annotated[Id | None, Query(description="Only this venue.")] = None,
    shared_by: Annotated[
        SharedBy | None,
        Query(description="Spread expenses of a venue or the route over its tables by this key; absent: leave them."),
    ] = None,
    format: Annotated[
        Literal["json", "csv", "svg"], Query(description="A csv has one line a row; an svg draws a bar a row.")
    ] = "json",
) -> Response:
    """Report the earnings of a period by table, venue, agreement, week, month, year or denomination.

    A box's money belongs to the days since it was last emptied. Days whose money is still in a box are listed as not yet
    collected, with an estimate. Amounts of different currencies are never added.
    """
    if venue_id is not None:
        get_venue(session, venue_id)
    asked = EarningsQuestion(
        from_on=from_,
        until_on=to,
        by=groupings(by, where="query.by"),
        compare=compare,
        venue_id=venue_id,
        shared_by=shared_by,
    )
    session.rollback()  # its snapshot would not show what is worked out now
    reckon(request.app.state.engine)
    found = read_earnings(session, asked, now=now)
    if format == "json":
        return Response(found.model_dump_json(by_alias=True), media_type="application/json")
    if format == "svg":
        return SvgAnswer(earnings_svg(found))
    text = earnings_csv(found.rows, asked.by)
    return CsvAnswer(text, name=f"earnings-{from_}-{to}")


@router.get(
    "/reports/best-and-worst", responses={**problems(409), 200: {"model": BestAndWorstOut, "content": {**CSV, **SVG}}}
)
def get_best_and_worst(
    request: Request,
    session: SessionDep,
    principal: AccountantDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The trading date after the last one.")],
    venue_id: Annotated[Id | None, Query(description="Only this venue.")] = None,
    count: Annotated[int, Query(ge=1, le=50, description="Tables on each side.")] = 10,
    format: Annotated[
        Literal["json", "csv", "svg"], Query(description="A csv has one line a table; an svg draws a bar a table.")
    ] = "json",
) -> Response:
    """The tables that take in most and least a week, with possible reasons.

    Takings a week, less refunds, over the weeks that a table was on the route. Beside each: its price, the hours a week in
    which it sells, the days on which it was out of order, and what a game brought. A table with less than a week has no
    place; each currency has its own order.
    """
    if venue_id is not None:
        get_venue(session, venue_id)
    session.rollback()  # its snapshot would not show what is worked out now
    reckon(request.app.state.engine)
    asked = EarningsQuestion(from_on=from_, until_on=to, by=(), venue_id=venue_id)
    found = read_best_and_worst(session, asked, count=count)
    if format == "svg":
        return SvgAnswer(best_and_worst_svg(found))
    if format == "csv":
        return CsvAnswer(best_and_worst_csv(found), name=f"best-and-worst-{from_}-{to}")
    return Response(found.model_dump_json(by_alias=True), media_type="application/json")
