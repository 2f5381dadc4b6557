"""Reads what hangs on a table or a venue, and what was last collected."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKey, String, Table, cast, func
from sqlalchemy import select as select_columns
from sqlmodel import Session, SQLModel, col, select

from ..collections.queries import not_reversed
from ..collections.rows import CollectedTableRow, CollectionRow
from ..schedules.rows import ScheduleRow

_OF_ITSELF = {"stay", "pool_table", "touched", "work", "venue_fact"}
"""What a thing that was never used has all the same (notes, work, facts), and where tables are, which is asked apart."""


def last_collected_at(session: Session, table_id: UUID, *, at: datetime) -> datetime | None:
    """Return when a table was last collected, up to an instant."""
    query = (
        select(func.max(CollectionRow.collected_at))
        .join(CollectedTableRow, col(CollectedTableRow.collection_id) == col(CollectionRow.id))
        .where(CollectedTableRow.pool_table_id == table_id, CollectionRow.collected_at <= at, not_reversed())
    )
    return session.exec(query).one()


def schedules_that_name(session: Session, tariff_id: UUID) -> int:
    """Return how many schedules, also those that others have replaced, name a tariff."""
    terms = cast(col(ScheduleRow.terms), String)
    query = select(func.count()).select_from(ScheduleRow).where(terms.contains(str(tariff_id)))
    return session.exec(query).one()


def what_hangs_on(session: Session, name: str, id_: UUID) -> dict[str, int]:
    """Return how many rows of each table of the database refer to a row, by the name of the table."""
    found = {}
    for table in SQLModel.metadata.sorted_tables:
        if table.name in _OF_ITSELF:
            continue
        count = sum(_count(session, table, column.parent.name, id_) for column in _keys_to(table, name))
        if count:
            found[table.name.replace("_", " ")] = count
    return found


def _keys_to(table: Table, name: str) -> list[ForeignKey]:
    return [key for key in table.foreign_keys if key.column.table.name == name]


def _count(session: Session, table: Table, column: str, id_: UUID) -> int:
    query = select_columns(func.count()).select_from(table).where(table.c[column] == id_)
    return int(session.execute(query).scalar_one())
