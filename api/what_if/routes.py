"""HTTP for two lists of prices side by side."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response

from ..web.auth import Principal, allow
from ..web.dependencies import SessionDep, stores_nothing
from ..web.openapi import problems
from ..web.operation import Route
from .convert import what_if_csv
from .schemas import WhatIfIn, WhatIfOut
from .service import what_if

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)

AccountantDep = Annotated[Principal, allow("accountant")]
_CSV: dict[str, Any] = {"text/csv": {"schema": {"type": "string"}}}


@router.post("/reports/what-if", responses={**problems(409), 200: {"model": WhatIfOut, "content": _CSV}})
@stores_nothing
def compare_prices(
    session: SessionDep,
    principal: AccountantDep,
    compared: WhatIfIn,
    format: Annotated[Literal["json", "csv"], Query(description="A csv has one line an amount.")] = "json",
) -> Response:
    """Two lists of prices side by side, by past intake.

    For every amount and every time of the week: what it buys under each. What the coins and notes counted in a period
    would have bought under the other prices, the share of play that may be lost before they bring in less, and takings at
    the elasticity that you assume. Nothing is stored.
    """
    found = what_if(session, compared)
    if format == "json":
        return Response(found.model_dump_json(by_alias=True), media_type="application/json")
    headers = {"Content-Disposition": 'attachment; filename="what-if.csv"'}
    return Response(what_if_csv(found).encode(), media_type="text/csv; header=present; charset=utf-8", headers=headers)
