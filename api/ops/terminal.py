"""Words on the terminal: answers on the output, refusals on the error stream; colours only where somebody looks."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from ..web.csv_text import one_line

_STYLES = {"good": "green", "warning": "yellow", "bad": "bold red"}


class Graded(Protocol):
    """What a check found: a name, a grade and a sentence."""

    @property
    def what(self) -> str: ...
    @property
    def grade(self) -> str: ...
    @property
    def says(self) -> str: ...


def say(text: str) -> None:
    """Write a text to the output."""
    _print(Text(text))


def complain(text: str) -> None:
    """Write a text to the error stream."""
    _print(Text(text), error=True)


def say_lines(lines: Iterable[str]) -> None:
    """Write lines to the output as they are, for a program to read."""
    sys.stdout.writelines(f"{line}\n" for line in lines)


def show_findings(findings: Iterable[Graded]) -> None:
    """Write a line for each finding; those that are not good to the error stream."""
    for finding in findings:
        line = Text.assemble((f"{finding.grade:7}", _STYLES[finding.grade]), f"  {finding.what}: {finding.says}")
        _print(line, error=finding.grade != "good")


def show_rows(heads: Sequence[str], rows: Iterable[Sequence[str]], *, title: str) -> None:
    """Show rows as a table on a terminal; elsewhere as lines of tab-separated values, each cell on one line."""
    if not on_terminal():
        say_lines("\t".join(map(one_line, cells)) for cells in (heads, *rows))
        return
    table = Table(title=title, title_justify="left")
    for head in heads:
        table.add_column(head.replace("_", " "), overflow="fold")
    for cells in rows:
        table.add_row(*map(Text, cells))
    print_table(table)


def on_terminal() -> bool:
    """Tell whether somebody looks at the output: it is a terminal, not a file or another program."""
    return sys.stdout.isatty()


def print_table(table: Table) -> None:
    """Write a table to a terminal."""
    Console().print(table)


class MoveBar(Protocol):
    """Moves a bar: ``done`` of ``total`` in all, None where nobody knows how many there are."""

    def __call__(self, done: int, total: int | None) -> None: ...


@contextmanager
def progress_bar(doing: str) -> Iterator[MoveBar]:
    """Show on a terminal's error stream how far some work is; nothing where nobody looks."""
    console = _error_screen()
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
        task = progress.add_task(doing, total=None)
        yield lambda done, total: progress.update(task, completed=done, total=total)


def _error_screen() -> Console:
    return Console(stderr=True)


def _print(text: Text, *, error: bool = False) -> None:
    """Print on a terminal with its colours, else plain and unwrapped; at once, for a server may follow."""
    console = Console(stderr=error)
    console.print(text, soft_wrap=True)
    console.file.flush()
