"""F14: a token, issued and used also in calls that fail, is in no log, no stored row and no error; revoked is refused."""

import json
import tempfile
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from random import Random

from baizebook.store.db import make_engine
from sqlalchemy import inspect, text

from tests.databases import OWNER_TOKEN, postgres_database, settings_for, sqlite_database
from tests.faults.caller import VENUE, ask
from tests.faults.fault import Fault, check
from tests.serving import CARELESS, SERVE, served

CHALLENGE = 'Basic realm="baizebook", charset="UTF-8", Bearer realm="baizebook", error="invalid_token"'


def run(chance: Random, rounds: int) -> str:
    """Issue and use so many tokens on each database, then look everywhere for them."""
    for database in (sqlite_database, postgres_database):
        _issue_and_look(database, SERVE, chance=chance, tokens=rounds)
    return f"{rounds} tokens on each database: none in logs, rows or errors; revoked ones refused at once"


def control(chance: Random) -> None:
    """A server that logs whole addresses writes down the tokens in them."""
    _issue_and_look(sqlite_database, CARELESS, chance=chance, tokens=3)


def _issue_and_look(
    database: Callable[[], AbstractContextManager[str]], command: Sequence[str], *, chance: Random, tokens: int
) -> None:
    with tempfile.TemporaryFile() as log, database() as live:
        errors: list[bytes] = []
        with served(live, command=command, log=log) as url:
            issued = [_use(url, errors, chance) for _ in range(tokens)]
        log.seek(0)
        places = {"the log": log.read(), "an error": b"\n".join(errors), "the database": _everything_in(live)}
    check(len(places["the log"]) > 1000 and len(errors) >= 6 * tokens, "the places to look at are empty")
    for place, content in places.items():
        found = [token for token in issued if token.encode() in content]
        check(not found, f"{len(found)} of {tokens} tokens stand in {place}")


def _use(url: str, errors: list[bytes], chance: Random) -> str:
    """Make a token with an idempotency key, use it well and badly, revoke it; return it."""
    owner = {"Idempotency-Key": f"{chance.random()}", **_bearer(OWNER_TOKEN)}
    body = {"name": "Bram", "role": chance.choice(["owner", "collector", "accountant"])}
    status, made, _ = ask(url, "POST", "/v1/tokens", body, owner)
    check(status == 201, f"a token was refused: {made!r}")
    check(ask(url, "POST", "/v1/tokens", body, owner)[0] == 409, "an answer that shows a token was kept")
    made_id, token = (json.loads(made)[name] for name in ("id", "token"))
    mine = _bearer(token)
    check(ask(url, "GET", "/v1/venues", None, mine)[0] == 200, "a right token was refused")
    for method, path, sent in (
        ("GET", f"/v1/venues/{token}", None),
        ("GET", f"/v1/venues?access_token={token}", None),
        ("GET", f"/v1/venues?after={token}", None),
        ("GET", f"/v1/{token}", None),
        ("POST", "/v1/venues", {**VENUE, "time_zone": token}),
        ("POST", "/v1/venues", {**VENUE, token: token}),
        ("POST", "/v1/tokens", {"name": "Bram", "role": token}),
    ):
        status, refusal, _ = ask(url, method, path, sent, mine)
        check(400 <= status < 500, f"{method} {path.replace(token, '…')} was answered {status}")
        errors.append(refusal)
    check(ask(url, "DELETE", f"/v1/tokens/{made_id}")[0] == 204, "a token could not be revoked")
    status, refusal, headers = ask(url, "GET", "/v1/venues", None, mine)
    errors.append(refusal)
    check(status in (401, 429), f"a revoked token was answered {status}")
    check(status == 429 or headers["WWW-Authenticate"] == CHALLENGE, f"the challenge was {headers['WWW-Authenticate']}")
    return token


def _bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}


def _everything_in(url: str) -> bytes:
    """Return all rows of all tables, and on SQLite the bytes of the file as well."""
    engine = make_engine(settings_for(url))
    rows = []
    with engine.connect() as connection:
        for name in inspect(engine).get_table_names():
            for row in connection.execute(text(f'SELECT * FROM "{name}"')):
                rows += [value if isinstance(value, bytes) else str(value).encode() for value in row]
    engine.dispose()
    if engine.dialect.name == "sqlite":
        path = Path(str(engine.url.database))
        rows += [file.read_bytes() for file in path.parent.glob(f"{path.name}*")]
    return b"\n".join(rows)


FAULT = Fault(name="F14", says="tokens", run=run, control=control, short=20, long=1000)
