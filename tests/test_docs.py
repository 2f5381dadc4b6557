"""What the README shows is true: its Python runs, its terminal answers, its commands exist."""

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from baizebook.app import create_app
from baizebook.ops import cli, command_database
from baizebook.store import clock
from baizebook.store.settings import Settings
from baizebook.web import openapi
from baizebook.web.guide import FOLDER, PAGES
from fastapi.testclient import TestClient

from tests import pictures
from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for, shared_engine
from tests.demo.loaded_demo import loaded_demo

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()
CI = (ROOT / ".ci" / "run").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize("code", blocks("python"))
def test_the_python_of_the_readme_runs(code: str) -> None:
    exec(compile(code, "README.md", "exec"), {})


def test_the_terminal_answers_as_the_readme_shows(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with loaded_demo() as url:
        engine = shared_engine(url)
        monkeypatch.setattr(command_database, "get_engine", lambda: engine)
        monkeypatch.setattr(clock, "now", lambda: NOON)
        for block in blocks("console"):
            command, *answer = block.rstrip("\n").split("\n")
            assert cli.main(shlex.split(command.removeprefix("$ baizebook "))) == 0
            assert capsys.readouterr().out.splitlines() == answer
        engine.dispose()


def test_the_service_answers_as_the_readme_shows(demo: TestClient) -> None:
    shown = re.findall(r"```sh\nask \"([^\"]+)\"\n```\n```(json|text)\n(.*?)\n```", README, re.DOTALL)
    assert len(shown) == README.count('\nask "') == len(re.findall(r"^\*\*\d+\. .*\?\*\*", README, re.M)) == 10
    for address, kind, answer in shown:
        given = demo.get(f"/v1/{address}")
        assert given.status_code == 200, (address, given.text)
        if kind == "text":
            assert given.text == answer
        else:
            assert_holds(given.json(), json.loads(answer), address)


def assert_holds(given: Any, shown: Any, place: str) -> None:
    """Compare an answer with what is shown of it: fields that are left out do not matter, nor offers after the last."""
    if isinstance(shown, dict):
        for name, value in shown.items():
            assert_holds(given[name], value, f"{place} {name}")
    elif isinstance(shown, list):
        for number, value in enumerate(shown):
            assert_holds(given[number], value, f"{place} {number}")
    else:
        assert given == shown, place


@pytest.fixture
def demo() -> Iterator[TestClient]:
    """The service on the demo, loaded at noon."""
    with loaded_demo() as url:
        app = create_app(settings_for(url), shared_engine(url))
        app.state.clock = lambda: NOON
        with TestClient(app, headers={"Authorization": f"Bearer {OWNER_TOKEN}"}) as client:
            yield client


def test_every_proof_of_a_promise_exists() -> None:
    table = README.split("| promise | test |")[1].split("\n\n")[0]
    proofs = [row.split("|")[2] for row in table.splitlines()[2:]]
    assert len(proofs) > 5
    for proof in proofs:
        files = re.findall(r"`([^`]+)`", proof)
        faults = re.findall(r"\bF[0-9]+\b", proof)
        assert files or faults, proof
        for name in files:
            assert (ROOT / name).is_file(), name
        for name in faults:
            assert list((ROOT / "tests" / "faults").glob(f"{name.lower()}_*.py")), name


def test_the_pictures_of_the_readme_are_those_of_the_demo(demo: TestClient) -> None:
    demo.base_url = "http://127.0.0.1:8000"  # type: ignore[assignment]
    assert pictures.WEEK.read_text() == pictures.drawn_week(demo), "make them again: python -m tests.pictures"
    shown = pictures.hash_in_picture(pictures.CARD.read_bytes())
    assert shown == pictures.hash_of_page(pictures.card_page(demo)), "make them again: python -m tests.pictures"
    for picture in (pictures.WEEK, pictures.CARD):
        assert f"]({picture.relative_to(ROOT)})" in README
        assert demo.get(f"/assets/{picture.name}").headers["content-type"].startswith("image/")


def test_the_readme_is_short_and_its_links_lead_somewhere() -> None:
    assert len(README.splitlines()) <= 250
    for link in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / link).is_file(), link
    for page in PAGES:
        assert f"]({(FOLDER / page).relative_to(ROOT)}.md)" in README


def test_every_command_for_unix_has_one_for_windows_beside_it() -> None:
    for command in blocks("sh"):
        if not command.startswith(("python3", "ask()")):
            continue
        beside = README.split(f"```sh\n{command}```")[1].split("```powershell\n")[1].split("```")[0]
        for name in re.findall(r"baizebook demo|-m pytest|constraints\.txt|Authorization: Bearer", command):
            assert name in beside, name


def test_the_readme_speaks_to_whoever_reads_it() -> None:
    assert re.findall(r"\b(?:he|him|his|Somebody)\b", README) == []
    assert "You own" in README


def test_the_readme_names_every_setting() -> None:
    for name in Settings.model_fields:
        assert f"`BAIZEBOOK_{name.upper()}`" in README


def test_every_tag_of_the_contract_is_explained(contract: dict[str, Any]) -> None:
    used = {tag for item in contract["paths"].values() for operation in item.values() for tag in operation["tags"]}
    assert used == set(openapi.TAGS)


def test_the_checks_run_the_test_command_of_the_readme() -> None:
    install, run = ".[test]", "-m pytest"
    command = next(block for block in blocks("sh") if "pytest" in block)
    assert install in command
    assert run in command
    assert install in CI
    assert run in CI
