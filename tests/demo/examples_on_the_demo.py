"""Sends every operation's example to the demo, takes back what it stored, and keeps the answers for the contract.

``python -m tests.demo.examples_on_the_demo`` writes ``api/web/answers.json``: run it when an answer has changed its form.
Long lists are kept to their first two items; ids, hashes and tokens that the demo does not fix become made-up ones.
"""

import hashlib
import json
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from baizebook.app import create_app
from baizebook.web.examples import DEMO_IDS
from fastapi.testclient import TestClient
from httpx2 import Response

from tests.conftest import NOON, store_nothing
from tests.databases import OWNER_TOKEN, settings_for, shared_engine
from tests.demo.loaded_demo import loaded_demo

ANSWERS = Path(__file__).parents[2] / "api" / "web" / "answers.json"
_ITEMS_MAX = 2
_UUID = re.compile(r"\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b")
_HASH = re.compile(r"\b[0-9a-f]{64}\b")
_TOKEN = re.compile(r"\bbz_[A-Za-z0-9_-]{20,}")
_SECRET = re.compile(r"\bwhsec_[A-Za-z0-9+/=]{20,}")


def answers_to_examples(
    now: datetime, kind: str = "sqlite", contract: dict[str, Any] | None = None
) -> Iterator[tuple[str, dict[str, Any], Response]]:
    """Send each operation's example to the demo; yield its id, its description in the contract, and the answer."""
    with loaded_demo(now, kind) as url:
        app = create_app(settings_for(url), shared_engine(url))
        app.state.clock = lambda: now
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        with TestClient(app, headers=headers, raise_server_exceptions=False) as client:
            store_nothing(client)
            for path, item in (contract or app.openapi())["paths"].items():
                for method, operation in item.items():
                    yield operation["operationId"], operation, send_example(client, method, path, operation)


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
    text = _SECRET.sub("whsec_bWFkZSB1cCBmb3IgdGhpcyBleGFtcGxlLCBzaWducyBub3Q=", text)
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
