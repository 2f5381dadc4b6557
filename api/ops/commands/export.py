"""``baizebook export``: the books and the reports of a month or a year as files in a new folder."""

import json
from collections import deque
from pathlib import Path

from ...earnings.service import reckon_all
from ...store import clock
from ...store.db import reading
from ..command_database import existing_database
from ..export_files import export_files, period_of, write_folder
from ..terminal import say, show_rows


def export(*, folder: Path, month: str | None, year: int | None, as_json: bool) -> None:
    """Write the files of a period, all from one snapshot, and list them."""
    period, engine = period_of(month=month, year=year), existing_database()
    deque(reckon_all(engine), maxlen=0)
    with reading(engine) as session:
        sizes = write_folder(folder, export_files(session, period, year=year, now=clock.now()))
    if as_json:
        listed = [{"file": name, "bytes": size} for name, size in sizes.items()]
        say(json.dumps({"folder": str(folder), "from": str(period.from_on), "to": str(period.to_on), "files": listed}))
        return
    show_rows(("file", "bytes"), ((str(folder / name), str(size)) for name, size in sizes.items()), title="Written")
