"""The plans of the statements that a request makes: which indexes they use, and which walk through a whole table."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from sqlalchemy import Engine
from sqlmodel import SQLModel

from tests.listening import listen, unlisten


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement as the driver got it, and what its plan reads: how many rows of which table, by which index."""

    sql: str
    parameters: Any
    reads: tuple["Read", ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Read:
    """One step of a plan: a table, the index that is used (None: the table is walked), and the rows that it read."""

    table: str
    index: str | None
    rows: int | None

    def __str__(self) -> str:
        rows = "" if self.rows is None else f", {self.rows:,} rows"
        return f"{self.table} by {self.index or 'walking through it'}{rows}"


@contextmanager
def recorded(engine: Engine) -> Iterator[list[Statement]]:
    """Yield the list to which each SELECT made meanwhile is added."""
    made: list[Statement] = []

    def note(_c: Any, _cursor: Any, sql: str, parameters: Any, _context: Any, executemany: bool) -> None:
        if sql.lstrip().upper().startswith(("SELECT", "WITH")) and not executemany:
            made.append(Statement(sql, parameters))

    listen(engine, "before_cursor_execute", note)
    try:
        yield made
    finally:
        unlisten(engine, "before_cursor_execute", note)


def explained(engine: Engine, statements: Sequence[Statement], *, only_by_index: bool = False) -> list[Statement]:
    """Return statements with what their plans read; on PostgreSQL they are run for it.

    ``only_by_index``: PostgreSQL walks through a table only where no index serves, though the table is small.
    """
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            if only_by_index:
                connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
            explain = "EXPLAIN (ANALYZE, TIMING OFF, FORMAT JSON) "
            return [
                Statement(
                    one.sql,
                    one.parameters,
                    tuple(
                        _postgres_reads(
                            _plan(connection.exec_driver_sql(explain + one.sql, one.parameters).scalar_one())
                        )
                    ),
                )
                for one in statements
            ]
        return [
            Statement(
                one.sql,
                one.parameters,
                tuple(
                    read
                    for row in connection.exec_driver_sql("EXPLAIN QUERY PLAN " + one.sql, one.parameters)
                    if (read := _sqlite_read(row[3])) is not None
                ),
            )
            for one in statements
        ]


def _plan(explained: Any) -> Mapping[str, Any]:
    plans = json.loads(explained) if isinstance(explained, str) else explained
    found: Mapping[str, Any] = plans[0]["Plan"]
    return found


def _postgres_reads(node: Mapping[str, Any]) -> Iterator[Read]:
    """Yield the reads of a plan; of a bitmap the index is that of its first part."""
    if "Relation Name" in node:
        index = node.get("Index Name") or next(_indexes_below(node), None)
        seen = (node["Actual Rows"] + node.get("Rows Removed by Filter", 0)) * node["Actual Loops"]
        yield Read(node["Relation Name"], index, int(seen))
    for part in node.get("Plans", ()):
        yield from _postgres_reads(part)


def _indexes_below(node: Mapping[str, Any]) -> Iterator[str]:
    """Yield the indexes of a bitmap, also of one that is put together from several."""
    for part in node.get("Plans", ()):
        if "Relation Name" not in part:
            if name := part.get("Index Name"):
                yield name
            yield from _indexes_below(part)


def _sqlite_read(detail: str) -> Read | None:
    """Return the read of a line of a plan, such as ``SEARCH work USING INDEX ix_work_due (lead_days=?)``.

    To go through an index of some rows alone is no walk through the table.
    """
    words = detail.split()
    if words[0] not in ("SCAN", "SEARCH") or len(words) < 2:
        return None
    by = detail.partition(" USING ")[2]
    walks = words[0] == "SCAN" and by.partition("INDEX ")[2] not in _of_some_rows()
    return Read(words[1], None if walks else by or "rowid", None)


@cache
def _of_some_rows() -> frozenset[str]:
    """Return the names of the indexes that hold some rows of their table alone."""
    indexes = (index for table in SQLModel.metadata.tables.values() for index in table.indexes)
    return frozenset(str(index.name) for index in indexes if index.dialect_options["sqlite"]["where"] is not None)
