"""Schemathesis against the running service: whatever the contract lets a client send, the answer keeps the contract.

All checks, by the owner: every example, and values at the bounds of the contract, of a message that several operations
share at one of them. ``BAIZEBOOK_TEST_DEEP=1`` adds the others, chance and chains of requests, and some 8,000 messages
that break the contract in one place, which take two minutes.
"""

import subprocess
import sys
from pathlib import Path

from tests.databases import DEEP, OWNER_TOKEN, sqlite_database
from tests.serving import served

CONFIG = Path(__file__).parent / "schemathesis.toml"
ALLOWED_ONLY = '\n[phases.coverage.generation]\nmode = "positive"\n'
SHARED = {
    "POST /v1/collections/batch": "POST /v1/collections",
    "POST /v1/collections/preview": "POST /v1/collections",
    "POST /v1/jobs/batch": "POST /v1/jobs",
    "POST /v1/keyings/batch": "POST /v1/tables/{table_id}/keyings",
    "POST /v1/tables/{table_id}/schedules": "POST /v1/venues/{venue_id}/schedules",
    "POST /v1/tariffs/check": "POST /v1/tariffs",
    "PATCH /v1/tables/{table_id}": "POST /v1/venues/{venue_id}/tables",
}
"""Operations whose message is another operation's too: in the short run its bounds are tried there."""
EXAMPLES_ALONE = "".join(
    f'\n[[operations]]\ninclude-name = "{name}"\nphases.coverage.enabled = false\n' for name in SHARED
)


def test_the_service_keeps_its_contract_whatever_is_sent(tmp_path: Path) -> None:
    # SQLite only: the same on PostgreSQL, with other seeds and as two venues, is the fault F5.
    config = tmp_path / "schemathesis.toml"
    config.write_text(CONFIG.read_text() + ("" if DEEP else ALLOWED_ONLY + EXAMPLES_ALONE))
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
