"""XLSX workbooks (ECMA-376): one sheet's rows as they come, within bounds; and templates to fill in.

- The parts of the archive are bounded in number and in the size that they declare before any is inflated, and the
  archive's reader inflates no more than a part declares. Entities and document types are refused (defusedxml).
- A cell's own date or number is taken as it is. A formula or an error is refused where it is met; merged cells are
  refused for the whole sheet, because all but the first of them are empty.
"""

from __future__ import annotations

import io
import posixpath
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from typing import Any, BinaryIO

import openpyxl
from defusedxml import ElementTree
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter

from ..pricing.errors import DomainError, Fault
from .cells import Cell, Formula
from .columns import COLUMNS_MAX, FIELDS_BY_KIND, Of
from .csv_file import refused_file
from .table_file import CELL_LENGTH_MAX, FileRow, OpenFile

PARTS_MAX = 2_000
INFLATED_BYTES_MAX = 64 * 1024 * 1024

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_STRICT = "{http://purl.oclc.org/ooxml/spreadsheetml/main}"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"


def open_workbook(file: BinaryIO, of: Of, *, sheet: str | None = None) -> OpenFile:
    """Return the headers and rows of one sheet; the rows are read as they are asked for.

    Without ``sheet`` it is the one named like the kind, or the only one that holds anything. Refuses
    (``unreadable_file``) what is no workbook, is too large inside, or leaves the sheet open; and (``merged_cells``)
    a sheet with merged cells.
    """
    _check_archive(file)
    book = _guarded(lambda: openpyxl.load_workbook(file, read_only=True, data_only=False, keep_links=False))
    chosen = _chosen(book, of, sheet)
    _refuse_merged(file, chosen.title)
    rows = _rows(chosen)
    header = next((row for row in rows if not row.is_empty), None)
    if header is None:
        raise refused_file(found="an empty sheet", expected="a line of column names, and lines below it")
    headers = ["" if cell is None else _header(cell) for cell in header.cells]
    while headers and not headers[-1]:
        headers.pop()
    return OpenFile(tuple(headers), rows, (f"Sheet: {chosen.title}.",))


def _check_archive(file: BinaryIO) -> None:
    start = file.read(4)
    file.seek(0)
    if start == _OLD_WORKBOOK:
        found = "a workbook of the old form (.xls), or one with a password"
        raise refused_file(found=found, expected="XLSX without a password")
    try:
        with zipfile.ZipFile(file) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        raise refused_file(found="bytes that are no workbook", expected="XLSX, or the content type text/csv") from None
    finally:
        file.seek(0)
    size = sum(part.file_size for part in parts)
    if len(parts) > PARTS_MAX or size > INFLATED_BYTES_MAX:
        expected = f"at most {PARTS_MAX} parts of {INFLATED_BYTES_MAX >> 20} MiB together; save it as CSV"
        raise refused_file(found=f"{len(parts)} parts of {size >> 20} MiB", expected=expected)
    if "[Content_Types].xml" not in names:
        raise refused_file(found="an archive that is no workbook", expected="XLSX, or the content type text/csv")


def _guarded(read: Any) -> Any:
    """Return what a reader of workbooks returns: whatever else it raises is a fault of the file."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of parts that are not read: styles, validation, extensions
            return read()
    except DomainError:
        raise
    except Exception as error:
        raise _broken(error) from None


def _broken(error: Exception) -> DomainError:
    """Build the refusal of a broken workbook: the library raises whatever a broken part leads it to."""
    found = f"a workbook that cannot be read ({type(error).__name__})"
    return refused_file(found=found, expected="XLSX as a spreadsheet program writes it")


def _chosen(book: Any, of: Of, name: str | None) -> Any:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if name is not None:
        if name not in sheets:
            raise refused_file(
                found=f"no sheet {name[:60]!r}", expected=f"one of {', '.join(sheets)[:300]}", where="sheet"
            )
        return sheets[name]
    if of in sheets:
        return sheets[of]
    filled = [sheet for sheet in sheets.values() if any(not row.is_empty for row in _rows(sheet))]
    if len(filled) != 1:
        found = f"{len(filled)} sheets that hold something" if filled else "empty sheets"
        raise refused_file(found=found, expected=f"one, or sheet= with one of {', '.join(sheets)[:300]}", where="sheet")
    return filled[0]


def _rows(sheet: Any) -> Iterator[FileRow]:
    sheet.reset_dimensions()  # they may lie, or be missing
    try:
        for line, found in enumerate(sheet.iter_rows(min_row=1, min_col=1), start=1):
            last = next((place for place in range(len(found), 0, -1) if found[place - 1].value is not None), 0)
            if last > COLUMNS_MAX:
                raise refused_file(found=f"{last} columns", expected=f"at most {COLUMNS_MAX}", where=f"line {line}")
            yield FileRow(line, [_value(cell, line) for cell in found[:last]])
    except DomainError:
        raise
    except Exception as error:
        raise _broken(error) from None


def _value(cell: Any, line: int) -> Cell:
    value = cell.value
    if cell.data_type in ("f", "e"):
        return Formula(value if isinstance(value, str) else "a formula")
    if isinstance(value, str) and (len(value) > CELL_LENGTH_MAX or "\0" in value):
        raise refused_file(
            found="a cell that is too long", expected=f"at most {CELL_LENGTH_MAX} characters", where=f"line {line}"
        )
    return value  # type: ignore[no-any-return]


def _header(cell: Cell) -> str:
    if isinstance(cell, Formula):
        raise refused_file(found=f"a formula, {cell.text[:60]!r}", expected="a column's name", where="header")
    return str(cell).strip()


def _refuse_merged(file: BinaryIO, title: str) -> None:
    """Refuse (``merged_cells``) a sheet with merged cells."""
    file.seek(0)
    with zipfile.ZipFile(file) as archive:
        part = _guarded(lambda: _part_of(archive, title))
        ranges = _guarded(lambda: list(_merged(archive, part)))
    file.seek(0)
    if ranges:
        expected = "one cell for each value: unmerge them and fill in every line"
        raise DomainError(*(Fault("merged_cells", where[:40], "merged cells", expected) for where in ranges))


def _part_of(archive: zipfile.ZipFile, title: str) -> str:
    """Return the archive's part that holds a sheet (ECMA-376 part 1, 12.3.24)."""
    targets: dict[str, str] = {}
    book = next(name for name in archive.namelist() if name.endswith("workbook.xml"))
    folder, name = posixpath.split(book)
    for relation in ElementTree.fromstring(archive.read(f"{folder}/_rels/{name}.rels")):
        targets[relation.attrib["Id"]] = relation.attrib["Target"]
    for sheet in ElementTree.fromstring(archive.read(book)).iter():
        if sheet.tag.endswith("}sheet") and sheet.get("name") == title:
            id = next(value for name, value in sheet.attrib.items() if name.endswith("}id"))
            target = targets[id]
            return target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
    raise KeyError(title)


def _merged(archive: zipfile.ZipFile, part: str) -> Iterator[str]:
    with archive.open(part) as xml:
        rows = None
        for event, element in ElementTree.iterparse(xml, events=("start", "end")):
            if event == "start":
                rows = element if element.tag.endswith("}sheetData") else rows
            elif element.tag in (f"{_MAIN}mergeCell", f"{_STRICT}mergeCell"):
                yield element.get("ref", "")
            elif element.tag.endswith("}row") and rows is not None:
                rows.clear()


def template_workbook(of: Of, header: Sequence[str]) -> bytes:
    """Return a workbook to fill in: a sheet named like the kind with its header, and one that explains the columns."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    sheet = book.create_sheet(of)
    sheet.append(list(header))
    explained = book.create_sheet("Columns")
    explained.append(["Column", "Required", "What it says", "Example"])
    for field in FIELDS_BY_KIND[of]:
        name = f"{field.name} …" if field.is_family else field.name
        explained.append([name, "yes" if field.required else "", field.says, field.example])
    for page in (sheet, explained):
        page.freeze_panes = "A2"
        for place, cell in enumerate(page[1], start=1):
            cell.font, cell.fill = Font(bold=True), PatternFill("solid", fgColor="DCE9E1")
            width = max(len(str(row[place - 1].value or "")) for row in page.iter_rows())
            page.column_dimensions[get_column_letter(place)].width = min(max(width + 2, 10), 70)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
