"""Schemathesis against the running service: whatever the contract lets a client send, the answer keeps the contract.

All checks, by the owner: every example, and what the contract allows at its bounds. ``BAIZEBOOK_TEST_DEEP=1`` adds
chance and chains of requests, and some 8,000 messages that break the contract in one place, which take two minutes.
"""

import subprocess
import sys
from pathlib import Path

from tests.databases import DEEP, OWNER_TOKEN, sqlite_database
from tests.serving import served

CONFIG = Path(__file__).parent / "schemathesis.toml"
ALLOWED_ONLY = '\n[phases.coverage.generation]\nmode = "positive"\n'


def test_the_service_keeps_its_contract_whatever_is_sent(tmp_path: Path) -> None:
    # SQLite only: the same on PostgreSQL, with other seeds and as two venues, is the fault F5.
    config = tmp_path / "schemathesis.toml"
    config.write_text(CONFIG.read_text() + ("" if DEEP else ALLOWED_ONLY))
    with sqlite_database() as database_url, served(database_url) as url:
        run = subprocess.run(
            [sys.executable, "-m", "schemathesis.cli", "--config-file", str(config), "run", f"{url}/openapi.json",
             "--header", f"Authorization: Bearer {OWNER_TOKEN}", "--checks", "all",
             "--phases", "examples,coverage,fuzzing,stateful" if DEEP else "examples,coverage", "--max-examples", "4",
             "--seed", "20261125", "--generation-database", "none"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )  # fmt: skip
    assert run.returncode == 0, run.stdout[-20000:] + run.stderr[-2000:]
    assert "Authentication failed" not in run.stdout, "the owner's token was refused"
