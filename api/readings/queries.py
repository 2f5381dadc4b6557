"""Reads readings."""

from collections.abc import Collection, Mapping
from datetime import datetime
from functools import cache
from typing import Any, Literal
from uuid import UUID

from sqlalchemy import ColumnElement, Row, Select, String, and_, bindparam, case, cast, exists, func, or_
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from ..pool_tables.queries import venue_id_at, was_at
from ..pool_tables.rows import StayRow
from ..web.errors import http_problem, not_found
from ..web.pagination import Page
from .rows import READING, ReadingRow, VoidRow

ReadingPart = Literal["supply", "clock", "meters", "settings", "done"]

StoredReading = tuple[ReadingRow, VoidRow | None, UUID | None, bool]
"""A reading, the note that voids it, where the table was, and whether its ``placed_at`` is void, as on record now."""


_COLUMNS: dict[ReadingPart, tuple[str, ...]] = {
    "supply": ("battery_mv", "temperature_tenths_c", "rested_minutes"),
    "clock": ("clock_minute", "clock_weekday", "clock_on", "clock_display"),
    "meters": ("meters",),
    "settings": ("settings",),
    "done": ("done",),
}
"""What a kind of observation is stored in; where the first is null, nothing was observed."""


def page_readings(
    session: Session, *, table_id: UUID | None, venue_id: UUID | None, limit: int, after: UUID | None
) -> Page[StoredReading]:
    """Return readings in the order of their arrival, of one table or venue or of all; ``after`` is a reading's id."""
    columns = col(ReadingRow.pool_table_id), col(ReadingRow.taken_at)
    own = [
        *(() if table_id is None else (columns[0] == table_id,)),
        *(() if venue_id is None else was_at(venue_id, *columns)),
    ]
    query = select(ReadingRow, VoidRow, venue_id_at(*columns), _since_ever(columns[0])).outerjoin(
        VoidRow, col(VoidRow.reading_id) == col(ReadingRow.id)
    )
    query = query.where(*own)
    if after is not None:
        # Another's reading is refused like one that is absent: else ``after`` would tell which there are.
        arrival = session.exec(select(ReadingRow.arrival).where(ReadingRow.id == after, *own)).first()
        if arrival is None:
            raise http_problem("invalid", where="after", found=after, expected="the id of a reading of this list")
        query = query.where(col(ReadingRow.arrival) > arrival)
    rows = session.exec(query.order_by(col(ReadingRow.arrival)).limit(limit + 1)).all()
    return Page(rows[:limit], rows[limit - 1][0].id if len(rows) > limit else None, lambda row: row[0].id)


def counts(columns: Any) -> ColumnElement[bool]:
    """Return the condition that a reading (its columns) counts for judgements, of its table as it is on record now (R4).

    A reading from before its table existed counts once the table's ``placed_at`` was voided, whatever came first.
    """
    from_future = cast(columns.flags, String).contains("from_future")
    return and_(
        or_(columns.valid, and_(_since_ever(columns.pool_table_id), ~from_future)),
        ~exists().where(col(VoidRow.reading_id) == columns.id),
    )


def has_no_time(session: Session, table_id: UUID) -> bool:
    """Tell whether a table's ``placed_at`` was voided."""
    return bool(session.connection().execute(select_columns(_since_ever(table_id))).scalar_one())


def _since_ever(table_id: Any) -> ColumnElement[bool]:
    """Return the condition that a table has been at its first place since before its first reading, once stated otherwise."""
    return exists().where(col(StayRow.pool_table_id) == table_id, col(StayRow.void_placed_at).is_not(None))


def get_reading(session: Session, reading_id: UUID, *, venue_id: UUID | None, table_id: UUID | None) -> StoredReading:
    """Return a reading; ``not_found`` where there is none, or none of this venue or table (None: any)."""
    columns = col(ReadingRow.pool_table_id), col(ReadingRow.taken_at)
    query = (
        select(ReadingRow, VoidRow, venue_id_at(*columns), _since_ever(columns[0]))
        .outerjoin(VoidRow, col(VoidRow.reading_id) == col(ReadingRow.id))
        .where(ReadingRow.id == reading_id)
    )
    if venue_id is not None:
        query = query.where(*was_at(venue_id, *columns))
    if table_id is not None:
        query = query.where(columns[0] == table_id)
    found = session.exec(query).first()
    if found is None:
        raise not_found("reading")
    return found


def history(
    session: Session, table_ids: Collection[UUID], kind: ReadingPart, *, since: datetime, rows_max: int
) -> dict[UUID, list[Row[Any]]]:
    """Return, by table, the newest observations of a kind taken since an instant, at most ``rows_max``, oldest first.

    Of one instant those with work done come last, for they show the table as it was left; else they go by their ids, in
    whatever order they arrived.
    """
    asked = {"table_ids": list(table_ids), "since": since, "rows_max": rows_max}
    found: dict[UUID, list[Row[Any]]] = {table_id: [] for table_id in table_ids}
    for row in session.connection().execute(_newest(kind), asked):
        found[row.pool_table_id].append(row)
    return found


def histories(
    session: Session, table_ids: Collection[UUID], rows_max: Mapping[ReadingPart, int], *, since: datetime
) -> dict[ReadingPart, dict[UUID, list[Row[Any]]]]:
    """Return, by kind and table, what ``history`` returns of each kind, each at most its ``rows_max``: by one scan.

    A row has the columns of all the kinds, in all the lists that it belongs to.
    """
    kinds = tuple(sorted(rows_max))
    asked = {"table_ids": list(table_ids), "since": since, **{f"{kind}_max": rows_max[kind] for kind in kinds}}
    lists: dict[UUID, list[list[Row[Any]]]] = {table_id: [[] for _ in kinds] for table_id in table_ids}
    for row in session.connection().execute(_newest_of(kinds), asked):
        for newest, among_them in zip(lists[row[0]], row[1 : len(kinds) + 1], strict=True):
            if among_them:
                newest.append(row)
    return {kind: {table_id: of_table[n] for table_id, of_table in lists.items()} for n, kind in enumerate(kinds)}


@cache
def _newest_of(kinds: tuple[ReadingPart, ...]) -> Select[Any]:
    """Return the query of several histories: the table, whether a row is of each kind and among its newest, and columns.

    How many of a kind are as new as a row is counted along the scan, newest first.
    """
    columns = READING.c
    with_work = case((columns.done.is_not(None), 1), else_=0).label("with_work")
    order = (columns.taken_at.desc(), with_work.desc(), columns.id.desc())
    first = {kind: columns[_COLUMNS[kind][0]] for kind in kinds}
    names = [name for kind in kinds for name in _COLUMNS[kind]]
    counted = select_columns(
        columns.pool_table_id,
        columns.taken_at,
        columns.id,
        with_work,
        *(columns[name] for name in names),
        *(
            func.count(column)
            .over(partition_by=columns.pool_table_id, order_by=order, rows=(None, 0))
            .label(f"{kind}_place")
            for kind, column in first.items()
        ),
    ).where(
        columns.pool_table_id.in_(bindparam("table_ids", expanding=True)),
        columns.taken_at >= bindparam("since"),
        counts(columns),
        or_(*(column.is_not(None) for column in first.values())),
    )
    found = counted.subquery().c
    among_newest = {
        kind: and_(found[column.name].is_not(None), found[f"{kind}_place"] <= bindparam(f"{kind}_max"))
        for kind, column in first.items()
    }
    return (
        select_columns(found.pool_table_id, *among_newest.values(), found.taken_at, *(found[name] for name in names))
        .where(or_(*among_newest.values()))
        .order_by(found.taken_at, found.with_work, found.id)
    )


@cache
def _newest(kind: ReadingPart) -> Select[Any]:
    """Return the query of a history, written once for each kind: to write it takes longer than to answer it."""
    columns = READING.c
    with_work = case((columns.done.is_not(None), 1), else_=0).label("with_work")
    order = (columns.taken_at.desc(), with_work.desc(), columns.id.desc())
    place = func.row_number().over(partition_by=columns.pool_table_id, order_by=order).label("place")
    newest = (
        select_columns(
            columns.pool_table_id,
            columns.taken_at,
            columns.id,
            with_work,
            *(columns[name] for name in _COLUMNS[kind]),
            place,
        )
        .where(
            columns.pool_table_id.in_(bindparam("table_ids", expanding=True)),
            columns.taken_at >= bindparam("since"),
            counts(columns),
            columns[_COLUMNS[kind][0]].is_not(None),
        )
        .subquery()
    )
    return (
        select_columns(newest.c.pool_table_id, newest.c.taken_at, *(newest.c[name] for name in _COLUMNS[kind]))
        .where(newest.c.place <= bindparam("rows_max"))
        .order_by(newest.c.taken_at, newest.c.with_work, newest.c.id)
    )
