"""A table's health from the database, and the operator's levels, tolerances and limits.

- Health is judged when somebody asks and is never stored.
- The settings are one row that is replaced as a whole; without a row, all are the defaults.
"""

from datetime import datetime
from uuid import UUID

from sqlmodel import Session

from ..store.db import lock, work_of
from ..web.errors import http_problem
from .convert import read_settings
from .levels import Levels
from .queries import health_facts_of, levels_in_force, load_tables, settings_etag
from .rows import SettingsRow
from .schemas import SettingsIn
from .table_health import TableHealth, judge_table


def health_of(session: Session, table_id: UUID, *, now: datetime, here_only: bool) -> TableHealth:
    """Return the health of a table that exists; ``here_only`` leaves out readings from before it came to its venue.

    Refuses ``too_much_work``.
    """
    stored = load_tables(session, [table_id], now=now)[table_id]
    facts = health_facts_of(session, stored, here_only=here_only, work=work_of(session))
    return judge_table(facts, levels_in_force(session), now=now)


def put_settings(session: Session, message: SettingsIn, *, if_match: str | None, now: datetime) -> Levels:
    """Replace the settings, if they are still as the caller last saw them where an ``If-Match`` says so."""
    lock(session, "settings")
    levels = read_settings(message)
    etag = settings_etag(session)
    if if_match is not None and if_match.strip() != "*":
        tags = [tag.strip().removeprefix("W/") for tag in if_match.split(",")]
        if etag not in tags:
            raise http_problem("precondition_failed", where="If-Match", found=if_match[:80], expected=etag)
    row = session.get(SettingsRow, 1) or SettingsRow(id=1, revision=0, terms={}, changed_at=now)
    row.terms, row.changed_at, row.revision = message.model_dump(mode="json"), now, row.revision + 1
    session.add(row)
    session.flush()
    return levels
