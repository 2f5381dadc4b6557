"""CSV files: their encoding, what separates their columns, their rows as they come.

- UTF-8 with or without its mark, UTF-16 with its mark. Bytes that are neither are refused until the sender states
  ``encoding=cp1252``: a wrong guess would spoil names for good.
- Columns are separated by commas, semicolons or tabs: by whichever makes most headers known. ``sep=;`` in the first
  line, as some spreadsheets write it, is heeded.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from typing import BinaryIO, Literal, TextIO

from ..pricing.errors import DomainError, domain_error
from .columns import COLUMNS_MAX, Of, recognised
from .table_file import CELL_LENGTH_MAX, FileRow, OpenFile

Encoding = Literal["utf-8", "utf-16", "cp1252"]

_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_NAMES = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "cp1252": "Windows-1252"}
_WORKBOOK, _OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"


def open_csv(file: BinaryIO, of: Of, *, encoding: Encoding | None = None) -> OpenFile:
    """Return a CSV file's headers and rows; the rows are read as they are asked for.

    Refuses (``unreadable_file``) an empty file, a workbook, another encoding and broken quotes.
    """
    start = file.read(4096)
    file.seek(0)
    if not start.strip():
        raise refused_file(found="an empty file", expected="a line of column names, and lines below it")
    if start.startswith((_WORKBOOK, _OLD_WORKBOOK)):
        raise refused_file(found="a workbook", expected="CSV, or the content type of XLSX")
    codec = _codec(start, encoding)
    text = io.TextIOWrapper(file, codec, newline="")
    first, separator, above = _first_line(text, of)
    rows = _rows(text, separator, codec, above=above)
    header = next(rows, None) if first is None else first
    if header is None:
        raise refused_file(found="an empty file", expected="a line of column names, and lines below it")
    headers = tuple("" if cell is None else str(cell).strip() for cell in header.cells)
    while headers and not headers[-1]:
        headers = headers[:-1]
    words = (f"Text: {_NAMES[codec]}; columns separated by {_SEPARATORS[separator]}.",)
    return OpenFile(headers, rows, words, text.detach)


def _codec(start: bytes, encoding: Encoding | None) -> str:
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if encoding == "utf-16":
        raise refused_file(
            found="UTF-16 without its mark", expected="UTF-16 that begins with a byte order mark, or UTF-8"
        )
    if b"\0" in start:
        raise refused_file(found="a NUL byte", expected="text: CSV in UTF-8, or UTF-16 with its mark")
    return "cp1252" if encoding == "cp1252" and not start.startswith(codecs.BOM_UTF8) else "utf-8-sig"


def _first_line(text: TextIO, of: Of) -> tuple[FileRow | None, str, int]:
    """Return the first line that is not empty, the separator, and how many lines were read; no line if it named one."""
    line = ""
    above = 0
    try:
        while not line.strip("\r\n\t ;,"):
            line = text.readline(100_000)
            above += 1
            if not line:
                raise refused_file(found="an empty file", expected="a line of column names, and lines below it")
            while line.count('"') % 2 and len(line) < 100_000:  # a header with a line break in it
                more = text.readline(100_000)
                if not more:
                    break
                line += more
                above += 1
    except UnicodeError as error:
        raise _undecodable(error, line=above + 1) from None
    first = line.strip().casefold()
    if len(first) == 5 and first.startswith("sep=") and first[4] in _SEPARATORS:
        return None, first[4], above
    cut = {mark: next(csv.reader([line], delimiter=mark), []) for mark in _SEPARATORS}
    separator = max(cut, key=lambda mark: (recognised(of, cut[mark]), len(cut[mark])))
    if len(cut[separator]) > COLUMNS_MAX:
        raise refused_file(found=f"{len(cut[separator])} columns", expected=f"at most {COLUMNS_MAX}", where="line 1")
    return FileRow(above, cut[separator]), separator, above


def _rows(text: TextIO, separator: str, codec: str, *, above: int) -> Iterator[FileRow]:
    """Yield the rows of a text; a row's number is that of its first line."""
    reader = csv.reader(text, delimiter=separator, strict=True)
    line = above
    try:
        for cells in reader:
            if len(cells) > COLUMNS_MAX:
                raise refused_file(
                    found=f"{len(cells)} columns", expected=f"at most {COLUMNS_MAX}", where=f"line {line + 1}"
                )
            if any(len(cell) > CELL_LENGTH_MAX or "\0" in cell for cell in cells):
                expected = f"at most {CELL_LENGTH_MAX} characters, none of them NUL"
                raise refused_file(found="a cell that is too long", expected=expected, where=f"line {line + 1}")
            yield FileRow(line + 1, cells)
            line = above + reader.line_num
    except csv.Error as error:
        raise refused_file(
            found=str(error)[:80], expected="cells with quotes in pairs", where=f"line {line + 1}"
        ) from None
    except UnicodeError as error:
        raise _undecodable(error, line=above + reader.line_num + 1, codec=codec) from None


def _undecodable(error: UnicodeError, *, line: int, codec: str = "utf-8-sig") -> DomainError:
    found = "bytes that are not text"
    if isinstance(error, UnicodeDecodeError):
        around = error.object[max(error.start - 12, 0) : error.end + 12]
        shown = around.decode("cp1252", "replace").strip()
        found = f"bytes that are not {_NAMES[codec]}, near {shown!r} if they are Windows-1252"
    expected = "UTF-8, UTF-16 with its mark, or encoding=cp1252 if it is Windows-1252"
    return refused_file(found=found, expected=expected, where=f"line {line} or later")


def refused_file(*, found: str, expected: str, where: str = "body") -> DomainError:
    """Build the refusal of a file that cannot be read."""
    return domain_error("unreadable_file", where=where, found=found, expected=expected)
