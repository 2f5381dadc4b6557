"""Sends every operation's example to the demo, each to a copy of its own, and keeps the answers for the contract.

``python -m tests.demo.examples_on_the_demo`` writes ``api/web/answers.json``: run it when an answer has changed its form.
Long lists are kept to their first two items; ids, hashes and tokens that the demo does not fix become made-up ones.
"""

import hashlib
import json
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from baizebook.app import create_app, work_on
from baizebook.demo.load import hand_out, load
from baizebook.store.db import make_engine, writing
from baizebook.web.examples import DEMO_IDS
from baizebook.worklist.service import catch_up
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for, sqlite_database

ANSWERS = Path(__file__).parents[2] / "api" / "web" / "answers.json"
_ITEMS_MAX = 2
_UUID = re.compile(r"\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b")
_HASH = re.compile(r"\b[0-9a-f]{64}\b")
_TOKEN = re.compile(r"\bbz_[A-Za-z0-9_-]{20,}")


@contextmanager
def loaded_demo(now: datetime) -> Iterator[Path]:
    """Yield the file of a database with the demo as it is loaded at an instant."""
    with sqlite_database() as url:
        engine = make_engine(settings_for(url))
        with writing(engine) as session:
            load(session, now=now)
        catch_up(engine, now=now)
        with writing(engine) as session:
            hand_out(session, now=now)
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        engine.dispose()
        yield Path(url.removeprefix("sqlite:///"))


def answers_to_examples(now: datetime) -> Iterator[tuple[str, dict[str, Any], Response]]:
    """Send each operation's example to the demo; yield its id, its description in the contract, and the answer."""
    with loaded_demo(now) as file:
        settings = settings_for(f"sqlite:///{file}")
        app = create_app(settings, make_engine(settings))
        for path, item in app.openapi()["paths"].items():
            for method, operation in item.items():
                copy = file.with_suffix(".copy.db")
                shutil.copy(file, copy)
                settings = settings_for(f"sqlite:///{copy}")
                work_on(app, settings, make_engine(settings))
                app.state.clock = lambda: now
                headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
                with TestClient(app, headers=headers, raise_server_exceptions=False) as client:
                    yield operation["operationId"], operation, send_example(client, method, path, operation)
                for left in file.parent.glob(f"{copy.name}*"):
                    left.unlink()


def send_example(client: TestClient, method: str, path: str, operation: dict[str, Any]) -> Response:
    """Send the example of an operation, as its description in the contract has it."""
    given: dict[str, dict[str, Any]] = {"path": {}, "query": {}, "header": {}}
    for parameter in operation.get("parameters", []):
        if "example" in parameter:
            given[parameter["in"]][parameter["name"]] = parameter["example"]
    for name, value in given["path"].items():
        path = path.replace(f"{{{name}}}", str(value))
    content = operation.get("requestBody", {}).get("content", {})
    kind, body = next(((kind, of["example"]) for kind, of in content.items() if "example" in of), ("", None))
    if isinstance(body, str):
        headers = {**given["header"], "Content-Type": kind}
        return client.request(method, path, params=given["query"], headers=headers, content=body)
    return client.request(method, path, params=given["query"], headers=given["header"], json=body)


def example_of(answer: Response) -> Any:
    """Return an answer as the contract shows it."""
    text = answer.text
    known = {str(id) for id in DEMO_IDS.values()}
    for place, found in enumerate(dict.fromkeys(_UUID.findall(text))):
        if found not in known:
            text = text.replace(found, _made_up(place))
    for found in dict.fromkeys(_HASH.findall(text)):
        text = text.replace(found, hashlib.sha256(b"an entry of the demo").hexdigest())
    text = _TOKEN.sub("bz_made-up-for-this-example-it-opens-nothing", text)
    if answer.headers["content-type"].split(";")[0] == "application/json":
        return _shortened(json.loads(text))
    return "".join(text.splitlines(keepends=True)[: _ITEMS_MAX + 1])


def _made_up(place: int) -> str:
    value = int.from_bytes(hashlib.sha256(f"an id of the demo {place}".encode()).digest()[:16])
    value = value & ~(0xFFFF_FFFF_FFFF << 80) | 1_772_000_000_000 + place << 80
    return str(UUID(int=value & ~(0xF << 76 | 0x3 << 62) | 0x7 << 76 | 0x2 << 62))


def _shortened(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _shortened(item) for name, item in value.items()}
    return [_shortened(item) for item in value[:_ITEMS_MAX]] if isinstance(value, list) else value


def main() -> None:
    """Write the answers."""
    answers = {id: example_of(answer) for id, _, answer in answers_to_examples(NOON) if answer.content}
    ANSWERS.write_text(json.dumps(dict(sorted(answers.items())), indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
