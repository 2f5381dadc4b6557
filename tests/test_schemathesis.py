"""Schemathesis against the running service: whatever the contract lets a client send, the answer keeps the contract."""

import subprocess
import sys
from pathlib import Path

from tests.databases import OWNER_TOKEN, sqlite_database
from tests.serving import served

CONFIG = Path(__file__).parent / "schemathesis.toml"


def test_the_service_keeps_its_contract_whatever_is_sent(tmp_path: Path) -> None:
    # SQLite only: the same on PostgreSQL, with other seeds and as two venues, is the fault F5.
    with sqlite_database() as database_url, served(database_url) as url:
        run = subprocess.run(
            [sys.executable, "-m", "schemathesis.cli", "--config-file", str(CONFIG), "run", f"{url}/openapi.json",
             "--header", f"Authorization: Bearer {OWNER_TOKEN}", "--checks", "all", "--max-examples", "4",
             "--seed", "20261125", "--generation-database", "none"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=False,
        )  # fmt: skip
    assert run.returncode == 0, run.stdout[-20000:] + run.stderr[-2000:]
    assert "Authentication failed" not in run.stdout, "the owner's token was refused"
