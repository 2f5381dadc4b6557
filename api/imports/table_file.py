"""What the readers of files have in common: rows with their line numbers, and what they refuse."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from .cells import Cell

CELL_LENGTH_MAX = 4_000


@dataclass(frozen=True, slots=True)
class FileRow:
    """A line of a file: its number, counted from 1 as a spreadsheet shows it, and its cells."""

    line: int
    cells: Sequence[Cell]

    @property
    def is_empty(self) -> bool:
        """Tell whether no cell of the line holds anything."""
        return all(cell is None or (isinstance(cell, str) and not cell.strip()) for cell in self.cells)


@dataclass(frozen=True, slots=True)
class OpenFile:
    """A file being read: the headers, the rows below them, and how the file itself was read, in words.

    ``close`` lets go of the file under it, which its opener closes.
    """

    headers: tuple[str, ...]
    rows: Iterable[FileRow]
    rules: tuple[str, ...]
    close: Callable[[], object] = tuple
