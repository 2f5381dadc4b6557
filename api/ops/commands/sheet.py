"""``baizebook sheet``: the settings sheet of a table, to key its prices by."""

from datetime import date

from ...controllers.service import settings_sheet
from ...paper.service import settings_page
from ...pool_tables.convert import cautions_at_controller
from ...pool_tables.service import get_table
from ...store import clock
from ...store.db import reading
from ..command_database import existing_database
from ..found_by_name import table_named
from ..sheet_on_terminal import sheet_lines
from ..terminal import say


def sheet(*, table: str, on: str | None, as_json: bool) -> None:
    """Print the sheet as lines with boxes to tick, or as the API's JSON."""
    asked, now = None if on is None else _date(on), clock.now()
    with reading(existing_database()) as session:
        table_id = table_named(session, table)
        if as_json:
            cautions = cautions_at_controller(get_table(session, table_id))
            answer = settings_sheet(session, table_id, on=asked, now=now, cautions=cautions)
            say(answer.model_dump_json(indent=2, by_alias=True))
            return
        for line in sheet_lines(settings_page(session, table_id, on=asked, now=now)):
            say(line)


def _date(typed: str) -> date:
    try:
        return date.fromisoformat(typed)
    except ValueError:
        raise ValueError(f"--on: found {typed!r}, expected a date such as 2026-12-01.") from None
