"""Sends the requests of the guide's pages in order, and writes each page again with the answers that came.

``python -m tests.guide`` writes all pages anew: run it when an answer has changed. A test compares them.

After ``http`` stands the instant at which the request is sent, where the clock moves on. After ``json`` stand the fields
that the page shows, such as ``id tables.word.text``; without any it shows the whole answer. Ids and tokens that the
service makes are different each time: a page has made-up ones, in the order in which they come.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

from baizebook.app import create_app
from baizebook.web.examples import DEMO_IDS
from baizebook.web.guide import FOLDER, PAGES
from fastapi.testclient import TestClient

from tests.conftest import NOON
from tests.databases import OWNER_TOKEN, settings_for, shared_engine, sqlite_database
from tests.demo.loaded_demo import loaded_demo

EMPTY = {"first-day"}
"""Pages that begin with an empty database; the others begin with the demo."""

_BLOCK = re.compile(
    r"^```http(?P<when>[^\n]*)\n(?P<request>.*?)^```\n\n```(?P<kind>json|text)(?P<shown>[^\n]*)\n(?P<answer>.*?)^```\n",
    re.M | re.S,
)
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_TOKEN = re.compile(r"bz_[A-Za-z0-9_-]{20,}")
_SECRET = re.compile(r"whsec_[A-Za-z0-9+/=]{20,}")


class Reader:
    """Sends requests as a page has them; knows which made-up id or token stands for which real one."""

    def __init__(self, client: TestClient, known: str) -> None:
        self.client = client
        self.made_up: dict[str, str] = {}
        self.known = known

    def send(self, request: str) -> Any:
        """Send a request of a page; its body follows after an empty line."""
        head, _, body = self._real(request).partition("\n\n")
        first, *lines = head.splitlines()
        method, path = first.split(" ", 1)
        headers = dict(line.split(": ", 1) for line in lines)
        if body.strip():
            headers.setdefault("Content-Type", "application/json")
        return self.client.request(method, path, headers=headers, content=body.encode() or None)

    def written(self, text: str) -> str:
        """Return an answer with made-up ids and tokens."""
        text = _TOKEN.sub(lambda found: self._named(found[0], "bz_made-up-token-number-{:04d}"), text)
        text = _SECRET.sub("whsec_bWFkZSB1cCBmb3IgdGhpcyBwYWdlLCBzaWducyBub3RoaW4=", text)
        return _UUID.sub(lambda found: self._named(found[0], "01940000-0000-7000-8000-{:012d}"), text)

    def _named(self, real: str, pattern: str) -> str:
        if real in self.known:
            return real
        return self.made_up.setdefault(real, pattern.format(len(self.made_up) + 1))

    def _real(self, text: str) -> str:
        for real, made_up in self.made_up.items():
            text = text.replace(made_up, real)
        return text


def page_with_answers(name: str) -> str:
    """Return a page as it must read: each answer as the service gives it."""
    text = (FOLDER / f"{name}.md").read_text()
    with serving(name) as (client, known):
        reader = Reader(client, known + _senders_own(text))

        def answered(found: re.Match[str]) -> str:
            if found["when"].strip():
                now = datetime.fromisoformat(found["when"].strip()).astimezone(UTC)
                client.app.state.clock = lambda: now  # type: ignore[attr-defined]
            answer = reader.send(found["request"])
            assert answer.is_success, f"{name}: {found['request']}\n{answer.text}"
            said = (
                answer.text.replace("\r\n", "\n")
                if found["kind"] == "text"
                else _json(answer.json(), found["shown"].split())
            )
            return found[0][: found.start("answer") - found.start()] + reader.written(said).rstrip("\n") + "\n```\n"

        return _BLOCK.sub(answered, text)


def _senders_own(text: str) -> str:
    """Return the ids of a page that the service did not make up: its senders made them."""
    return "".join(found for found in _UUID.findall(text) if not found.startswith("01940000-"))


def _json(answer: Any, shown: list[str]) -> str:
    return json.dumps(
        _cut(answer, [path.split(".") for path in shown]) if shown else answer, indent=1, ensure_ascii=False
    )


def _cut(value: Any, paths: list[list[str]]) -> Any:
    if isinstance(value, list):
        return [_cut(item, paths) for item in value]
    if not isinstance(value, dict) or [] in paths:
        return value
    below: dict[str, list[list[str]]] = {}
    for first, *rest in paths:
        assert first in value, f"no field {first} in {sorted(value)}"
        below.setdefault(first, []).append(rest)
    return {name: _cut(value[name], rest) for name, rest in below.items()}


@contextmanager
def serving(name: str) -> Iterator[tuple[TestClient, str]]:
    """Yield a client of the service that a page begins with, and the ids that are the same each time."""
    with sqlite_database() if name in EMPTY else loaded_demo() as url:
        app = create_app(settings_for(url), shared_engine(url))
        app.state.clock = lambda: NOON
        headers = {"Authorization": f"Bearer {OWNER_TOKEN}"}
        with TestClient(app, base_url="http://127.0.0.1:8000", headers=headers) as client:
            yield client, "" if name in EMPTY else " ".join(map(str, DEMO_IDS.values()))


if __name__ == "__main__":
    for page in PAGES:
        written = page_with_answers(page)
        (FOLDER / f"{page}.md").write_text(written)
        print(page)
