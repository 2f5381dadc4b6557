"""Commands that ask the demo without a server: words on a terminal, tab-separated lines where piped, the API's JSON."""

import csv
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path

import pytest
from baizebook.app import create_app
from baizebook.ops.cli import main
from baizebook.ops.commands import worklist as worklist_command
from baizebook.store import clock, db, settings
from fastapi.testclient import TestClient
from rich.console import Console

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN
from tests.demo.loaded_demo import loaded_demo

Run = Callable[..., str]
BACK_ROOM = "019b8b74-180b-7c39-ad12-3c18ec3842f0"


@pytest.fixture(scope="module")
def demo_url() -> Iterator[str]:
    with loaded_demo() as url:
        yield url


@pytest.fixture
def run(demo_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Run]:
    """Runs a command on the demo at noon; returns what it wrote, and fails where it was refused."""
    monkeypatch.setenv("BAIZEBOOK_DATABASE_URL", demo_url)
    monkeypatch.setenv("BAIZEBOOK_OWNER_TOKEN", OWNER_TOKEN)
    monkeypatch.setattr(clock, "now", lambda: NOON)
    settings.get_settings.cache_clear()
    db.get_engine.cache_clear()

    def run(*arguments: str, refused: bool = False) -> str:
        status = main(arguments)
        written = capsys.readouterr()
        assert status == int(refused), written.err
        return written.err if refused else written.out

    yield run
    db.get_engine().dispose()
    settings.get_settings.cache_clear()
    db.get_engine.cache_clear()


@pytest.fixture
def service(run: Run) -> Iterator[TestClient]:  # noqa: ARG001
    app = create_app()
    app.state.clock = lambda: NOON
    with TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"}) as client:
        yield client


def cells(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(text), dialect=csv.excel_tab))


def test_the_worklist_is_that_of_the_service(run: Run, service: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    items = service.get("/v1/worklist").json()["items"]
    assert json.loads(run("worklist", "--json"))["items"] == items
    lines = cells(run("worklist", "--venue", "the copper lantern"))
    there = [item for item in items if item["venue"] == "The Copper Lantern"]
    assert [line["reason"] for line in lines] == [item["reason"] for item in there] != []
    assert lines[0] == {
        "due_on": "2026-11-23", "venue": "The Copper Lantern", "table": "Back room", "kind": "key settings",
        "reason": "Prices effective 23 Nov 2026, 06:00, have not been keyed. Last keyed on 19 Aug 2026.",
        "bring": "the settings sheet", "person": "",
    }  # fmt: skip
    monkeypatch.setattr(worklist_command, "on_terminal", lambda: True)
    shown = run("worklist", "--venue", "the copper lantern").splitlines()
    assert shown[0] == "2026-11-23  The Copper Lantern, Back room: key settings"
    assert shown[1].strip() == f"{lines[0]['reason']} Bring the settings sheet."
    assert run("worklist", "--person", "Nobody at all") == "Nothing needs doing.\n"


def test_the_settings_sheet_is_that_of_the_service(run: Run, service: TestClient) -> None:
    answer = service.get(f"/v1/tables/{BACK_ROOM}/settings-sheet").json()
    assert json.loads(run("sheet", "--table", "back room", "--json")) == answer
    lines = run("sheet", "--table", "back room").splitlines()
    assert lines[0] == "Settings sheet: Back room, The Copper Lantern"
    assert lines[1].startswith("Prices effective Mon 23 Nov 2026, 06:00. 16 values to key, from what was keyed last.")
    assert next(line for line in lines if line.startswith("[ ] ")) == "[ ] 1. Monday, window 1: key 1.00 for 1 game"
    assert sum(line.startswith("[ ] ") for line in lines) == len(answer["plan"]["steps"])
    assert any("11 for 7.00 (repeat) -> games: 1 for 1.00" in line for line in lines), "old beside new"
    assert "expected a date such as 2026-12-01" in run("sheet", "--table", "back room", "--on", "soon", refused=True)
    assert "which no table has" in run("sheet", "--table", "attic", refused=True)


def test_tokens_are_listed_and_revoked_by_name_or_id(run: Run, service: TestClient) -> None:
    made = run("token", "create", "--role", "reader", "--name", "Cell").strip()
    run("token", "create", "--role", "reader", "--name", "Twin")
    run("token", "create", "--role", "reader", "--name", "twin")
    assert service.get("/v1/me", headers={"Authorization": f"Bearer {made}"}).status_code == 200
    listed = run("token", "list")
    assert made not in listed
    line = next(line for line in cells(listed) if line["name"] == "Cell")
    assert (line["role"], line["made_on"], line["revoked_on"]) == ("reader", "2026-11-25", "")
    assert json.loads(run("token", "list", "--json"))["items"] == service.get("/v1/tokens").json()["items"]
    assert run("token", "revoke", "CELL") == f"Revoked: Cell (reader, {line['id']}).\n"
    assert service.get("/v1/me", headers={"Authorization": f"Bearer {made}"}).status_code == 401
    assert "which no token has" in run("token", "revoke", "Cell", refused=True), "it is revoked already"
    assert "which 2 tokens have" in run("token", "revoke", "twin", refused=True)
    for twin in [line["id"] for line in cells(run("token", "list")) if line["name"].lower() == "twin"]:
        assert run("token", "revoke", twin).startswith("Deleted, for it was never used: ")
    assert "twin" not in run("token", "list").lower()


def test_an_export_has_the_files_that_the_service_answers(run: Run, service: TestClient, tmp_path: Path) -> None:
    folder = tmp_path / "november"
    listed = cells(run("export", str(folder), "--month", "2026-11"))
    files = {file.name: file for file in folder.iterdir()}
    assert {line["file"]: int(line["bytes"]) for line in listed} == {str(x): x.stat().st_size for x in files.values()}
    period = "from=2026-11-01&to=2026-11-30"
    venue = "019b8b74-1805-7fb3-9a3a-5c505ee980d9"
    for name, address in {
        "journal.csv": f"/v1/ledger/export?{period}",
        "journal.beancount": f"/v1/ledger/export?{period}&format=beancount",
        "journal.ledger": f"/v1/ledger/export?{period}&format=ledger",
        "statement-the-copper-lantern.csv": f"/v1/venues/{venue}/statements?month=2026-11&format=csv",
        "earnings.csv": "/v1/reports/earnings?from=2026-11-01&to=2026-12-01&by=table,venue&format=csv",
        "cash-in-hand.csv": "/v1/reports/cash-in-hand?format=csv",
    }.items():
        assert files[name].read_bytes() == service.get(address).content, name
    assert json.loads(files["tax.json"].read_text()) == service.get(f"/v1/reports/tax?{period}").json()
    assert "year.csv" not in files
    assert "an export never replaces a file" in run("export", str(folder), "--month", "2026-11", refused=True)
    assert "expected a month such as 2026-11" in run("export", str(tmp_path / "x"), "--month", "2026-13", refused=True)
    empty = tmp_path / "year"
    empty.mkdir()
    told = json.loads(run("export", str(empty), "--year", "2026", "--json"))
    assert {file["file"] for file in told["files"]} == {file.name for file in empty.iterdir()} >= {"year.csv"}
    assert (empty / "year.csv").read_bytes() == service.get("/v1/reports/year?year=2026&format=csv").content
    assert sorted(path.name for path in tmp_path.iterdir()) == ["november", "year"], "nothing unfinished is left"


def test_bars_show_on_a_terminal_and_nowhere_else(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("assess") == "The worklist is up to date for all tables.\n"
    screen = Console(file=StringIO(), force_terminal=True, width=100)
    monkeypatch.setattr("baizebook.ops.terminal._error_screen", lambda: screen)
    run("assess")
    run("backup", str(tmp_path / "route.backup"))
    shown = screen.file.getvalue()  # type: ignore[attr-defined]
    for word in ("Working out earnings", "Assessing tables", "12/12", "Backing up", "3/3"):
        assert word in shown
    assert capsys.readouterr().err == ""


def test_the_shell_completes_commands_without_the_application() -> None:
    def completed(words: str) -> list[str]:
        environment = {**os.environ, "_BAIZEBOOK_COMPLETE": "complete_bash", "COMP_WORDS": words}
        environment["COMP_CWORD"] = str(len(words.split()) - 1)
        command = [sys.executable, "-X", "importtime", "-c", "from baizebook.ops.cli import main; main([])"]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
        assert "baizebook.app" not in done.stderr
        return done.stdout.split()

    assert completed("baizebook token re") == ["revoke"]
    assert completed("baizebook wor") == ["worklist"]


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_reader_that_goes_away_ends_a_command_without_a_word(demo_url: str) -> None:
    command = f"{sys.executable} -m baizebook worklist | head -1"
    environment = {**os.environ, "BAIZEBOOK_DATABASE_URL": demo_url}
    done = subprocess.run(command, shell=True, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.startswith("due_on\t")
    assert done.stderr == ""


def test_verify_knows_the_table_of_every_record_without_the_rest_of_the_service() -> None:
    code = (
        "import baizebook.ops.commands.ledger, baizebook.reports.queries as q; from sqlmodel import SQLModel; "
        "print({t for parts in q._RECORDS.values() for t, _ in parts} - set(SQLModel.metadata.tables))"
    )
    found = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert found.stdout == "set()\n"
