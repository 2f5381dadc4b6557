"""``baizebook worklist``: what needs doing, earliest due first."""

from datetime import UTC

from ...store import clock
from ...store.db import reading
from ...venues.service import zones
from ...worklist.queries import WorkFilter
from ...worklist.schemas import WorklistPage
from ...worklist.service import all_work, catch_up
from ..command_database import existing_database
from ..found_by_name import venue_named
from ..terminal import on_terminal, say, show_rows

_HEADS = ("due_on", "venue", "table", "kind", "reason", "bring", "person")


def worklist(*, venue: str | None, person: str | None, as_json: bool) -> None:
    """Show what needs doing: a paragraph each, tab-separated lines where piped, or the API's JSON."""
    engine, now = existing_database(), clock.now()
    catch_up(engine, now=now)
    with reading(engine) as session:
        venue_id = None if venue is None else venue_named(session, venue)
        items = all_work(session, WorkFilter(venue_id=venue_id, person=person), now=now)
        zone_of = zones(session)
    if as_json:
        say(WorklistPage(items=items, groups=None, next=None, waiting=0).model_dump_json(indent=2))
        return
    lines = [
        (
            f"{item.due_at.astimezone(UTC if item.venue_id is None else zone_of[item.venue_id]):%Y-%m-%d}",
            item.venue or "workshop",
            item.table,
            item.kind.replace("_", " "),
            item.reason,
            ", ".join(item.bring),
            item.person or "",
        )
        for item in items
    ]
    if not on_terminal():
        show_rows(_HEADS, lines, title="What needs doing")
        return
    for due_on, place, table, kind, reason, bring, whose in lines:
        say(f"{due_on}  {place}, {table}: {kind}{f' ({whose})' if whose else ''}")
        say(f"            {reason}{f' Bring {bring}.' if bring else ''}")
    say("" if lines else "Nothing needs doing.")
