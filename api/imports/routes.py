"""HTTP for imports and their templates."""

import io
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response

from ..store.db import mark_preview
from ..web.auth import OwnerDep
from ..web.csv_answer import CsvAnswer
from ..web.csv_text import csv_text
from ..web.dependencies import BYTES_TYPE, FileDep, NowDep, PreviewParam, SentFile, SessionDep, takes_file
from ..web.errors import Problem
from ..web.openapi import problems
from ..web.operation import Route
from ..web.schema_types import AskedTime
from . import service
from .cells import CellRules, DateOrder, Decimals, rules_in_words
from .columns import Of, stated_columns, template_header
from .csv_file import Encoding, open_csv
from .schemas import ImportColumnOut, ImportOut, Mode
from .table_file import OpenFile
from .workbook import open_workbook, template_workbook

router = APIRouter(prefix="/v1", tags=["imports"], route_class=Route)
CSV_TYPE = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FILE_LINES_MAX = 20_000
_FILE: dict[str, Any] = {
    "required": True,
    "description": "The bytes of a CSV or XLSX file; the content type of either is taken too.",
    "content": {BYTES_TYPE: {"schema": {"type": "string", "format": "binary"}}},
}
_TEMPLATES: dict[str, Any] = {
    CSV_TYPE: {"schema": {"type": "string"}},
    XLSX: {"schema": {"type": "string", "format": "binary"}},
}
_ZIP = b"PK\x03\x04"
OfParam = Annotated[Of, Query(description="What the lines are.")]
ModeParam = Annotated[
    Mode,
    Query(description="`all`: store all lines, or none if one is refused; `lines`: store each that is not refused."),
]
ColumnsParam = Annotated[
    str | None,
    Query(
        max_length=4000,
        description="What columns are, where their headers do not say it: `Header:field` with `;` between; `Header:-` "
        "leaves a column out. Remembered for the next file with these headers.",
    ),
]
DatesParam = Annotated[
    DateOrder | None,
    Query(description="How dates such as 03/04/2026 are meant: day, month, year (`dmy`), `mdy`, or `ymd`. Remembered."),
]
DecimalsParam = Annotated[
    Decimals | None, Query(description="The sign before the decimals, where 1,234 could be two numbers. Remembered.")
]
TimeParam = Annotated[AskedTime | None, Query(description="The time of day of dates that have none, such as 12:00.")]
EncodingParam = Annotated[
    Encoding | None, Query(description="Of a CSV that is not UTF-8 and has no mark that says so.")
]
SheetParam = Annotated[str | None, Query(max_length=60, description="The sheet of a workbook that has several.")]


@router.post(
    "/imports",
    status_code=201,
    responses=problems(),
    openapi_extra={"requestBody": _FILE},
)
@takes_file(CSV_TYPE, XLSX, BYTES_TYPE)
def import_file(
    session: SessionDep,
    principal: OwnerDep,
    now: NowDep,
    response: Response,
    file: FileDep,
    of: OfParam,
    preview: PreviewParam = False,
    mode: ModeParam = "all",
    columns: ColumnsParam = None,
    dates: DatesParam = None,
    decimals: DecimalsParam = None,
    time_of_day: TimeParam = None,
    encoding: EncodingParam = None,
    sheet: SheetParam = None,
) -> ImportOut:
    """Store the lines of a CSV or XLSX file, at most 20,000, each as the API's own operation would; preview first.

    The same file again changes nothing; a corrected line is `changed`, not `new`. A cell with two readings, such as the
    date 03/04, is refused with the parameter that settles it. A preview stores nothing, and neither does `mode=all` with
    a refused line: then the status is 200, and `stored` is false.
    """
    stated = stated_columns(columns or "")
    opened = _read(_opened(file, of, encoding=encoding, sheet=sheet))
    shape, found, known = service.read_columns(session, of, opened, stated)
    rules = service.rules_for(known, CellRules(dates, decimals, time_of_day))
    lines = service.file_lines(opened, found)

    imported = service.import_lines(session, of, lines, rules, who=service.Who(principal.name, principal.person, now))
    counts = imported.counts()
    stored = not preview and not (mode == "all" and counts["refused"])
    if stored:
        service.remember(session, shape, found, rules, now=now)
    else:
        mark_preview(session)
        response.status_code = 200
    return ImportOut(
        of=of,
        mode=mode,
        stored=stored,
        shape=shape,
        columns=[ImportColumnOut(header=one.header, field=one.field, by=one.by) for one in found],
        rules=[*opened.rules, *rules_in_words(rules)],
        lines=imported.lines,
        **{outcome: counts[outcome] for outcome in ("new", "same", "changed", "refused")},
    )


@router.get(
    "/imports/template",
    response_class=Response,
    responses={200: {"content": _TEMPLATES}, **problems()},
)
def get_import_template(
    principal: OwnerDep,
    of: OfParam,
    format: Annotated[
        Literal["csv", "xlsx"], Query(description="CSV, or a workbook that explains its columns.")
    ] = "csv",
) -> Response:
    """Return a file to fill in and import: the columns of a kind; columns that are not needed may be deleted."""
    header = template_header(of)
    if format == "csv":
        return CsvAnswer(csv_text(header, []), name=of)
    headers = {"Content-Disposition": f'attachment; filename="{of}.xlsx"'}
    return Response(template_workbook(of, header), media_type=XLSX, headers=headers)


def _opened(file: SentFile, of: Of, *, encoding: Encoding | None, sheet: str | None) -> OpenFile:
    """Open a file as what its sender says that it is; of mere bytes a workbook is what begins as one does."""
    content = io.BytesIO(file.content)
    is_workbook = file.kind == XLSX or (file.kind == BYTES_TYPE and file.content.startswith(_ZIP))
    return open_workbook(content, of, sheet=sheet) if is_workbook else open_csv(content, of, encoding=encoding)


def _read(opened: OpenFile) -> OpenFile:
    """Read a file to its end, before the database is asked anything; refuse (``too_large``) too many lines."""
    rows = []
    for row in opened.rows:
        if not row.is_empty:
            rows.append(row)
        if len(rows) > FILE_LINES_MAX:
            detail = f"The file has more than {FILE_LINES_MAX} lines. Send it in parts, or use baizebook import."
            raise Problem("too_large", detail)
    return OpenFile(opened.headers, rows, opened.rules)
