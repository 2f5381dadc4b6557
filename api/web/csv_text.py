"""CSV that a spreadsheet opens as it is meant: the one place that writes it, for every export and every quote.

- RFC 4180: a header, CRLF after every line, cells quoted where they need it, quotes doubled.
- Text is on one line and never a formula: a leading apostrophe guards what begins with ``= + - @ | %`` or one of their
  full-width forms, tabs and line breaks become spaces. Numbers and amounts are written as they are.
- An instant is two cells: its local date and time, such as ``2026-12-01 21:00:00``, under the column's name, and its
  offset from UTC, such as ``-05:00``, under ``…_offset``. A spreadsheet reads the first as a date and time.
- A ``Dialect`` says what a spreadsheet of another country asks for: a decimal comma, semicolons between cells, a byte
  order mark. Text keeps its points: only amounts and numbers get the comma.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

_FORMULA = tuple("=+-@|%＝＋－＠｜％")
_DECIMAL = re.compile(r"-?[0-9]+\.[0-9]+", re.ASCII)
_INSTANTS = ("at", "since")


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a spreadsheet wants its CSV."""

    decimal_comma: bool = False
    semicolon: bool = False
    bom: bool = False


PLAIN = Dialect()


class TextCell(str):
    """Free text that has been guarded: it is never taken for a number."""

    __slots__ = ()


class CsvText(str):
    """CSV text as every dialect has it by default; ``written_as`` writes its cells in another."""

    cells: Sequence[Sequence[object]]

    def written_as(self, dialect: Dialect) -> str:
        """Return the same cells in a dialect."""
        return "".join(_written(self.cells, dialect))


def csv_text(header: Iterable[str], lines: Iterable[Iterable[object]]) -> CsvText:
    """Return CSV text, to be encoded as UTF-8; free text in ``lines`` must have passed ``text_cell``.

    A column named ``at`` or ``since``, or ``…_at`` or ``…_since``, holds instants (or nothing) and becomes two.
    """
    cells = list(_cells(header, lines))
    text = CsvText("".join(_written(cells, PLAIN)))
    text.cells = cells
    return text


def csv_lines(header: Iterable[str], lines: Iterable[Iterable[object]], dialect: Dialect) -> Iterator[str]:
    """Yield the same text line by line, for what is too long to hold: ``lines`` are read one at a time."""
    return _written(_cells(header, lines), dialect)


def _cells(header: Iterable[str], lines: Iterable[Iterable[object]]) -> Iterator[list[object]]:
    names = list(header)
    instants = [name in _INSTANTS or name.endswith(tuple(f"_{one}" for one in _INSTANTS)) for name in names]
    heads = [(name, f"{name}_offset") if instant else (name,) for name, instant in zip(names, instants, strict=True)]
    yield list(chain.from_iterable(heads))
    for line in lines:
        parts = (_instant(cell) if instant else (cell,) for cell, instant in zip(line, instants, strict=True))
        yield list(chain.from_iterable(parts))


def _written(cells: Iterable[Sequence[object]], dialect: Dialect) -> Iterator[str]:
    """Yield each line of cells in a dialect, with its end."""
    out = io.StringIO()
    out.write("\ufeff" if dialect.bom else "")
    writer = csv.writer(out, lineterminator="\r\n", delimiter=";" if dialect.semicolon else ",")
    for line in cells:
        writer.writerow([number_in(cell, dialect) for cell in line] if dialect.decimal_comma else line)
        yield out.getvalue()
        out.seek(0)
        out.truncate()


def text_cell(text: str) -> TextCell:
    """Return free text on one line that no spreadsheet takes for a formula."""
    line = one_line(text)
    return TextCell(f"'{line}" if line.startswith(_FORMULA) else line)


def number_in(cell: object, dialect: Dialect) -> object:
    """Return a cell with a decimal comma where a dialect asks for it and the cell is a decimal number."""
    if not dialect.decimal_comma or isinstance(cell, TextCell):
        return cell
    written = str(cell)
    return written.replace(".", ",") if _DECIMAL.fullmatch(written) else cell


def one_line(text: str) -> str:
    """Return the text with each run of white space and control characters, or what is no character, as one space."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _instant(cell: object) -> tuple[str, str]:
    """Return an instant's local date and time, and its offset; two empty cells where there is none."""
    if cell is None or cell == "":
        return "", ""
    at = cell if isinstance(cell, datetime) else datetime.fromisoformat(str(cell))
    if at.tzinfo is None:
        raise ValueError(f"expected an instant with its offset, found {cell}")
    return at.replace(tzinfo=None).isoformat(" "), at.isoformat()[len(at.replace(tzinfo=None).isoformat()) :]
