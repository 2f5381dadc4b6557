"""``baizebook assess``: work out earnings, and bring the worklist of every table up to date."""

from sqlmodel import func, select

from ...earnings.service import reckon_all
from ...pool_tables.rows import PoolTableRow
from ...store import clock
from ...store.db import reading
from ...worklist.queries import ChartsOfCollectors
from ...worklist.service import TABLES_AT_ONCE_MAX, announce_due, sweep
from ..command_database import existing_database
from ..terminal import progress_bar, say


def assess() -> None:
    """Work out earnings, then assess all tables, some at a time: nobody else waits for long."""
    engine = existing_database()
    with reading(engine) as session:
        tables = session.exec(select(func.count()).select_from(PoolTableRow)).one()
    with progress_bar("Working out earnings") as step:
        done = 0
        for found in reckon_all(engine):
            step(done := done + found, None)
    with progress_bar("Assessing tables") as step:
        now, after, more, done, charts = clock.now(), None, True, 0, ChartsOfCollectors()
        while more:
            after = sweep(engine, after=after, now=now, charts=charts)
            more = after is not None
            step(done := min(done + TABLES_AT_ONCE_MAX, tables), tables)
    announce_due(engine, now=now)
    say("The worklist is up to date for all tables.")
