"""``baizebook token``: make tokens."""

from uuid import UUID

from ...pool_tables.service import get_table
from ...store import clock, migrate
from ...store.db import get_engine, writing
from ...tokens.service import make_token
from ...venues.service import get_venue
from ...web.rows import Role
from ..terminal import say


def create(*, role: Role, name: str, venue: UUID | None, table: UUID | None) -> None:
    """Make a token for a venue, a table or neither, and print it."""
    migrate.upgrade(get_engine())
    with writing(get_engine()) as session:
        if venue is not None:
            get_venue(session, venue)
        if table is not None:
            get_table(session, table)
        _, made = make_token(
            session, name=name, role=role, venue_id=venue, table_id=table, expires_at=None, now=clock.now()
        )
    say(made)
