"""F5: Schemathesis, all checks and phases, by two venues whose readings are nobody else's: the contract is kept.

By the owner alone it runs in the ordinary test command (``tests/test_schemathesis.py``). Here two tokens of venues are
peers: what one of them lists or makes must never be shown to the other.
"""

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from random import Random
from uuid import uuid4

from tests.databases import postgres_database, sqlite_database
from tests.faults.fault import Fault, check
from tests.faults.nursery import nursery
from tests.faults.route import Place, furnish, post

CONFIG = Path(__file__).parent.parent / "schemathesis.toml"
OF_A_VENUE = "^/v1/(readings|quotes|tables/.*/health|venues/.*/(week|statements))"
BYPASSED, ANOTHERS = "API accepts requests without authentication", "Object-level authorization bypass"
SHOWN = 4000


def run(chance: Random, rounds: int) -> str:
    """Run with so many seeds on each kind of database."""
    for database in (sqlite_database, postgres_database):
        for _ in range(rounds):
            _explore(database, chance)
    return f"{rounds} seeds on each database, two venues as peers, every check and phase: no failure"


def control(chance: Random) -> None:
    """A route that asks for no token, and one that shows a venue the readings of another, are found."""
    found = []
    for way, said in (("leave_open", BYPASSED), ("read_anybodys", ANOTHERS)):
        if said not in _told(sqlite_database, chance, way=way, only="^/v1/readings"):
            return
        found.append(said)
    check(False, f"found: {', '.join(found)}")


def _explore(database: Callable[[], AbstractContextManager[str]], chance: Random) -> None:
    told = _told(database, chance, only=OF_A_VENUE)
    check(not told, told)


def _told(database: Callable[[], AbstractContextManager[str]], chance: Random, *, way: str = "", only: str = "") -> str:
    """Let Schemathesis ask as both venues; return what it has to say against the service, or nothing."""
    with database() as url, nursery(url, way=way) as server, tempfile.TemporaryDirectory() as folder:
        server.start()
        config = _two_venues(server.url, Path(folder))
        run = subprocess.run(
            [sys.executable, "-m", "schemathesis.cli", "--config-file", str(config), "run", f"{server.url}/openapi.json",
             "--checks", "all", "--max-examples", "10", "--seed", str(chance.randrange(1 << 31)),
             "--generation-database", "none", *(["--include-path-regex", only] if only else [])],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )  # fmt: skip
    return "" if run.returncode == 0 else run.stdout[-SHOWN:] + run.stderr[-SHOWN:]


def _two_venues(url: str, folder: Path) -> Path:
    """Make two venues, each with readings and a token of its own; return Schemathesis' settings."""
    users = []
    for name, place in zip(("here", "there"), furnish(url, 2), strict=True):
        post(url, "/readings", {"readings": [place.reading(number, uuid4()) for number in range(5)]})
        users.append(_user(url, name, place))
    (folder / "auth.json").write_text(json.dumps({"auth": users}))
    config = folder / "schemathesis.toml"
    peers = '[auth.wfc]\npath = "auth.json"\npeers = ["here", "there"]\n'
    config.write_text(f"{CONFIG.read_text()}\n{peers}")
    return config


def _user(url: str, name: str, place: Place) -> dict[str, object]:
    token = post(url, "/tokens", {"name": name, "role": "venue", "venue_id": place.venue_id})["token"]
    return {"name": name, "fixedHeaders": [{"name": "Authorization", "value": f"Bearer {token}"}]}


FAULT = Fault(name="F5", says="the contract, by two venues", run=run, control=control, short=1, long=3)
