"""What the README shows is true: its Python runs, its terminal answers, its commands exist."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from baizebook.app import create_app
from baizebook.demo.load import load
from baizebook.ops import cli, commands
from baizebook.store import migrate
from baizebook.store.db import make_engine, writing
from baizebook.store.settings import Settings
from baizebook.web import openapi

from tests.conftest import NOON
from tests.databases import settings_for, sqlite_database

README = (Path(__file__).parent.parent / "README.md").read_text()
CI = (Path(__file__).parent.parent / ".ci" / "run").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


@pytest.mark.parametrize("code", blocks("python"))
def test_the_python_of_the_readme_runs(code: str) -> None:
    exec(compile(code, "README.md", "exec"), {})


def test_the_terminal_answers_as_the_readme_shows(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        migrate.upgrade(engine)
        with writing(engine) as session:
            load(session, now=NOON)
        monkeypatch.setattr(commands, "get_engine", lambda: engine)
        monkeypatch.setattr(commands.clock, "now", lambda: NOON)
        for block in blocks("console"):
            command, *answer = block.rstrip("\n").split("\n")
            assert cli.main(shlex.split(command.removeprefix("$ baizebook "))) == 0
            assert capsys.readouterr().out.splitlines() == answer
        engine.dispose()


def test_the_readme_names_every_setting() -> None:
    for name in Settings.__dataclass_fields__:
        assert f"`BAIZEBOOK_{name.upper()}`" in README


def test_every_tag_of_the_contract_is_explained() -> None:
    contract: dict[str, Any] = create_app(Settings()).openapi()
    used = {tag for item in contract["paths"].values() for operation in item.values() for tag in operation["tags"]}
    assert used == set(openapi.TAGS)


def test_the_checks_run_the_test_command_of_the_readme() -> None:
    install, run = ".[test]", "-m pytest"
    command = next(block for block in blocks("sh") if "pytest" in block)
    assert install in command
    assert run in command
    assert install in CI
    assert run in CI
