"""HTTP for how tables are played."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response

from ..web.auth import Principal, allow
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Date, Id
from ..web.svg_answer import SVG, SvgAnswer
from .convert import play_csv, play_svg
from .schemas import PlayOut
from .service import read_play

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)


@router.get("/reports/play", responses={**problems(409), 200: {"model": PlayOut, "content": {**CSV, **SVG}}})
def get_play(
    session: SessionDep,
    principal: Annotated[Principal, allow("accountant")],
    from_: Annotated[Date, Query(alias="from", description="The first trading date.")],
    to: Annotated[Date, Query(description="The trading date after the last one.")],
    venue_id: Annotated[Id | None, Query(description="Only tables while they were at this venue.")] = None,
    table_id: Annotated[Id | None, Query(description="Only this table.")] = None,
    format: Annotated[
        Literal["json", "csv", "svg"],
        Query(description="A csv has one line a table and meter, and one a price and window; an svg draws them."),
    ] = "json",
) -> Response:
    """How tables are played: games and minutes, what a game brought, and what was bought at each price.

    Everything goes from one reading of the meters to the next, inside the period. The share bought at each price is a
    range that holds every way to buy so many games for so much money. A window gets what was counted between two readings
    that both lie in it. The rest is ``cannot_tell``, with how much it is.
    """
    found = read_play(session, from_on=from_, until_on=to, venue_id=venue_id, table_id=table_id)
    if format == "csv":
        return CsvAnswer(play_csv(found), name=f"play-{from_}-{to}")
    if format == "svg":
        return SvgAnswer(play_svg(found))
    return Response(found.model_dump_json(by_alias=True), media_type="application/json")
