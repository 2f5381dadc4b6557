"""``baizebook quote``: one question answered without a server."""

from typing import Any

from ...store import clock
from ...store.db import reading
from ..command_database import existing_database
from ..quote_on_terminal import answer_on_terminal
from ..terminal import say


def quote(*, venue: str | None, table: str | None, asked: dict[str, Any], as_json: bool) -> None:
    """Answer one question in words, or as the API's JSON."""
    with reading(existing_database()) as session:
        answer = answer_on_terminal(session, venue=venue, table=table, asked=asked, as_json=as_json, now=clock.now())
    say(answer)
