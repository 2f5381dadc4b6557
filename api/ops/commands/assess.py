"""``baizebook assess``: work out earnings, and bring the worklist of every table up to date."""

from ...earnings.service import reckon
from ...store import clock
from ...worklist.service import sweep
from ..existing_database import existing_database
from ..terminal import say


def assess() -> None:
    """Work out earnings, then assess all tables, some at a time: nobody else waits for long."""
    engine = existing_database()
    while reckon(engine):
        pass
    now, after, more = clock.now(), None, True
    while more:
        after = sweep(engine, after=after, now=now)
        more = after is not None
    say("The worklist is up to date for all tables.")
