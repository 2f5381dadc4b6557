"""``baizebook import``: the lines of a spreadsheet, stored or previewed."""

from datetime import time
from pathlib import Path

from ...imports.cells import CellRules, DateOrder, Decimals, read_cell
from ...imports.columns import Of, stated_columns
from ...imports.csv_file import Encoding
from ...imports.schemas import Mode
from ...store import clock
from ..command_database import existing_database
from ..import_on_terminal import FileToImport, import_on_terminal
from ..terminal import complain, say


def import_file(
    *,
    file: Path,
    of: Of,
    mode: Mode,
    preview: bool,
    mapping: str,
    dates: DateOrder | None,
    decimals: Decimals | None,
    time_of_day: str | None,
    encoding: Encoding | None,
    sheet: str | None,
) -> int:
    """Import a file, or preview it; the status is 1 where a line is refused, 130 where somebody stops it."""
    engine = existing_database()
    wall = read_cell(time_of_day, "time", CellRules(), where="--time-of-day")
    asked = FileToImport(
        path=file,
        of=of,
        columns=stated_columns(mapping),
        rules=CellRules(dates, decimals, None if wall is None else time.fromisoformat(wall)),
        encoding=encoding,
        sheet=sheet,
    )
    try:
        outcome = import_on_terminal(engine, asked, mode=mode, preview=preview, now=clock.now())
    except KeyboardInterrupt:
        complain("Stopped. What was stored stays; run the same command again to store the rest.")
        return 130
    if preview:
        for rule in outcome.rules:
            say(rule)
    *refusals, counts = outcome.tally.in_words()
    for refusal in refusals:
        complain(refusal)
    say(f"{counts} {'Stored.' if outcome.stored else 'Nothing was stored.'}")
    return int(outcome.tally.counts["refused"] > 0)
