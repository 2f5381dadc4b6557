"""The threats that are written down name tests that exist, and every promise of the README names its proof."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
THREATS = (ROOT / "DEVELOPERS.md").read_text().split("## Threats")[1].split("\n## ")[0]
SECURITY = (ROOT / "README.md").read_text().split("## Security")[1].split("\n## ")[0]


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`(tests/\S+?::\w+)`", THREATS))))
def test_the_proof_of_a_threat_exists(name: str) -> None:
    path, test = name.split("::")
    assert f"def {test}(" in (ROOT / path).read_text()


def test_every_threat_has_a_control_and_a_proof() -> None:
    rows = [row for row in THREATS.splitlines() if row.startswith("| ")][2:]
    assert len(rows) >= 8
    for row in rows:
        threat, control, proof = (cell.strip() for cell in row.strip("|").split(" | "))
        assert threat
        assert control
        assert "::" in proof


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`(tests/[^`:]+)`", SECURITY))))
def test_the_proof_of_a_promise_exists(name: str) -> None:
    assert (ROOT / name).exists()


@pytest.mark.parametrize("name", sorted(set(re.findall(r"\bF\d+\b", SECURITY))))
def test_a_fault_that_the_readme_names_can_be_tried(name: str) -> None:
    assert list((ROOT / "tests" / "faults").glob(f"{name.lower()}_*.py"))
