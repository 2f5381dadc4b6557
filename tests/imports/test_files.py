"""Files as people have them: encodings, separators, workbooks; and what is refused, with nothing half-stored."""

import io
import shutil
import subprocess
import warnings
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from baizebook.imports.csv_file import open_csv
from baizebook.imports.workbook import open_workbook
from baizebook.pricing import DomainError
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as some

from tests.databases import sqlite_database
from tests.imports.test_imports_api import CSV, VENUES, codes, here, items, outcomes, refused, send

__all__ = ["here"]
XLSX = {"Content-Type": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
HEADER = "name,time_zone,currency\n"


def wall(*parts: int) -> datetime:
    """Return a date and time as a workbook holds it: it knows no zones."""
    return datetime(*parts)  # type: ignore[arg-type]  # noqa: DTZ001


@pytest.fixture
def database_url() -> Iterator[str]:
    """SQLite alone: files are read the same whatever the database is."""
    with sqlite_database() as url:
        yield url


def workbook(*lines: list[Any], change: Callable[[Any], None] = lambda _: None) -> bytes:
    """Return a workbook of one sheet."""
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for line in lines:
        sheet.append(line)
    change(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def rewritten(content: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook with one part of its archive changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    return out.getvalue()


VENUE_LINES = (["name", "time_zone", "currency"], ["The Copper Lantern", "America/New_York", "USD"])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_what_says_its_encoding_is_read(at_noon: TestClient, encoding: str) -> None:
    text = HEADER + "Café Mühle,Europe/Berlin,EUR\n"
    send(at_noon, "venues", text.encode(encoding))
    assert items(at_noon, "/venues")[0]["name"] == "Café Mühle"


def test_windows_1252_is_asked_about_then_read(at_noon: TestClient) -> None:
    content = (HEADER + "Café Mühle,Europe/Berlin,EUR\n").encode("cp1252")
    problem = refused(at_noon, "venues", content)
    assert problem["code"] == "unreadable_file"
    assert "Café M" in problem["errors"][0]["found"]
    assert "encoding=cp1252" in problem["errors"][0]["expected"]
    send(at_noon, "venues", content, encoding="cp1252")
    assert items(at_noon, "/venues")[0]["name"] == "Café Mühle"


@pytest.mark.parametrize(
    "text",
    [
        "name;time_zone;currency\r\na;Europe/Berlin;EUR\r\n",
        "sep=;\nname;time_zone;currency\na;Europe/Berlin;EUR",
        "\n\nname\ttime_zone\tcurrency\na\tEurope/Berlin\tEUR\n",
    ],
)
def test_separators_are_found(at_noon: TestClient, text: str) -> None:
    answer = send(at_noon, "venues", text)
    assert outcomes(answer) == ["new"]
    assert answer["lines"][0]["line"] == text.rstrip("\r\n").count("\n") + 1


REFUSED = {
    "an empty file": (b"", "unreadable_file"),
    "white space": (b"\n \n", "unreadable_file"),
    "no header": (b"The Copper Lantern,America/New_York,USD\n", "no_header"),
    "an unknown column": ((HEADER.strip() + ",colour\na,Europe/Berlin,EUR,red\n").encode(), "unknown_column"),
    "a column twice": ((HEADER.strip() + ",venue name\na,Europe/Berlin,EUR,b\n").encode(), "column_twice"),
    "a missing column": (b"name,currency\na,EUR\n", "missing_column"),
    "a cell beyond the header": ((HEADER + "a,Europe/Berlin,EUR,red\n").encode(), "unreadable_file"),
    "a quote that does not end": ((HEADER + '"a,Europe/Berlin,EUR\n').encode(), "unreadable_file"),
    "a NUL": ((HEADER + "a\0b,Europe/Berlin,EUR\n").encode(), "unreadable_file"),
    "a workbook": (workbook(*VENUE_LINES), "unreadable_file"),
    "UTF-16 without its mark": ((HEADER + "a,Europe/Berlin,EUR\n").encode("utf-16-le"), "unreadable_file"),
    "a long cell": ((HEADER + "a" * 5000 + ",Europe/Berlin,EUR\n").encode(), "unreadable_file"),
    "many columns": (b"name," * 200 + b"\n", "unreadable_file"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_file_that_cannot_be_read_is_a_clear_problem(at_noon: TestClient, name: str) -> None:
    content, code = REFUSED[name]
    for mode in ("all", "lines"):
        problem = refused(at_noon, "venues", content, mode=mode)
        assert (problem["code"], problem["status"]) == (code, 422)
        assert all(error["found"] and error["expected"] for error in problem["errors"])
    assert items(at_noon, "/venues") == []


def test_all_unknown_and_missing_columns_are_named_and_can_be_stated(at_noon: TestClient) -> None:
    text = "Bar,Zone,Währung,Farbe\nThe Copper Lantern,America/New_York,USD,red\n"
    problem = refused(at_noon, "venues", text)
    assert [error["found"] for error in problem["errors"]] == ["'Bar'", "'Währung'", "'Farbe'"]
    assert outcomes(send(at_noon, "venues", text, columns="Bar:name;währung:currency;Farbe:-")) == ["new"]
    assert outcomes(send(at_noon, "venues", text)) == ["same"]
    assert refused(at_noon, "venues", text, columns="Bar:nom")["code"] == "unknown_column"
    assert refused(at_noon, "venues", text, columns="Bar")["code"] == "invalid"


def test_a_wrong_content_type_and_too_many_lines(at_noon: TestClient) -> None:
    answer = at_noon.post("/v1/imports?of=venues", content=b"{}", headers={"Content-Type": "application/json"})
    assert (answer.status_code, answer.json()["errors"][0]["where"]) == (400, "Content-Type")
    many = HEADER + "a,Europe/Berlin,EUR\n" * 200_000
    answer = at_noon.post("/v1/imports?of=venues", content=many, headers=CSV)
    assert (answer.status_code, answer.json()["code"]) == (413, "too_large")
    assert "20000 lines" in answer.json()["detail"]


def post_workbook(client: TestClient, of: str, content: bytes, **asked: Any) -> Any:
    return client.post("/v1/imports", params={"of": of, **asked}, content=content, headers=XLSX)


def test_a_workbook_is_read_with_its_own_dates_and_numbers(here: TestClient) -> None:
    content = workbook(
        ["table", "taken on", "taken time", "meter cash", "volts", "note"],
        ["Window side", date(2026, 11, 20), time(18, 30), 120, 12.62, "not a formula"],
        [],
        ["Window side", wall(2026, 11, 21), time(18, 30), 131.0, "12,58", None],
    )
    answer = post_workbook(here, "readings", content).json()
    assert (outcomes(answer), [line["line"] for line in answer["lines"]]) == (["new", "new"], [2, 4])
    first, second = items(here, "/readings")
    assert (first["taken_at"], first["supply"]["volts"]) == ("2026-11-20T23:30:00Z", "12.62")
    assert (second["meters"], second["supply"]["volts"]) == ({"cash": 131}, "12.58")


def test_of_mere_bytes_a_workbook_is_told_from_text(at_noon: TestClient) -> None:
    asked = {"params": {"of": "venues", "preview": True}, "headers": {"Content-Type": "application/octet-stream"}}
    for content in (workbook(*VENUE_LINES, ["The Tin Heron", "America/Chicago", "USD"]), VENUES.encode()):
        assert outcomes(at_noon.post("/v1/imports", content=content, **asked).json())[0] == "new"
    assert at_noon.post("/v1/imports", content=PLAIN_ZIP.getvalue(), **asked).json()["code"] == "unreadable_file"


def test_a_formula_is_a_problem_of_its_line_and_merged_cells_of_the_sheet(at_noon: TestClient) -> None:
    formula = workbook(*VENUE_LINES, ['="The "&"Tin Heron"', "America/Chicago", "USD"])
    answer = post_workbook(at_noon, "venues", formula, mode="lines").json()
    assert codes(answer) == [None, "cell_is_formula"]
    merged = workbook(*VENUE_LINES, ["a", "America/Chicago", "USD"], change=lambda sheet: sheet.merge_cells("B2:B3"))
    problem = post_workbook(at_noon, "venues", merged).json()
    assert (problem["code"], problem["errors"][0]["where"]) == ("merged_cells", "B2:B3")


def test_the_sheet_is_the_only_one_that_holds_something_or_the_one_named(at_noon: TestClient) -> None:
    def second(sheet: Any) -> None:
        other = sheet.parent.create_sheet("Notes")
        other.append(["something else"])

    content = workbook(*VENUE_LINES, change=second)
    problem = post_workbook(at_noon, "venues", content).json()
    assert problem["errors"][0]["where"] == "sheet"
    assert post_workbook(at_noon, "venues", content, sheet="Notes").json()["code"] == "no_header"
    assert post_workbook(at_noon, "venues", content, sheet="Nothing").json()["code"] == "unreadable_file"
    assert outcomes(post_workbook(at_noon, "venues", content, sheet="Sheet").json()) == ["new"]


def _entities(xml: bytes) -> bytes:
    bomb = b'<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    return xml.replace(b"<worksheet", bomb + b"<worksheet", 1)


def _bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/worksheets/sheet1.xml", b" " * (65 * 1024 * 1024))
    return out.getvalue()


def _far_cell(sheet: Any) -> None:
    sheet["XFD1048576"] = 1


PLAIN_ZIP = io.BytesIO()
with zipfile.ZipFile(PLAIN_ZIP, "w") as _archive:
    _archive.writestr("readme.txt", "hello")
BROKEN = {
    "CSV": VENUES.encode(),
    "nothing": b"",
    "an archive of something else": PLAIN_ZIP.getvalue(),
    "an archive cut short": workbook(*VENUE_LINES)[:-200],
    "an old workbook": b"\xd0\xcf\x11\xe0" + b"\0" * 600,
    "a zip bomb": _bomb(),
    "entities": rewritten(workbook(*VENUE_LINES), "xl/worksheets/sheet1.xml", _entities),
    "a part that is no XML": rewritten(workbook(*VENUE_LINES), "xl/worksheets/sheet1.xml", lambda xml: xml[:200]),
    "no list of sheets": rewritten(workbook(*VENUE_LINES), "xl/workbook.xml", lambda _: b"<workbook/>"),
    "an empty sheet": workbook(),
    "a cell in the last corner": workbook(*VENUE_LINES, change=_far_cell),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_workbook_that_cannot_be_read_is_a_clear_problem(at_noon: TestClient, name: str) -> None:
    answer = post_workbook(at_noon, "venues", BROKEN[name])
    assert (answer.status_code, answer.json()["code"]) == (422, "unreadable_file"), answer.text
    assert items(at_noon, "/venues") == []


@pytest.mark.parametrize(
    "of", ["venues", "tables", "tariffs", "agreements", "readings", "collections", "opening_balances"]
)
def test_templates_are_files_whose_columns_are_all_known(at_noon: TestClient, of: Any) -> None:
    text = at_noon.get("/v1/imports/template", params={"of": of})
    assert text.headers["content-type"].startswith("text/csv")
    assert send(at_noon, of, text.content)["lines"] == []
    book = at_noon.get("/v1/imports/template", params={"of": of, "format": "xlsx"})
    assert book.headers["content-type"] == XLSX["Content-Type"]
    answer = post_workbook(at_noon, of, book.content).json()
    assert {column["by"] for column in answer["columns"]} <= {"header", "remembered"}
    sheets = openpyxl.load_workbook(io.BytesIO(book.content))
    assert sheets.sheetnames == [of, "Columns"]


def test_libreoffice_and_openpyxl_write_the_same_rows(tmp_path: Path) -> None:
    if shutil.which("soffice") is None:
        warnings.warn("LibreOffice is not installed: its workbooks were not compared", stacklevel=1)
        pytest.skip("LibreOffice (soffice) is NOT INSTALLED: nothing was compared with it")
    lines = [
        ["table", "taken at", "taken time", "meter cash", "volts", "note"],
        ["Window side", wall(2026, 11, 20, 18, 30), time(18, 30), 120, 12.62, "Café ½"],
        ["Upstairs", date(2026, 11, 21), time(0, 5), 98765, 0.1, "two\nlines"],
        [None, None, None, None, None, None],
        [7, wall(2026, 3, 8, 2, 30), None, 0, None, "last"],
    ]
    ours = tmp_path / "ours.xlsx"
    ours.write_bytes(workbook(*lines))
    made = tmp_path / "made"
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/profile", "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(made), str(ours)],
        check=True, capture_output=True, timeout=150,
    )  # fmt: skip

    def rows(path: Path) -> list[list[Any]]:
        with path.open("rb") as file:
            opened = open_workbook(file, "readings")
            return [list(opened.headers), *([*row.cells] for row in opened.rows if not row.is_empty)]

    assert rows(made / "ours.xlsx") == rows(ours)
    assert len(rows(ours)) == 4


def test_rows_of_a_csv_come_as_they_are_asked_for() -> None:
    class Endless(io.RawIOBase):
        """A file that goes on until it is refused more than so many times."""

        asked = 0

        def readable(self) -> bool:
            return True

        def seekable(self) -> bool:
            return True

        def seek(self, offset: int, whence: int = 0) -> int:  # noqa: ARG002
            self.asked = 0
            return 0

        def readinto(self, buffer: Any) -> int:
            self.asked += 1
            if self.asked > 50:
                raise AssertionError("read on and on")
            text = (b"name,time_zone,currency\n" + b"a,Europe/Berlin,EUR\n" * 200)[: len(buffer)]
            buffer[: len(text)] = text
            return len(text)

    opened = open_csv(io.BufferedReader(Endless()), "venues")  # type: ignore[arg-type]
    assert next(iter(opened.rows)).cells == ["a", "Europe/Berlin", "EUR"]


def test_a_broken_line_is_met_when_it_is_reached() -> None:
    opened = open_csv(io.BytesIO((HEADER + "a,Europe/Berlin,EUR\n" * 20_000).encode() + b"\xff\xff\n" * 10), "venues")
    rows = iter(opened.rows)
    assert [next(rows).line for _ in range(19_000)][-1] == 19_001
    with pytest.raises(DomainError) as error:
        list(rows)
    assert error.value.code == "unreadable_file"


@given(some.binary(max_size=300), some.sampled_from([b"", HEADER.encode(), b"\xff\xfe", b"sep=;\n"]))
def test_whatever_bytes_come_they_are_rows_or_a_clear_problem(content: bytes, start: bytes) -> None:
    code, lines = None, [0]
    try:
        lines = [row.line for row in open_csv(io.BytesIO(start + content), "venues").rows]
    except DomainError as error:
        code = error.code
    assert code in (None, "unreadable_file")
    assert lines == sorted(lines)
