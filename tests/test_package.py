"""The package: a wheel that serves beside somebody else's ``api`` and ``migrations``, and says who made it."""

import json
import os
import shutil
import subprocess
import sys
import urllib.request
import zipfile
from collections.abc import Mapping
from email.parser import HeaderParser
from importlib.metadata import version
from pathlib import Path

import baizebook
import pytest

from tests.databases import OWNER_TOKEN
from tests.serving import served

ROOT = Path(__file__).parent.parent
SOURCES = ("api", "migrations", "pyproject.toml", "README.md", "LICENSE")
SETUPTOOLS_MIN = 80
"""As ``pyproject.toml`` requires; here it is used without an isolated build, which would need a network."""


def run(*command: str | Path, cwd: Path, **environment: str) -> str:
    done = subprocess.run(
        command, cwd=cwd, env={**os.environ, **environment}, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from a copy of the sources: a build leaves folders behind."""
    if int(version("setuptools").split(".")[0]) < SETUPTOOLS_MIN:
        pytest.skip(f"NOT TESTED: the package. Install setuptools {SETUPTOOLS_MIN} or newer (.[test] has it).")
    copy = tmp_path_factory.mktemp("sources")
    for name in SOURCES:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, copy)
    wheels = tmp_path_factory.mktemp("wheels")
    run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", wheels, ".", cwd=copy)
    (made,) = wheels.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def project(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Another project: an environment with the wheel in it, and folders ``api`` and ``migrations`` of its own.

    The environment sees the libraries of the one that runs the tests, but not an editable install there: ``.pth``
    files are read in an environment's own folder only.
    """
    folder = tmp_path_factory.mktemp("project")
    run(sys.executable, "-m", "venv", "--without-pip", "env", cwd=folder)
    (libraries,) = (folder / "env" / "lib").glob("python*/site-packages")
    seen = [path for path in sys.path if path.endswith("site-packages")]
    (libraries / "libraries_of_the_tests.pth").write_text("\n".join(seen) + "\n")
    install = ("-m", "pip", "--python", folder / "env" / "bin" / "python", "install", "-q", "--no-deps", "--no-index")
    run(sys.executable, *install, "--ignore-installed", wheel, cwd=folder)
    for name in ("api", "migrations"):
        (folder / name).mkdir()
        (folder / name / "__init__.py").write_text('OWNER = "another project"\n')
    return folder


def settings_of(project: Path) -> Mapping[str, str]:
    return {"BAIZEBOOK_DATABASE_URL": f"sqlite:///{project}/route.db", "BAIZEBOOK_OWNER_TOKEN": OWNER_TOKEN}


def test_the_wheel_holds_one_package_its_migrations_and_its_types(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    assert {name.split("/")[0] for name in names} == {
        "baizebook",
        f"baizebook-{baizebook.__version__}.dist-info",
    }
    sources = {f"baizebook/{path.relative_to(ROOT / 'api')}" for path in (ROOT / "api").rglob("*.py")}
    sources |= {f"baizebook/{path.relative_to(ROOT)}" for path in (ROOT / "migrations").rglob("*.py")}
    assert sources <= set(names)
    assert "baizebook/web/answers.json" in names
    assert {"baizebook/py.typed", "baizebook/migrations/script.py.mako"} <= set(names)


def test_the_package_says_who_made_it_and_its_one_version(wheel: Path) -> None:
    (name,) = (name for name in zipfile.ZipFile(wheel).namelist() if name.endswith("METADATA"))
    said = HeaderParser().parsestr(zipfile.ZipFile(wheel).read(name).decode())
    assert (said["Name"], said["Version"]) == ("baizebook", baizebook.__version__)
    assert (said["Author"], said["License-Expression"]) == ("The Baizebook authors", "MIT")
    assert "Typing :: Typed" in said.get_all("Classifier", [])
    assert said.get_all("Project-URL") is None


def test_another_project_keeps_its_own_api_and_migrations(project: Path) -> None:
    asks = (
        "import api, migrations, baizebook, baizebook.migrations\n"
        "from baizebook.pricing import Ladder\n"
        "print(api.OWNER, migrations.OWNER, baizebook.__file__, sep='\\n')"
    )
    said = run(project / "env" / "bin" / "python", "-c", asks, cwd=project).splitlines()
    assert said[:2] == ["another project", "another project"]
    assert Path(said[2]).is_relative_to(project)


def test_the_installed_package_migrates_quotes_and_serves(project: Path) -> None:
    python, command = project / "env" / "bin" / "python", project / "env" / "bin" / "baizebook"
    settings = settings_of(project)
    for way in ((command,), (python, "-m", "baizebook")):
        assert run(*way, "--version", cwd=project).split() == ["baizebook", baizebook.__version__]
    run(python, "-m", "baizebook", "demo", "--no-serve", cwd=project, **settings)  # it migrates first
    asked = ("quote", "--venue", "The Copper Lantern", "--day", "tuesday", "--time", "21:00", "--money", "10.00")
    answer = json.loads(run(command, *asked, "--json", cwd=project, **settings))
    assert answer["window"]["name"] == "Team night"
    with served(settings["BAIZEBOOK_DATABASE_URL"], command=(str(command), "serve")) as address:
        request = urllib.request.Request(f"{address}/v1/venues", headers={"Authorization": f"Bearer {OWNER_TOKEN}"})
        with urllib.request.urlopen(request, timeout=10) as response:
            assert len(json.load(response)["items"]) == 6
