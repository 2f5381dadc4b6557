"""HTTP for two lists of prices side by side."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response

from ..web.auth import AccountantDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import SessionDep, stores_nothing
from ..web.openapi import problems
from ..web.operation import Route
from ..web.svg_answer import SVG, SvgAnswer
from .convert import what_if_csv
from .schemas import WhatIfIn, WhatIfOut
from .service import what_if
from .steps_picture import steps_picture

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)


@router.post("/reports/what-if", responses={**problems(409), 200: {"model": WhatIfOut, "content": {**CSV, **SVG}}})
@stores_nothing
def compare_prices(
    session: SessionDep,
    principal: AccountantDep,
    compared: WhatIfIn,
    format: Annotated[
        Literal["json", "csv", "svg"], Query(description="A csv has one line an amount; an svg draws steps over money.")
    ] = "json",
) -> Response:
    """Two lists of prices side by side, by past intake.

    For every amount and every time of the week: what it buys under each. What the coins and notes counted in a period
    would have bought under the other prices, the share of play that may be lost before they bring in less, and takings at
    the elasticity that you assume. Nothing is stored.
    """
    found, comparisons = what_if(session, compared)
    if format == "json":
        return Response(found.model_dump_json(by_alias=True), media_type="application/json")
    if format == "svg":
        return SvgAnswer(steps_picture(found.sentence, comparisons, currency=found.currency))
    return CsvAnswer(what_if_csv(found), name="what-if")
