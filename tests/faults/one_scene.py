"""One scene in a PostgreSQL database of its own: what is stored of it, and back to the beginning.

All rows of the scene are copied once; what a request has changed is put back, so that each begins with the same rows and
the same ids. In this database alone the guards let that pass: they are triggers for the service's own statements.
"""

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, text
from sqlmodel import SQLModel

from tests.faults.scene import Scene
from tests.faults.stepping import Statement

State = Mapping[str, Sequence[str]]
"""What is stored in each table that is not as it was at the beginning: its rows as text, ids by their names."""

_TABLES = sorted(SQLModel.metadata.tables)
_ALL = " UNION ALL ".join(
    f"SELECT '{name}' AS name, coalesce((SELECT json_agg(x ORDER BY x::text)::text FROM public.{name} x), '[]') AS rows"
    for name in _TABLES
)
_SAY_NOTHING = frozenset(
    {
        *("sequence", "arrival", "number", "entry_number", "hash", "previous_hash", "source_digest", "facts_digest"),
        *("digest", "record_id", "token_hash", "secret_hash", "secret", "previous_secret", "signed_by", "feed_number"),
    }
)
"""Columns that tell the order in which two that do not concern each other came, or chance."""
_NO_STATE = frozenset({"counter"})
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_MADE_UP = {"touched": "id", "to_reckon": "id"}


class OneScene:
    """The rows of a scene, on a connection that commits each statement."""

    def __init__(self, connection: Connection, scene: Scene) -> None:
        self._connection = connection
        self.names = {str(id_): name for name, id_ in scene.items()}
        guards = connection.execute(
            text("SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE tgenabled = 'A' AND NOT tgisinternal")
        ).all()
        for table, guard in guards:
            connection.execute(text(f"ALTER TABLE {table} ENABLE TRIGGER {guard}"))
        connection.execute(text("CREATE SCHEMA beginning"))
        for table in _TABLES:
            connection.execute(text(f"CREATE TABLE beginning.{table} AS TABLE public.{table}"))
        self._beginning = self._contents()
        self._unique = self._unique_keys()
        self._asked = self._asked_by_triggers()

    def _contents(self) -> dict[str, str]:
        return {row.name: row.rows for row in self._connection.execute(text(_ALL))}

    def _unique_keys(self) -> list[tuple[str, str, list[str]]]:
        query = (
            "SELECT t.relname, i.relname, (SELECT array_agg(a.attname) FROM pg_attribute a WHERE a.attrelid = t.oid "
            "AND a.attnum = ANY(x.indkey)) FROM pg_index x JOIN pg_class t ON t.oid = x.indrelid "
            "JOIN pg_class i ON i.oid = x.indexrelid WHERE x.indisunique AND t.relnamespace = 'public'::regnamespace"
        )
        return [(table, index, list(columns)) for table, index, columns in self._connection.execute(text(query))]

    def _asked_by_triggers(self) -> dict[str, frozenset[str]]:
        query = (
            "SELECT tgrelid::regclass::text, prosrc FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid "
            "WHERE NOT tgisinternal"
        )
        found: dict[str, frozenset[str]] = {}
        for table, source in self._connection.execute(text(query)):
            found[table] = found.get(table, frozenset()) | Statement(source).tables
        return found

    def changed(self) -> dict[str, str]:
        """Return the contents of the tables that are not as they were at the beginning."""
        return {table: rows for table, rows in self._contents().items() if rows != self._beginning[table]}

    def begin_again(self) -> None:
        """Put back what was changed."""
        changed = self.changed()
        if changed:
            puts = "".join(
                f"DELETE FROM public.{table}; INSERT INTO public.{table} SELECT * FROM beginning.{table}; "
                for table in changed
            )
            self._connection.exec_driver_sql(f"BEGIN; SET LOCAL session_replication_role = replica; {puts} COMMIT")

    def state(self) -> State:
        """Return what is stored now, ids by their names."""
        return {
            table: sorted(self._plain(row, table) for row in json.loads(rows))
            for table, rows in self.changed().items()
            if table not in _NO_STATE
        }

    def _plain(self, row: dict[str, Any], table: str) -> str:
        values = {
            column: value
            for column, value in row.items()
            if column not in _SAY_NOTHING and column != _MADE_UP.get(table)
        }
        return _UUID.sub(lambda id_: self.names.get(id_[0], "an id"), repr(sorted(values.items())))

    def new_keys(self) -> frozenset[tuple[str, ...]]:
        """Return the values of unique keys that rows have now and had not at the beginning."""
        changed = {table: json.loads(rows) for table, rows in self.changed().items()}
        found = set()
        for table, index, columns in self._unique:
            before = json.loads(self._beginning[table]) if table in changed else []
            of = [
                {(table, index, *(str(row[c]) for c in columns)) for row in rows}
                for rows in (changed.get(table, []), before)
            ]
            found |= of[0] - of[1]
        return frozenset(found)

    def replay(self, statements: Sequence[Statement]) -> list[Any]:
        """Return what each statement finds on what is stored now, one after the other; nothing is kept.

        A statement that fails ends it: the rest finds ``failed``.
        """
        found: list[Any] = []
        raw: Any = self._connection.connection.driver_connection
        with raw.cursor() as cursor:
            cursor.execute("BEGIN")
            try:
                for statement in statements:
                    found.append(_found(cursor, statement))
            except Exception:  # whatever it is: from here on nothing is known
                found += ["failed"] * (len(statements) - len(found))
            cursor.execute("ROLLBACK")
        return found

    def sees(self, statement: Statement, changed: frozenset[str]) -> bool:
        """Tell whether a statement that writes may do something else after rows of these tables have changed."""
        table = statement.written
        if table is None:
            return False
        looked_at = set(statement.tables) | self._asked.get(table, frozenset())
        plain = _only_adds(statement)
        if plain:
            looked_at = set(self._asked.get(table, frozenset()))  # a key that is there already is a clash
        return bool((looked_at | _parents(table) | (set() if plain else _children(table))) & changed)


def _found(cursor: Any, statement: Statement) -> Any:
    if statement.verb in ("COMMIT", "SET") or "set_config" in statement.sql:
        return None
    if statement.many:
        for parameters in statement.parameters:
            cursor.execute(statement.sql, parameters)
        return None
    cursor.execute(statement.sql, statement.parameters or None)
    return cursor.fetchall() if cursor.description else None


def _only_adds(statement: Statement) -> bool:
    return statement.verb == "INSERT" and "ON CONFLICT" not in statement.sql and "SELECT" not in statement.sql


def _parents(table: str) -> set[str]:
    return {key.column.table.name for key in SQLModel.metadata.tables[table].foreign_keys}


def _children(table: str) -> set[str]:
    return {name for name in _TABLES if table in _parents(name)}


def clash(one: Statement, other: Statement, *, same_key: bool) -> bool:
    """Tell whether one of two statements may wait for a row that the other has written.

    Two inserts meet only in a unique key (``same_key``), an insert and another change of the table perhaps. A row that
    names another by a foreign key holds that row against its deletion, not against a change: ids never change.
    """
    a, b = one.written, other.written
    if a is None or b is None:
        return False
    if a == b:
        return same_key or not (_only_adds(one) and _only_adds(other))
    return any(
        parent in _parents(child) and (deleting.verb == "DELETE" or " FOR UPDATE" in deleting.sql)
        for child, parent, deleting in ((a, b, other), (b, a, one))
    )
