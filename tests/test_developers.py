"""The picture that DEVELOPERS.md opens with is that of the code."""

import re
from pathlib import Path

from tests.floors import floors

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text()


def test_the_picture_of_the_floors_is_drawn_from_the_code() -> None:
    assert f"```\n{floors()}\n```" in TEXT, "run: python -m tests.floors"


def test_every_file_that_is_named_exists() -> None:
    named = set(re.findall(r"`([a-z_]+/[a-z_/]+\.py)`", TEXT))
    assert len(named) > 15
    assert {name for name in named if not (ROOT / name).exists() and not (ROOT / "api" / name).exists()} == set()
