"""How long an owner's spreadsheets take to come in, and how much memory: 40 venues, 120 tables, a year of readings.

Run it as ``python -m tests.benchmarks.imports``. It works on a SQLite file of its own, prints, and asserts nothing about
time: 10,000 readings should take less than ten seconds on an idle machine, the same file again less, and 40,000 readings
no more memory than 10,000 but for the keys that the file has used (about 200 bytes each). All files come in twice; the second time must
change nothing.
"""

import resource
import tempfile
import tracemalloc
from pathlib import Path
from time import perf_counter, process_time

from baizebook.imports.cells import CellRules
from baizebook.ops.import_on_terminal import FileToImport, import_on_terminal
from baizebook.store import clock
from baizebook.store.db import make_engine
from sqlalchemy import Engine

from tests.databases import settings_for, sqlite_database
from tests.imports.owners_files import readings_csv, tables_csv, venues_csv

VENUES, TABLES = 40, 120
LINES = (10_000, 40_000)


def run() -> None:
    """Import the files twice, and say what it took."""
    with sqlite_database() as url, tempfile.TemporaryDirectory() as folder:
        engine = make_engine(settings_for(url))
        for of, content in (("venues", venues_csv(VENUES)), ("tables", tables_csv(VENUES))):
            path = Path(folder) / f"{of}.csv"
            path.write_text(content, newline="")
            for times in ("once", "again"):
                _report(engine, path, of, f"{of}, {times}")
        for lines in LINES:
            path = Path(folder) / f"readings-{lines}.csv"
            with path.open("w", newline="") as file:
                file.writelines(readings_csv(lines, tables=TABLES))
            for times in ("once", "again"):
                _report(engine, path, "readings", f"{lines:,} readings, {times}")
        engine.dispose()
    print(f"most memory of the process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MiB")


def _report(engine: Engine, path: Path, of: str, what: str) -> None:
    """Import one file and print how long it took; then import it again under a memory trace."""
    file = FileToImport(path=path, of=of, columns={}, rules=CellRules())  # type: ignore[arg-type]
    started, worked = perf_counter(), process_time()
    tally = import_on_terminal(engine, file, mode="lines", preview=False, now=clock.now()).tally
    took, cpu = perf_counter() - started, process_time() - worked
    tracemalloc.start()
    again = import_on_terminal(engine, file, mode="lines", preview=True, now=clock.now()).tally
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    if again.counts["same"] != again.counts.total():
        raise SystemExit(f"{what}: the same file changes {again.counts}")
    print(
        f"{what:28} {took:7.2f} s ({cpu:.2f} s of CPU)   {dict(tally.counts)}   {peak / 1e6:6.1f} MB at the most while it is checked again"
    )


if __name__ == "__main__":
    run()
