"""``baizebook earned``: what was earned in a month."""

from ...store import clock
from ...store.db import reading
from ..command_database import existing_database
from ..earned_on_terminal import as_table, earned_in, earned_lines, waiting_in_words
from ..terminal import on_terminal, print_table, say, say_lines


def earned(*, by: str, month: str, as_json: bool) -> None:
    """Show what was earned in a month: a table, tab-separated lines where piped, or the API's JSON."""
    with reading(existing_database()) as session:
        found = earned_in(session, by=by, month=month, now=clock.now())
    if as_json:
        say(found.model_dump_json(indent=2, by_alias=True))
        return
    lines = list(earned_lines(found))
    if on_terminal():
        print_table(as_table(lines, names=len(found.by), title=f"Earned in {month}"))
        say(waiting_in_words(found) or "All boxes of this time are collected.")
        return
    say_lines("\t".join(line) for line in lines)
