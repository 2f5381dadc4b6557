"""HTTP for what a change of prices did."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response

from ..web.auth import AccountantDep
from ..web.csv_answer import CSV, CsvAnswer
from ..web.dependencies import SessionDep
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import Id
from ..web.svg_answer import SVG, SvgAnswer
from .convert import price_change_csv, price_change_svg
from .schemas import PriceChangeOut
from .service import read_price_change

router = APIRouter(prefix="/v1", tags=["reports"], route_class=Route)


@router.get(
    "/reports/price-change", responses={**problems(409), 200: {"model": PriceChangeOut, "content": {**CSV, **SVG}}}
)
def get_price_change(
    session: SessionDep,
    principal: AccountantDep,
    tariff_id: Annotated[Id | None, Query(description="The tariff that tables changed to.")] = None,
    schedule_id: Annotated[Id | None, Query(description="Instead: the schedule that tables changed to.")] = None,
    weeks: Annotated[int, Query(ge=2, le=52, description="The weeks before and after to look at.")] = 8,
    format: Annotated[
        Literal["json", "csv", "svg"], Query(description="A csv has one line a week; an svg draws them.")
    ] = "json",
) -> Response:
    """Report whether a change of prices paid.

    Takings and games a week of the tables that changed, before and after, beside the tables that did not change in the
    same weeks: the difference of the two differences, with an interval that holds it at 90 %. A table counts from the day
    on which it sold by the new prices. Nobody can tell where the interval covers zero, or where fewer than five tables on
    either side have two whole collected weeks before and after.
    """
    found = read_price_change(session, tariff_id=tariff_id, schedule_id=schedule_id, weeks=weeks)
    if format == "json":
        return Response(found.model_dump_json(), media_type="application/json")
    if format == "svg":
        return SvgAnswer(price_change_svg(found))
    return CsvAnswer(price_change_csv(found), name="price-change")
