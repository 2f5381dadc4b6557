"""HTTP for what was earned."""

from typing import Annotated, Literal, get_args

from fastapi import APIRouter, Query, Response

from ..venues.service import get_venue
from ..web.auth import Principal, allow
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import NowDep, SessionDep
from ..web.errors import http_problem
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id
from .convert import earnings_csv
from .earned import Grouping
from .schemas import EarningsOut
from .service import Compare, EarningsQuestion, read_earnings

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)

AccountantDep = Annotated[Principal, allow("accountant")]
By = Annotated[
    str,
    Query(
        pattern=r"^[a-z]*(,[a-z]+)*$",
        max_length=80,
        description="What to group by, separated by commas: table, venue, week, month, year, denomination. Empty: nothing.",
    ),
]


@router.get("/reports/earnings", responses={**problems(409), 200: {"model": EarningsOut, "content": CSV}})
def get_earnings(
    session: SessionDep,
    principal: AccountantDep,
    now: NowDep,
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The trading date after the last one.")],
    by: By = "venue",
    compare: Annotated[
        Compare | None, Query(description="Also the period just before, or the same dates a year earlier.")
    ] = None,
    venue_id: Annotated[Id | None, Query(description="Only this venue.")] = None,
    format: Annotated[Literal["json", "csv"], Query(description="A csv has one line a row.")] = "json",
) -> Response:
    """Earnings of a period by table, venue, week, month, year or denomination.

    A box's money belongs to the days since it was last emptied. Days whose money is still in a box are listed as not yet
    collected, with an estimate. Amounts of different currencies are never added.
    """
    if venue_id is not None:
        get_venue(session, venue_id)
    asked = EarningsQuestion(from_on=from_, until_on=to, by=_groupings(by), compare=compare, venue_id=venue_id)
    found = read_earnings(session, asked, now=now)
    if format == "json":
        return Response(found.model_dump_json(by_alias=True), media_type="application/json")
    text = earnings_csv(found.rows, asked.by)
    return CsvAnswer(text, name=f"earnings-{from_}-{to}")


def _groupings(by: str) -> tuple[Grouping, ...]:
    """Return the groupings named, in their order; refuse an unknown one."""
    named = tuple(filter(None, by.split(",")))
    for name in named:
        if name not in get_args(Grouping):
            raise http_problem("invalid", where="query.by", found=name, expected=", ".join(get_args(Grouping)))
    return named  # type: ignore[return-value]
