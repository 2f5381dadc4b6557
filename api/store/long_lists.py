"""A column among many values in one parameter: a statement of PostgreSQL takes 65,535 of them, one of SQLite 32,766.

A short list is written as ``IN`` with a parameter each, for which both databases plan best; a longer one is one JSON
text, which the database takes apart.
"""

import json
from collections.abc import Callable, Collection
from typing import Any, Generic, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, Dialect, Text, TypeDecorator, bindparam
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement
from sqlalchemy.types import TypeEngine

SHORT_MAX = 1_000
Q = TypeVar("Q")


def among(column: Any, values: Collection[Any]) -> ColumnElement[bool]:
    """Return that a column (of ids, numbers or texts) has one of some values, however many."""
    expression: ColumnElement[Any] = column
    if len(values) <= SHORT_MAX:
        return expression.in_(values)
    listed = _Listed(bindparam(None, list(values), type_=_AsJson()))
    listed.of = expression.type
    return expression.op("IN", is_comparison=True)(listed)


class OfMany(Generic[Q]):
    """A query of the rows in which a column has one of some values: written once for short lists, which most are.

    To write a query takes longer than to answer it. ``write`` returns the query for the condition that it is handed.
    """

    def __init__(self, column: Any, write: Callable[[ColumnElement[bool]], Q]) -> None:
        self._column, self._write = column, write
        self._short = write(column.in_(bindparam("of_many", expanding=True)))

    def __call__(self, values: Collection[Any], **others: Any) -> tuple[Q, dict[str, Any]]:
        """Return the query for some values, and its parameters; ``others`` are those of the rest of the query."""
        if len(values) <= SHORT_MAX:
            return self._short, {"of_many": list(values), **others}
        return self._write(among(self._column, values)), others


class _AsJson(TypeDecorator[list[Any]]):
    """A list of values as a JSON text, ids as the database writes them."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: list[Any] | None, dialect: Dialect) -> str:
        hexadecimal = dialect.name == "sqlite"
        return json.dumps([_plain(item, hexadecimal=hexadecimal) for item in value or ()])


def _plain(value: Any, *, hexadecimal: bool) -> Any:
    if isinstance(value, UUID):
        return value.hex if hexadecimal else str(value)
    return value


class _Listed(FunctionElement[Any]):
    """The values of one JSON text, of a column's type."""

    inherit_cache = False
    of: TypeEngine[Any]


@compiles(_Listed, "sqlite")
def _on_sqlite(listed: _Listed, compiler: SQLCompiler, **asked: Any) -> str:
    return f"(SELECT value FROM json_each({compiler.process(listed.clauses, **asked)}))"


@compiles(_Listed, "postgresql")
def _on_postgresql(listed: _Listed, compiler: SQLCompiler, **asked: Any) -> str:
    kind = compiler.dialect.type_compiler_instance.process(listed.of)
    values = compiler.process(listed.clauses, **asked)
    return f"(SELECT CAST(value AS {kind}) FROM json_array_elements_text(CAST({values} AS JSON)))"
