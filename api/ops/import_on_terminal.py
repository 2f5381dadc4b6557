"""Imports from the command line: files of any length, stored part by part, with a bar that shows how far it is.

- Readings go in by parts of 1,000 lines, each committed on its own; all other kinds in one transaction.
- ``all`` reads a long file twice: first as a preview, so that nothing is stored while a line is refused.
- Stop it at any time: stored lines stay. Start it again: they are ``same``, and nothing is doubled.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import BinaryIO

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeRemainingColumn
from sqlalchemy import Engine

from ..imports.cells import CellRules, rules_in_words
from ..imports.columns import Column, Of
from ..imports.csv_file import Encoding, open_csv
from ..imports.lines_to_messages import FileLine, KeysSeen
from ..imports.schemas import ImportLineOut, Mode
from ..imports.service import Who, file_lines, import_lines, read_columns, remember, rules_for
from ..imports.table_file import OpenFile
from ..imports.workbook import open_workbook
from ..store.db import reading, writing

_TOGETHER = 1_000
_SHOWN_MAX = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class FileToImport:
    """A file, and what its sender states of it."""

    path: Path
    of: Of
    columns: dict[str, str]
    rules: CellRules
    encoding: Encoding | None = None
    sheet: str | None = None

    @contextmanager
    def opened(self) -> Iterator[tuple[OpenFile, BinaryIO]]:
        """Open the file as what its name says that it is."""
        with self.path.open("rb") as file:
            if self.path.suffix.casefold() in (".xlsx", ".xlsm"):
                opened = open_workbook(file, self.of, sheet=self.sheet)
            else:
                opened = open_csv(file, self.of, encoding=self.encoding)
            try:
                yield opened, file
            finally:
                opened.close()


@dataclass(slots=True)
class Tally:
    """What became of the lines so far, and the first of those that were refused."""

    counts: Counter[str] = field(default_factory=Counter)
    refused: list[ImportLineOut] = field(default_factory=list)

    def add(self, lines: Iterable[ImportLineOut]) -> None:
        """Count some lines."""
        for line in lines:
            self.counts[line.outcome] += 1
            if line.outcome == "refused" and len(self.refused) < _SHOWN_MAX:
                self.refused.append(line)

    def in_words(self) -> Iterator[str]:
        """Yield the refusals, then the counts."""
        for line in self.refused:
            assert line.problem is not None
            faults = [f"{error.where}: found {error.found}, expected {error.expected}" for error in line.problem.errors]
            yield f"Line {line.line}: {line.problem.title}. {'; '.join(faults) or line.problem.detail}"
        more = self.counts["refused"] - len(self.refused)
        if more:
            yield f"{more} more lines are refused."
        yield ", ".join(f"{self.counts[outcome]} {outcome}" for outcome in ("new", "same", "changed", "refused")) + "."


@dataclass(frozen=True, slots=True)
class ImportOutcome:
    """What an import did: what became of the lines, whether it was stored, how the file was read."""

    tally: Tally
    stored: bool
    rules: list[str]


def import_on_terminal(
    engine: Engine, file: FileToImport, *, mode: Mode, preview: bool, now: datetime
) -> ImportOutcome:
    """Import a file, or preview it; on a terminal a bar shows how far it is."""
    with file.opened() as (opened, _), reading(engine) as session:
        shape, columns, known = read_columns(session, file.of, opened, file.columns)
        rules = rules_for(known, file.rules)
        words = [*opened.rules, *rules_in_words(rules)]
    who = Who("the command line", "the command line", now)
    if preview or mode == "all":
        tally = _pass(engine, file, columns, rules, who, store=False)
        if preview or tally.counts["refused"]:
            return ImportOutcome(tally, False, words)
    tally = _pass(engine, file, columns, rules, who, store=True)
    with writing(engine) as session:
        remember(session, shape, columns, rules, now=now)
    return ImportOutcome(tally, True, words)


def _pass(
    engine: Engine, file: FileToImport, columns: tuple[Column, ...], rules: CellRules, who: Who, *, store: bool
) -> Tally:
    """Go through a file once, part by part."""
    tally, seen = Tally(), KeysSeen()
    with file.opened() as (opened, raw), _bar("Importing" if store else "Checking", file, raw) as advance:
        lines = iter(file_lines(opened, columns))
        while part := list(islice(lines, _TOGETHER) if file.of == "readings" else lines):
            tally.add(_one_part(engine, file.of, part, rules, who, seen, store=store))
            advance(len(part))
    return tally


def _one_part(
    engine: Engine, of: Of, part: list[FileLine], rules: CellRules, who: Who, seen: KeysSeen, *, store: bool
) -> list[ImportLineOut]:
    with writing(engine) as session:
        imported = import_lines(session, of, part, rules, who=who, seen=seen)
        if not store:
            session.rollback()
        return imported.lines


@dataclass(slots=True)
class _Advance:
    """Moves the bar by some lines, to where the file has been read."""

    progress: Progress
    task: TaskID
    raw: BinaryIO | None
    lines: int = 0

    def __call__(self, lines: int) -> None:
        self.lines += lines
        done = self.lines if self.raw is None else self.raw.tell()
        self.progress.update(self.task, completed=done, lines=self.lines)


@contextmanager
def _bar(doing: str, file: FileToImport, raw: BinaryIO) -> Iterator[_Advance]:
    """Show a bar on a terminal: of a CSV by its bytes, of a workbook by the lines that went by."""
    console = Console(stderr=True)
    size = file.path.stat().st_size if file.path.suffix.casefold() == ".csv" else None
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TaskProgressColumn(),
        TextColumn("{task.fields[lines]:,} lines"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
        task = progress.add_task(doing, total=size, lines=0)
        yield _Advance(progress, task, raw if size else None)
