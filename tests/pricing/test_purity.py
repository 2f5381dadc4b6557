"""The engine stands alone."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOADS = """
import json, sys
before = set(sys.modules)
sys.path.insert(0, sys.argv[1])
import baizebook.pricing
print(json.dumps(sorted(set(sys.modules) - before)))
"""


def loaded(*options: str) -> list[str]:
    """Return the modules that importing the engine loads in a fresh interpreter."""
    with tempfile.TemporaryDirectory() as home:
        (Path(home) / "baizebook").symlink_to(ROOT / "api")
        command = [sys.executable, "-I", *options, "-c", LOADS, home]
        names: list[str] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return names


def test_importing_the_engine_loads_the_standard_library_and_itself_only() -> None:
    # Third-party packages are installed here: any that the engine imported would be loaded.
    names = loaded()
    foreign = {name.partition(".")[0] for name in names} - set(sys.stdlib_module_names)
    # The build's own data, which the standard library's list of itself leaves out.
    assert {name for name in foreign if not name.startswith("_sysconfigdata_")} == {"baizebook"}
    assert {".".join(name.split(".")[:2]) for name in names if name.startswith("baizebook.")} == {"baizebook.pricing"}


def test_the_engine_can_be_imported_where_nothing_is_installed() -> None:
    assert "baizebook.pricing.quote" in loaded("-S")
